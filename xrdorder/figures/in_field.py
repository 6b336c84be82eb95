"""Upper critical field, current and what is left of the section, against temperature and field.

Each figure takes what `xrdorder.superconductivity` worked out (`Conductor`, `Layer`) and shows up to six samples with
their 68 % intervals: as bands while there are few, as bars at the marks of the lines where bands would hide each other.
Intervals are mostly uncertainty shared by all samples; where samples are compared, draw by draw, it has cancelled.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import ArrayLike, NDArray

from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    BAR,
    LINE,
    SCREEN,
    STRONG,
    THIN,
    Size,
    minor_ticks,
    page,
    place,
    style,
    write,
)
from xrdorder.drawing.parts import legend
from xrdorder.drawing.text import NORMAL, SMALL, fitted
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.superconductivity.currents import (
    LOWEST_FIELD_T,
    SURE,
    Conditions,
    Conductor,
    Crossing,
    bc2_curve,
    crossing,
    layer_current,
    relative_current,
)
from xrdorder.superconductivity.layers import Layer
from xrdorder.superconductivity.mixture import Band

Array = NDArray[np.float64]
_T = TypeVar("_T")

MOST = len(palette.SERIES)
"""Samples in one figure; more could not be told apart."""

_BANDS, MOST_BANDS = 2, 3
"""Ratios whose bands can be told apart, and curves by themselves; more have bars."""

_BARS = 6
"""Marks along each line."""
_LEAST_SHARE = 3e-3
"""Of the highest current: below it nobody uses a wire, and a logarithmic axis would show little else."""

_PANEL_IN, _LEFT_IN, _RIGHT_IN, _BOTTOM_IN, _BESIDE_IN = 4.45, 0.72, 0.2, 0.55, 2.3
_ROW_IN, _GAP_IN = 0.2, 0.45
_NAME_IN = 1.55
_STYLES = ("-", (0, (6, 2)), (0, (1, 1.2)), (0, (6, 1.5, 1, 1.5)), (0, (3, 1.2)), (0, (8, 2, 1, 2, 1, 2)))
"""Lines differ by dashes as well as by colour and lightness."""


def bc2_figure(
    samples: Sequence[Conductor],
    conditions: Conditions | None = None,
    *,
    temperatures_k: ArrayLike | None = None,
    title: str = "Upper critical field",
    size: Size = SCREEN,
) -> Figure:
    """Show Bc2 against temperature with its 68 % band.

    Parameters
    ----------
    samples : sequence of Conductor
    conditions : Conditions, optional
        Strain; the thermal pre-strain of each wire unless given. Thin lines show A15 free of strain.
    temperatures_k : array, optional
        From 0 K to the highest Tc unless given.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No sample is given, or more than can be told apart.
    """
    conditions = conditions or Conditions()
    samples = _few(samples)
    highest = max(float(np.nanquantile(sample.tc, 0.84)) for sample in samples)
    temperatures = (
        np.linspace(0.0, np.ceil(highest), 61) if temperatures_k is None else np.asarray(temperatures_k, dtype=float)
    )
    state = conditions.words(temperature=False, designs=[sample.design for sample in samples])
    figure, axes = _page(
        size, title,
        f"By all published relations, {state}. {_reading(len(samples))}, part of it shared by all samples. Thin lines: "
        f"A15 free of strain. {ESTIMATES}",
        "temperature (K)",
        "Bc2 (T)",
        len(samples),
    )
    free = Conditions(strain=0.0)
    for k, sample in enumerate(samples):
        band = _below_tc(bc2_curve(sample, temperatures, conditions))
        _curve(axes, temperatures, band, k, _short(sample.name), len(samples))
        median = _below_tc(bc2_curve(sample, temperatures, free)).median
        axes.plot(temperatures, median, color=palette.lot_colour(k), linewidth=THIN, alpha=0.8, zorder=2)
    axes.set_xlim(float(temperatures[0]), float(temperatures[-1]))
    axes.set_ylim(bottom=0.0)
    _legend(axes, size)
    return figure


def current_figure(
    samples: Sequence[Conductor],
    conditions: Conditions | None = None,
    *,
    reference: str = "",
    fields_t: ArrayLike | None = None,
    title: str = "Current density of the layer",
    size: Size = SCREEN,
) -> Figure:
    """Show the current density of layers over that of a reference sample, against field; crossings are marked.

    Parameters
    ----------
    samples : sequence of Conductor
    conditions : Conditions, optional
        Temperature and strain; 4.2 K and the pre-strain of each wire unless given.
    reference : str
        Name of the reference sample; the first one unless given.
    fields_t : array, optional
        From 2 T to the highest Bc2 at the temperature unless given.
    title : str
    size : Size

    Raises
    ------
    StudyError
        Fewer than two samples, or more than can be told apart; no sample is superconducting in a field.
    UnknownNameError
        The reference is not among the samples.
    """
    conditions = conditions or Conditions()
    samples = _few(samples)
    if len(samples) < 2:
        raise StudyError("one sample alone has nothing to be compared with; give two or more")
    names = [sample.name for sample in samples]
    against = samples[0] if not reference else next((s for s in samples if s.name == reference), None)
    if against is None:
        raise UnknownNameError(f"reference '{reference}' is not among the samples; known are: {', '.join(names)}")
    if fields_t is None:
        ends = [float(bc2_curve(s, [conditions.temperature_k], conditions).median[0]) for s in samples]
        if not max(ends) > LOWEST_FIELD_T:
            where = f"{LOWEST_FIELD_T:g} T at {conditions.temperature_k:g} K"
            raise StudyError(f"no sample is superconducting above {where}")
        fields = np.linspace(LOWEST_FIELD_T, max(ends), 81)
    else:
        fields = np.asarray(fields_t, dtype=float)
    state = conditions.words(designs=[sample.design for sample in samples])
    figure, axes = _page(
        size, title,
        f"Over that of {against.name}, {state}. Estimates from grain size, Bc2 and published relations, the same one "
        f"for both samples in every draw: what both share has cancelled. {_reading(len(samples) - 1)}; arrows: "
        "beyond the frame. No magnet is designed on them.",
        "field (T)",
        f"layer current density / {_short(against.name)}",
        len(samples) - 1, below=len(samples) - 1,
    )  # fmt: skip
    axes.axhline(1.0, color=palette.SLATE, linewidth=LINE, zorder=1.5)
    few = len(samples) - 1 <= _BANDS
    top, end, said = 1.0, float(fields[0]), []
    for k, sample in enumerate(samples):
        if sample is against:
            continue
        ratio = relative_current(sample, against, fields, conditions).ratio
        _curve(axes, fields, ratio, k, _short(sample.name), len(samples) - 1)
        known = np.isfinite(ratio.high)
        if known.any():
            height = np.quantile(ratio.high[known], 0.8) if few else np.max(ratio.median[known])
            top = max(top, float(height))
        said.append((k, crossing(sample, against, conditions)))
        last = float(fields[known][-1]) if known.any() else end
        end = max(end, last, float(said[-1][1].field_t.high) if said[-1][1].crosses else last)
    # Beyond, the reference may be normal, and nothing can be compared with it.
    axes.set_xlim(float(fields[0]), float(fields[-1]) if fields_t is not None else min(end + 1.0, float(fields[-1])))
    axes.set_ylim(0.0, 1.25 * top)
    _point_beyond(axes)
    _crossings(figure.axes[1], said, _short(against.name), size)
    _legend(axes, size)
    return figure


def layer_current_figure(
    samples: Sequence[Conductor],
    conditions: Conditions | None = None,
    *,
    title: str = "Current density of the layer",
    size: Size = SCREEN,
) -> Figure:
    """Show the current density of layers against field with their 68 % bands, on a logarithmic scale.

    Parameters
    ----------
    samples : sequence of Conductor
        Up to `MOST_BANDS`, one a wire lot.
    conditions : Conditions, optional
        Temperature and strain; 4.2 K and the pre-strain of each wire unless given.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No sample is given, or more than bands can be told apart, or none is superconducting in a field.
    ValidityError
        No relation holds for the grain size of a sample.
    """
    if not 1 <= len(samples) <= MOST_BANDS:
        raise StudyError(f"{len(samples)} bands cannot be told apart; choose 1 to {MOST_BANDS}")
    conditions = conditions or Conditions()
    end = max(float(bc2_curve(s, [conditions.temperature_k], conditions).low[0]) for s in samples)
    if not end > LOWEST_FIELD_T:
        raise StudyError(f"no sample is superconducting above {LOWEST_FIELD_T:g} T at {conditions.temperature_k:g} K")
    fields = np.linspace(LOWEST_FIELD_T, end, 61)
    state = conditions.words(designs=[sample.design for sample in samples])
    figure, axes = _page(
        size, title,
        f"Estimates from grain size, Bc2 and published relations, {state}; bands: 68 % interval, most of it shared by "
        "all samples. Good to a factor at best; no magnet is designed on them.",
        "field (T)", "layer current density (A/mm²)", len(samples), beside=False,
    )  # fmt: skip
    axes.set_yscale("log")
    bands = [layer_current(sample, fields, conditions).layer for sample in samples]
    least = _LEAST_SHARE * max(float(np.nanmax(band.median)) for band in bands)
    low, end = np.inf, float(fields[0])
    for k, (sample, band) in enumerate(zip(samples, bands, strict=True)):
        known = (band.low > 0.0) & (band.median > least)
        low, end = min(low, float(np.min(band.low[known]))), max(end, float(fields[known][-1]))
        band = Band(*(np.where(known, part, np.nan) for part in band))
        _curve(axes, fields, band, k, _short(f"{sample.lot}: {sample.name}" if sample.lot else sample.name), 1)
    axes.set_xlim(float(fields[0]), end)
    high = axes.get_ylim()[1]
    axes.set_ylim(low, high)
    legend(axes, loc="upper right", handlelength=3.6)
    return figure


def section_figure(
    layers: Mapping[str, Layer],
    conditions: Conditions | None = None,
    *,
    fields_t: ArrayLike | None = None,
    title: str = "Section that is still superconducting",
    size: Size = SCREEN,
) -> Figure:
    """Show the share of the A15 section that is superconducting, against field.

    Parameters
    ----------
    layers : mapping of str to Layer
        By name of the sample.
    conditions : Conditions, optional
        Temperature and strain; 4.2 K and the pre-strain of each wire unless given.
    fields_t : array, optional
        From 0 T to where the best decile of every layer has ended unless given.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No layer is given, or more than can be told apart.
    """
    conditions = conditions or Conditions()
    names = _few(list(layers))
    temperature_k = conditions.temperature_k
    at = {name: layers[name].under(conditions) for name in names}
    if fields_t is None:
        ends = [float(np.nanquantile(layers[name].bc2(temperature_k, at[name]), 0.98)) for name in names]
        fields = np.linspace(0.0, np.ceil(max(ends)) + 1.0, 121)
    else:
        fields = np.asarray(fields_t, dtype=float)
    reading = f"{_reading(1)}, part of it shared by all samples"
    if len(names) > _BANDS:
        reading = "Lines: median; the end of each is as uncertain as Bc2"
    figure, axes = _page(
        size, title,
        f"A15 whose Bc2 is above the field, {conditions.words(designs=[layers[name].design for name in names])}. "
        f"Estimates from how tin is spread over the layer. {reading}. {ESTIMATES}",
        "field (T)",
        "superconducting section (%)",
        len(names),
    )
    for k, name in enumerate(names):
        share = layers[name].share_superconducting(fields, temperature_k, at[name])
        percent = Band(*(100.0 * part for part in share))
        _curve(axes, fields, percent, k, f"{_short(name)} ({layers[name].kind})", len(names), bars=False)
    axes.set_xlim(float(fields[0]), float(fields[-1]))
    axes.set_ylim(0.0, 104.0)
    _legend(axes, size)
    return figure


# --- the page --------------------------------------------------------------------------------------------


def _below_tc(band: Band) -> Band:
    """Bc2 over rising temperature, whose line ends where it reaches zero: above Tc there is none, and none is drawn."""
    above = np.maximum.accumulate(np.concatenate([[False], np.asarray(band.median[:-1]) <= 0.0]))
    return band._replace(median=np.where(above, np.nan, band.median))


def _few(samples: Sequence[_T]) -> Sequence[_T]:
    if not samples:
        raise StudyError("no sample to show; give one or more with tin content and grain size")
    if len(samples) > MOST:
        raise StudyError(f"{len(samples)} samples in one figure cannot be told apart; choose up to {MOST}")
    return samples


def _short(name: str) -> str:
    return fitted(name, _NAME_IN)


def _reading(n: int) -> str:
    """Say how n curves are to be read."""
    return f"Lines: median; {'bands' if n <= _BANDS else 'bars'}: 68 % interval"


def _page(
    size: Size, title: str, remark: str, x_label: str, y_label: str, lines: int, *, below: int = 0, beside: bool = True
) -> tuple[Figure, Axes]:
    """Give a page with axes, room for a legend beside or over them, and a strip of so many rows below."""
    wordy = size.columns > 1
    strip = below * _ROW_IN * (1.0 if wordy else 2.0)  # in one column words stand over their row
    low = _BOTTOM_IN + (strip + _GAP_IN if below else 0.0)
    wide = size.width_in - _LEFT_IN - (_RIGHT_IN + _BESIDE_IN if beside and wordy else _RIGHT_IN)
    tall = min(_PANEL_IN, (0.9 if beside or not wordy else 0.6) * wide)
    above = 0.1 if wordy or not beside else 0.1 + 0.17 * lines
    figure = page(size, low + tall + above, title=title, remark=remark, left_in=_LEFT_IN)
    axes = place(figure, _LEFT_IN, low, wide, tall)
    style(axes, x_label="" if below else x_label, y_label=y_label)
    minor_ticks(axes, x=5, y=5)
    if below:
        rows = place(figure, _LEFT_IN, _BOTTOM_IN, wide, strip, axes)
        style(rows, x_label=x_label)
        rows.set_ylim(below - 0.5, -0.5)
        rows.set_yticks([])
    return figure, axes


def _curve(axes: Axes, x: Array, band: Band, k: int, label: str, n: int, *, bars: bool = True) -> None:
    """Draw the k-th of n lines with its interval; marks and bars of several lines stand beside each other."""
    colour = palette.lot_colour(k)
    step = max(len(x) // _BARS, 1)
    places = np.arange((step * (2 * k + 1)) // (2 * MOST), len(x), step)
    if n <= _BANDS:
        axes.fill_between(x, band.low, band.high, color=colour, alpha=0.16, linewidth=0.0, zorder=1)
    elif bars:
        axes.vlines(x[places], band.low[places], band.high[places], color=colour, linewidth=LINE, alpha=0.75, zorder=2)
    axes.plot(
        x, band.median, color=colour, linewidth=STRONG, linestyle=_STYLES[k % MOST], label=label, zorder=3,
        marker=palette.lot_mark(k), markevery=[int(place) for place in places], markersize=5.5,
        markeredgecolor=palette.PAPER, markeredgewidth=THIN,
    )  # fmt: skip


def _point_beyond(axes: Axes) -> None:
    """Put an arrow at the upper edge on each bar that goes on beyond it, in its colour."""
    high = axes.get_ylim()[1]
    for bars in axes.collections:
        if isinstance(bars, LineCollection):
            beyond = [float(bar[0, 0]) for bar in bars.get_segments() if len(bar) and float(bar[:, 1].max()) > high]
            axes.plot(
                beyond, [high] * len(beyond), "^", color=bars.get_color(), markersize=5.0, markeredgewidth=0.0,
                clip_on=False, zorder=4, label="_beyond",
            )  # fmt: skip


def _crossings(axes: Axes, said: Sequence[tuple[int, Crossing]], against: str, size: Size) -> None:
    """Show where each line meets that of equal currents, a row for each, with its interval in numbers."""
    beside = size.columns > 1
    heading = f"field at which each carries as much as {against}" if beside else "field of equal currents"
    write(axes, heading, (0.0, 1.0), SMALL, palette.SLATE, on="frame", by=(0.0, 3.0), va="baseline")
    for row, (k, field) in enumerate(said):
        colour = palette.lot_colour(k)
        words = "do not cross"
        if field.crosses:
            low, median, high = (float(x) for x in (field.field_t.low, field.field_t.median, field.field_t.high))
            words = f"{median:.1f} T ({low:.1f} to {high:.1f} T)"
            if field.share < SURE:
                words += f", {100.0 * field.share:.0f} % cross"
            axes.plot([low, high], [row, row], color=colour, linewidth=BAR, alpha=0.6, solid_capstyle="butt", zorder=4)
            axes.plot(
                [median], [row], palette.lot_mark(k), color=colour, markersize=6.0, zorder=5, linestyle="none",
                markeredgecolor=palette.PAPER, markeredgewidth=THIN,
            )  # fmt: skip
        if beside:
            write(axes, words, (1.015, row), color=colour, on="y", va="center")
        else:
            write(axes, words, (1.0, row - 0.15), SMALL, colour, on="y", ha="right")


def _legend(axes: Axes, size: Size) -> None:
    """Name the lines beside the axes, or over them in one column."""
    beside = size.columns > 1
    axes.legend(
        loc="upper left" if beside else "lower left", bbox_to_anchor=(1.0, 1.0) if beside else (-0.02, 1.0),
        frameon=False, borderaxespad=0.2, labelspacing=0.25, handlelength=3.6,
        prop={"size": NORMAL, "family": "DejaVu Sans"},
    )  # fmt: skip
