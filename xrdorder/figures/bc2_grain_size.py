"""High Bc2 against fine grains: all samples, and lines along which the layer carries as much at a field."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike, NDArray

from xrdorder.comparison.bc2_grain_size import Placed, equal_currents, placed
from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    LINE,
    SCREEN,
    STRONG,
    THIN,
    Size,
    font,
    log_ticks,
    minor_ticks,
    page,
    place,
    style,
    write,
)
from xrdorder.drawing.lots import draw_legend, legend_height, look
from xrdorder.drawing.parts import marks, name_levels
from xrdorder.drawing.text import FAMILY, NORMAL, SMALL, fitted, typeset, wrapped_in
from xrdorder.exceptions import StudyError
from xrdorder.superconductivity.currents import Conditions, Conductor, bc2_curve
from xrdorder.superconductivity.mixture import Band
from xrdorder.superconductivity.pinning import MICROSCOPY

Array = NDArray[np.float64]

_LEFT_IN, _BOTTOM_IN, _TOP_IN = 0.75, 0.52, 0.36
_TALL_IN = 4.2
_ROW_IN = 0.13
_GRID = 41
_LEVELS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.8, 2.0, 2.5, 3.0, 4.0)
_MOST_LINES = 11
_MANY = 60


def trade_figure(
    samples: Sequence[Conductor],
    reference: str,
    *,
    field_t: float = 12.0,
    conditions: Conditions | None = None,
    named: Sequence[str] = (),
    title: str = "Bc2 against grains",
    size: Size = SCREEN,
) -> Figure:
    """Show Bc2 against grain size with lines of equal current of the layer, all relative to a reference sample.

    Parameters
    ----------
    samples : sequence of Conductor
        With one measure of grain size: by microscopy for all, or domain sizes for all.
    reference : str
    field_t : float
        Of the lines.
    conditions : Conditions, optional
        4.2 K and the pre-strain of each wire unless given.
    named : sequence of str
        Samples that are ringed, and named over the panel beside the reference.
    title : str
    size : Size

    Raises
    ------
    StudyError
        Fewer than two samples compare.
    UnknownNameError
        The reference is not among them.
    ValidityError
        The reference may be normal at the field.
    """
    conditions = conditions or Conditions()
    placements = placed(samples, reference, conditions)
    if len(placements) < 2:
        raise StudyError("fewer than two samples with Bc2 and grain size compare; there is nothing to draw")
    against = next(sample for sample in samples if sample.name == reference)
    bc2 = Band(*(part[0] for part in bc2_curve(against, [conditions.temperature_k], conditions)))
    grain = against.grain.band
    lots = list(dict.fromkeys(placement.lot for placement in placements))
    designs = [sample.design for sample in samples]
    noun = "grain size by microscopy" if against.grain.by == MICROSCOPY else "domain size"
    remark = (
        f"Against {reference}, {conditions.words(designs=designs)}. Bars: 68 % (size), u (Bc2); correlated errors have "
        "cancelled; what is shared stands in words over the panel. Lines (thick: equal): layer current density at "
        f"{field_t:g} T over that of {reference}, by published relations. Estimates, not measurements."
    )
    right = 0.68 if size.columns > 1 else 0.6
    wide = size.width_in - _LEFT_IN - right
    tall = min(_TALL_IN, (0.95 if size.columns > 1 else 1.3) * wide)
    legend = legend_height(lots, wide + right - 0.1)
    ringed = [placement.name for placement in placements if placement.name in named and placement.name != reference]
    told = [_common_words(bc2, grain, noun), _named(reference, ringed, wide)]
    words = "\n".join(line for entry in told for line in wrapped_in(entry, wide + 0.5, SMALL))
    top = _TOP_IN + _ROW_IN * (words.count("\n") - 1)
    figure = page(size, _BOTTOM_IN + tall + top + legend, title=title, remark=remark, left_in=_LEFT_IN)
    axes = place(figure, _LEFT_IN, _BOTTOM_IN, wide, tall)
    style(axes, x_label=f"{noun} (nm)", y_label=f"Bc2 at {conditions.temperature_k:g} K, less that of reference (T)")
    sizes = [float(grain.median) * np.array(tuple(placement.size_ratio)) for placement in placements]
    _limits(axes, placements, sizes)
    for placement, nm in zip(placements, sizes, strict=True):
        _sample(
            axes,
            placement,
            nm,
            lots.index(placement.lot),
            is_reference=placement.name == reference,
            many=len(placements) > _MANY,
        )
        if placement.name in ringed:
            axes.plot(nm[:1], [placement.bc2_difference.median], "o", markersize=11.0, markerfacecolor="none",
                      markeredgecolor=palette.TEXT, markeredgewidth=THIN, zorder=4)  # fmt: skip
    _lines(axes, against, field_t, conditions, bc2)
    middle = float(bc2.median)

    def up(y: ArrayLike) -> ArrayLike:
        return np.asarray(y, dtype=float) + middle

    def down(y: ArrayLike) -> ArrayLike:
        return np.asarray(y, dtype=float) - middle

    absolute = axes.secondary_yaxis("right", functions=(up, down))
    absolute.tick_params(direction="in", color=palette.SLATE, labelcolor=palette.SLATE, labelsize=NORMAL,
                         labelfontfamily=FAMILY, width=THIN, length=3.0)  # fmt: skip
    absolute.spines["right"].set(color=palette.FOG, linewidth=THIN)
    absolute.set_ylabel("if that of the reference is its median (T)", **font(SMALL, color=palette.SLATE))
    write(axes, typeset(words), (0.0, 1.0), SMALL, palette.SLATE, on="frame", by=(0.0, 4.0), linespacing=1.2)
    draw_legend(figure, lots, _LEFT_IN, _BOTTOM_IN + tall + top, wide + right - 0.1)
    return figure


def _common_words(bc2: Band, grain: Band, noun: str) -> str:
    """Say the uncertainty that moves all samples alike."""
    numbers = f"Bc2 of the reference {bc2.median:.1f} T ({bc2.low:.1f} to {bc2.high:.1f} T, 68 %)"
    grains = f"{noun} taken for grains: {grain.low:.0f} to {grain.high:.0f} nm for {grain.median:.0f} nm"
    return f"Uncertainty shared by all: {numbers}; {grains}"


def _named(reference: str, ringed: Sequence[str], wide_in: float) -> str:
    """Say whose mark is open, and whose are ringed."""
    words = f"Open: {fitted(reference, 0.6 * wide_in, SMALL)} (reference)"
    return words + (f"; ringed: {fitted(', '.join(ringed), 0.9 * wide_in, SMALL)}" if ringed else "")


def _limits(axes: Axes, placements: Sequence[Placed], sizes: Sequence[Array]) -> None:
    """A frame that holds the marks, and bars unless one is very long."""
    x = np.array(sizes)
    y = np.array([tuple(placement.bc2_difference) for placement in placements])
    low, high = float(x.min()), float(x.max())
    factor = max((high / low) ** 0.08, 1.06)
    axes.set_xscale("log")
    axes.set_xlim(low / factor, high * factor)
    span = float(np.ptp(y)) or 1.0
    axes.set_ylim(float(y.min()) - 0.07 * span, float(y.max()) + 0.09 * span)
    log_ticks(axes.xaxis)
    axes.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    minor_ticks(axes, y=2)


def _lines(axes: Axes, against: Conductor, field_t: float, conditions: Conditions, bc2: Band) -> None:
    """Lines of equal current with their labels; the one through the reference thick, and named by the remark."""
    (low, high), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    nm, differences = np.geomspace(low, high, _GRID), np.linspace(bottom, top, _GRID)
    ratio = equal_currents(against, nm, np.maximum(bc2.median + differences, 1e-3), field_t, conditions).T
    known = ratio[np.isfinite(ratio)]
    if not known.size:
        return
    levels = [level for level in _LEVELS if known.min() < level < known.max()]
    while len(levels) > _MOST_LINES:
        odd = levels.index(1.0) % 2 if 1.0 in levels else 0
        levels = levels[odd::2]
    if not levels:
        return
    drawn = axes.contour(
        nm, differences, ratio, levels=levels, colors=[palette.SLATE],
        linewidths=[STRONG if level == 1.0 else THIN for level in levels],
        linestyles=["solid" if level == 1.0 else (0, (5, 2.5)) for level in levels], zorder=1.0,
    )  # fmt: skip
    others = [level for level in levels if level != 1.0]  # the thick one is through the reference
    name_levels(axes, drawn, lambda level: f"×{level:g}", others)


def _sample(axes: Axes, placement: Placed, nm: Array, lot: int, *, is_reference: bool, many: bool) -> None:
    difference = placement.bc2_difference
    if not math.isfinite(difference.median):
        return
    if not is_reference:
        middle, low, high = nm
        y = np.array([[difference.low], [difference.median], [difference.high]])
        width, alpha = (THIN, 0.3) if many else (LINE, 0.55)
        marks(axes, [lot], [[low], [middle], [high]], y, width=width, alpha=alpha)
        return
    axes.plot([float(nm[0])], [difference.median], linestyle="none", zorder=3, **look(lot, open_mark=True))
