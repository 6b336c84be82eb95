"""Upper critical field, current and what is left of the section, against temperature and field.

Each figure takes what `xrdorder.superconductivity` worked out (`Conductor`, `Layer`) and shows up to six samples with
their 68 % bands. Bands are mostly doubt common to all samples; where samples are compared, draw by draw, it has
cancelled.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TypeVar

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.figures import palette
from xrdorder.figures.sheet import NORMAL, SMALL, font, heading, minor_ticks, sheet, style
from xrdorder.superconductivity.currents import (
    Conditions,
    Conductor,
    Crossing,
    bc2_curve,
    crossing,
    relative_current,
)
from xrdorder.superconductivity.layers import Layer
from xrdorder.superconductivity.mixture import Band

Array = NDArray[np.float64]
_T = TypeVar("_T")

DRAWS = 20_000
"""Draws a figure is made of: medians and ends of intervals to about 1 % of their length."""

MOST = len(palette.SERIES)
"""Samples in one figure; more could not be told apart."""

_WIDTH_IN, _HEIGHT_IN = 7.6, 5.0
_LEFT_IN, _RIGHT_IN, _BOTTOM_IN, _LINE_IN = 0.72, 0.25, 0.55, 0.14
_REMARK_CHARACTERS = 108
_STYLES = ("-", (0, (6, 2)), (0, (1, 1.2)), (0, (6, 1.5, 1, 1.5)), (0, (3, 1.2)), (0, (8, 2, 1, 2, 1, 2)))
"""Lines differ by dashes as well as by colour and lightness."""


def bc2_figure(
    samples: Sequence[Conductor],
    conditions: Conditions | None = None,
    *,
    temperatures_k: ArrayLike | None = None,
    title: str = "Upper critical field",
) -> Figure:
    """Show Bc2 against temperature with its 68 % band.

    Parameters
    ----------
    samples : sequence of Conductor
    conditions : Conditions, optional
        Strain; the thermal pre-strain of a wire of unknown design unless given. Dashes show A15 free of strain.
    temperatures_k : array, optional
        From 0 K to the highest Tc unless given.
    title : str

    Raises
    ------
    StudyError
        No sample is given, or more than can be told apart.
    """
    conditions = conditions or Conditions()
    samples = [sample.first(DRAWS) for sample in _few(samples)]
    highest = max(float(np.nanquantile(sample.tc, 0.84)) for sample in samples)
    temperatures = (
        np.linspace(0.0, np.ceil(highest), 61) if temperatures_k is None else np.asarray(temperatures_k, dtype=float)
    )
    figure, axes = _page(
        title,
        f"Estimates, not measurements: {conditions.words(temperature=False)}. Lines: median over all published "
        "relations; bands: 68 % interval, most of it common to all samples. Thin lines: A15 free of strain.",
        "temperature (K)",
        "Bc2 (T)",
    )
    free = Conditions(strain=0.0)
    for k, sample in enumerate(samples):
        _band(axes, temperatures, bc2_curve(sample, temperatures, conditions), k, sample.name)
        median = bc2_curve(sample, temperatures, free).median
        axes.plot(temperatures, median, color=palette.lot_colour(k), linewidth=0.7, alpha=0.8, zorder=2)
    axes.set_xlim(float(temperatures[0]), float(temperatures[-1]))
    axes.set_ylim(bottom=0.0)
    _legend(axes)
    return figure


def current_figure(
    samples: Sequence[Conductor],
    conditions: Conditions | None = None,
    *,
    reference: str = "",
    fields_t: ArrayLike | None = None,
    title: str = "Current density of the layer",
) -> Figure:
    """Show the current density of layers over that of a reference sample, against field; crossings are marked.

    Parameters
    ----------
    samples : sequence of Conductor
    conditions : Conditions, optional
        Temperature and strain; 4.2 K and the pre-strain of a wire of unknown design unless given.
    reference : str
        Name of the reference sample; the first one unless given.
    fields_t : array, optional
        From 2 T to the highest Bc2 at the temperature unless given.
    title : str

    Raises
    ------
    StudyError
        Fewer than two samples, or more than can be told apart.
    UnknownNameError
        The reference is not among the samples.
    """
    conditions = conditions or Conditions()
    samples = [sample.first(DRAWS) for sample in _few(samples)]
    if len(samples) < 2:
        raise StudyError("one sample alone has nothing to be compared with; give two or more")
    names = [sample.name for sample in samples]
    against = samples[0] if not reference else next((s for s in samples if s.name == reference), None)
    if against is None:
        raise UnknownNameError(f"reference '{reference}' is not among the samples; known are: {', '.join(names)}")
    if fields_t is None:
        ends = [float(bc2_curve(s, [conditions.temperature_k], conditions).median[0]) for s in samples]
        fields = np.linspace(2.0, max(ends), 81)
    else:
        fields = np.asarray(fields_t, dtype=float)
    figure, axes = _page(
        title,
        f"Over that of {against.name}, {conditions.words()}. Estimates from grain size, Bc2 and published relations, "
        "the same one for both samples in every draw: what both share has cancelled. Lines: median; bands: 68 % "
        "interval. No magnet is designed on them.",
        "field (T)",
        f"layer current density / {against.name}",
    )
    axes.axhline(1.0, color=palette.SLATE, linewidth=0.9, zorder=1.5)
    top, end, said = 1.0, float(fields[0]), []
    for k, sample in enumerate(samples):
        if sample is against:
            continue
        ratio = relative_current(sample, against, fields, conditions).ratio
        _band(axes, fields, ratio, k, sample.name)
        known = np.isfinite(ratio.high)
        top = max(top, float(np.quantile(ratio.high[known], 0.8)) if known.any() else top)
        said.append((k, crossing(sample, against, conditions)))
        last = float(fields[known][-1]) if known.any() else end
        end = max(end, last, float(said[-1][1].field_t.high) if said[-1][1].crosses else last)
    # Beyond, the reference may be normal, and nothing can be compared with it.
    axes.set_xlim(float(fields[0]), float(fields[-1]) if fields_t is not None else min(end + 1.0, float(fields[-1])))
    axes.set_ylim(0.0, 1.35 * top)
    _mark_crossings(axes, said)
    _legend(axes)
    return figure


def section_figure(
    layers: Mapping[str, Layer],
    temperature_k: float = 4.2,
    *,
    strain: float = 0.0,
    fields_t: ArrayLike | None = None,
    title: str = "Section that is still superconducting",
) -> Figure:
    """Show the share of the A15 section that is superconducting, against field.

    Parameters
    ----------
    layers : mapping of str to Layer
        By name of the sample.
    temperature_k : float
    strain : float
        Intrinsic axial strain of the A15.
    fields_t : array, optional
        From 0 T to where the best decile of every layer has ended unless given.
    title : str

    Raises
    ------
    StudyError
        No layer is given, or more than can be told apart.
    """
    names = _few(list(layers))
    at = {name: layers[name].strained(strain) if strain else None for name in names}
    if fields_t is None:
        ends = [float(np.nanquantile(layers[name].bc2(temperature_k, at[name]), 0.98)) for name in names]
        fields = np.linspace(0.0, np.ceil(max(ends)) + 1.0, 121)
    else:
        fields = np.asarray(fields_t, dtype=float)
    figure, axes = _page(
        title,
        f"A15 whose Bc2 is above the field, {Conditions(temperature_k, strain=strain).words()}. Estimates from how tin "
        "is spread over the layer. Lines: median; bands: 68 % interval, most of it common to all samples.",
        "field (T)",
        "superconducting section (%)",
    )
    for k, name in enumerate(names):
        share = layers[name].share_superconducting(fields, temperature_k, at[name]).share
        percent = Band(*(100.0 * part for part in share))
        kind = layers[name].kind
        _band(axes, fields, percent, k, f"{name} ({kind})")
    axes.set_xlim(float(fields[0]), float(fields[-1]))
    axes.set_ylim(0.0, 104.0)
    _legend(axes, "lower left")
    return figure


# --- the page --------------------------------------------------------------------------------------------


def _few(samples: Sequence[_T]) -> Sequence[_T]:
    if not samples:
        raise StudyError("no sample to show; give one or more with tin content and grain size")
    if len(samples) > MOST:
        raise StudyError(f"{len(samples)} samples in one figure cannot be told apart; choose up to {MOST}")
    return samples


def _page(title: str, remark: str, x_label: str, y_label: str) -> tuple[Figure, Axes]:
    lines = textwrap.wrap(remark, _REMARK_CHARACTERS)
    top = 0.50 + _LINE_IN * len(lines)
    figure = sheet(_WIDTH_IN, _HEIGHT_IN + top)
    height = _HEIGHT_IN + top
    heading(figure, title, "\n".join(lines), left=_LEFT_IN / _WIDTH_IN, top_in=0.14)
    axes = figure.add_axes(
        (
            _LEFT_IN / _WIDTH_IN,
            _BOTTOM_IN / height,
            1.0 - (_LEFT_IN + _RIGHT_IN) / _WIDTH_IN,
            (_HEIGHT_IN - _BOTTOM_IN) / height,
        )
    )
    style(axes, x_label=x_label, y_label=y_label)
    minor_ticks(axes, x=5, y=5)
    return figure, axes


def _band(axes: Axes, x: Array, band: Band, k: int, label: str) -> None:
    colour = palette.lot_colour(k)
    axes.fill_between(x, band.low, band.high, color=colour, alpha=0.16, linewidth=0.0, zorder=1)
    axes.plot(x, band.median, color=colour, linewidth=1.6, linestyle=_STYLES[k % MOST], label=label, zorder=3)


def _mark_crossings(axes: Axes, said: Sequence[tuple[int, Crossing]]) -> None:
    """Mark each crossing at the line of equal currents, with its interval, and say in words what was found.

    Intervals of several samples stand below each other, lest one hides another.
    """
    step = 0.014 * axes.get_ylim()[1]
    for place, (k, found) in enumerate(said):
        colour, y = palette.lot_colour(k), 1.0 - step * place
        if found.crosses:
            low, median, high = (float(x) for x in (found.field_t.low, found.field_t.median, found.field_t.high))
            axes.plot([low, high], [y, y], color=colour, linewidth=3.6, alpha=0.55, solid_capstyle="butt", zorder=4)
            axes.plot(
                [median], [y], palette.lot_mark(k), color=colour, markersize=6.5, zorder=5, linestyle="none",
                markeredgecolor=palette.PAPER, markeredgewidth=0.7,
            )  # fmt: skip
        axes.text(
            0.015,
            0.02 + 0.042 * place,
            found.words,
            transform=axes.transAxes,
            ha="left",
            va="bottom",
            zorder=6,
            **font(SMALL + 0.4, color=colour),
        )


def _legend(axes: Axes, place: str = "upper right") -> None:
    legend = axes.legend(
        loc=place,
        frameon=True,
        framealpha=0.85,
        facecolor=palette.PAPER,
        edgecolor="none",
        handlelength=3.2,
        prop={"size": NORMAL, "family": "DejaVu Sans"},
    )
    legend.set_zorder(6)
