"""One fitted pattern: what was counted, what explains it, and what is left over.

From top to bottom: a lane of line marks for each phase (height by the root of the calculated area), the
pattern on a square-root scale (counts as points over the filled parts of background and phases, which together make
up the calculated curve), the weighted residual as a filled band, and
close-ups with their residual: (110), (220) and (310), which carry the order, and the overlap region where residual
niobium and bronze stand beside the A15.
"""

import string
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    HAIR,
    LINE,
    SCREEN,
    Size,
    minor_ticks,
    page,
    place,
    root_scale,
    rows_without_overlap,
    style,
    write,
    zero_line,
)
from xrdorder.drawing.lots import key as draw_key
from xrdorder.drawing.text import SMALL, plain, typeset
from xrdorder.figures.close_ups import CloseUp, default_close_ups, draw_close_ups, height_in
from xrdorder.figures.counts import Lane, draw_curves, draw_residual, lanes_of

if TYPE_CHECKING:
    from xrdorder.fitting import PhaseResult

Array = NDArray[np.float64]

_LEFT_IN, _NARROW_LEFT_IN, _RIGHT_IN, _BOTTOM_IN = 1.28, 0.97, 0.18, 0.46
_LANE_IN, _PATTERN_IN, _RESIDUAL_IN, _GAP_IN = 0.40, 3.1, 0.95, 0.07
_ON_PAPER_IN = {1: (0.32, 1.4, 0.55), 2: (0.36, 2.0, 0.75)}
"""Lane, pattern and residual by columns of a report: with close-ups they fit a page."""
_RESIDUAL_LIMITS = (4.0, 15.0)
_POINT, _KEY_ROW_IN = 1.4, 0.17
SMOOTHING_DEG = 0.4
"""Of the line in the residual: about three widths of a line, after which misfit is left, not noise."""


def fit_figure(
    curves: xr.Dataset,
    lines: xr.Dataset,
    phases: "Mapping[str, PhaseResult] | xr.Dataset | None" = None,
    *,
    title: str = "",
    remark: str = "",
    results: Sequence[str] = (),
    close_ups: Sequence[CloseUp] | None = None,
    size: Size = SCREEN,
) -> Figure:
    """Show a fitted pattern.

    Parameters
    ----------
    curves, lines : Dataset
        As of `xrdorder.fitting.PatternFit`, or as stored of a sample.
    phases : mapping of str to PhaseResult, or Dataset, optional
        Amounts, and limits of phases that were not found.
    title, remark : str
        What is shown, and one line about it.
    results : sequence of str
        What the fit found, a line each, for a box in the pattern.
    close_ups : sequence of CloseUp, optional
        Stretches to draw large. By default (110), (220), (310) and the overlap region of the A15; without an A15 the
        first line and the strongest one.
    size : Size

    Returns
    -------
    Figure
    """
    lanes = lanes_of(lines, phases)
    stretches = tuple(default_close_ups(curves, lines) if close_ups is None else close_ups)
    left = _LEFT_IN if size.columns > 1 else _NARROW_LEFT_IN
    wide = size.width_in - left - _RIGHT_IN
    lane_in, pattern_in, residual_in = _LANE_IN, _PATTERN_IN, _RESIDUAL_IN
    if not size.headed:
        lane_in, pattern_in, residual_in = _ON_PAPER_IN[min(size.columns, 2)]
    key = _KEY_ROW_IN * -(-(len(lanes) + 3) // (3 * size.columns)) + _GAP_IN
    body = key + len(lanes) * lane_in + pattern_in + residual_in + 2 * _GAP_IN + _BOTTOM_IN
    body += height_in(stretches, size)
    figure = page(size, body, title=title, remark=remark, left_in=left if size.columns > 1 else 0.2)

    top = body - key - len(lanes) * lane_in
    lane_axes = place(figure, left, top, wide, len(lanes) * lane_in)
    top -= _GAP_IN + pattern_in
    main = place(figure, left, top, wide, pattern_in)
    top -= _GAP_IN + residual_in
    below = place(figure, left, top, wide, residual_in, main)

    x = curves["two_theta"].values
    main.set_xlim(float(x[0]), float(x[-1]))
    _draw_lanes(lane_axes, lanes, float(x[0]), float(x[-1]), wide)
    _draw_pattern(main, curves, lanes, results)
    names = draw_key(figure, main.get_legend_handles_labels()[0], left, body, 3 * size.columns, down=True, size=SMALL,
                     handletextpad=0.6)  # fmt: skip
    for handle in names.legend_handles:
        if handle is not None and handle.get_label() == "observed":
            handle.set(markersize=3.0, alpha=1.0)
    _draw_residual(below, curves)
    for letter, stretch in zip(string.ascii_uppercase, stretches, strict=False):
        for axes in (main, below):
            axes.axvspan(stretch.low, stretch.high, color=palette.MIST, linewidth=0.0, zorder=0.1)
        middle = 0.5 * (stretch.low + stretch.high)
        write(main, letter, (middle, 1.0), SMALL, palette.SLATE, on="x", by=(0.0, -2.0), ha="center", va="top")
    draw_close_ups(figure, stretches, curves, lanes, size, left, _RIGHT_IN)
    return figure


def _draw_lanes(axes: Axes, lanes: Sequence[Lane], low: float, high: float, wide_in: float) -> None:
    """One lane a phase, the first on top; marks stand on the lane's floor."""
    axes.set_axis_off()
    axes.set(xlim=(low, high), ylim=(0.0, len(lanes)))
    strongest = max((float(lane.area.max()) for lane in lanes if lane.area.size), default=1.0)
    degrees_per_inch = (high - low) / wide_in
    for k, lane in enumerate(lanes):
        floor = len(lanes) - 1 - k
        axes.axhspan(floor + 0.03, floor + 0.97, color=palette.MIST, linewidth=0.0, zorder=0.1)
        write(axes, lane.title, (-0.008, floor + 0.66), on="y", ha="right", va="center", weight="bold")
        write(axes, lane.remark, (-0.008, floor + 0.28), SMALL, palette.SLATE, on="y", ha="right", va="center")
        inside = (lane.two_theta >= low) & (lane.two_theta <= high) & (lane.area > 0.0)
        if not np.any(inside):
            words = "no line in this range" if lane.two_theta.size else "not found: no marks"
            write(axes, words, (0.01, floor + 0.5), SMALL, palette.SLATE, on="y", va="center")
            continue
        angles, areas = lane.two_theta[inside], lane.area[inside]
        hkl = [text for text, keep in zip(lane.hkl, inside, strict=True) if keep]
        tops = floor + 0.05 + 0.08 + 0.42 * np.sqrt(areas / strongest)
        axes.vlines(angles, floor + 0.05, tops, color=palette.stroke(lane.colour), linewidth=LINE, zorder=2)
        _label_lines(axes, angles, areas, hkl, tops, degrees_per_inch, (low, high))


def _label_lines(
    axes: Axes,
    angles: Array,
    areas: Array,
    hkl: Sequence[str],
    tops: Array,
    degrees_per_inch: float,
    limits: tuple[float, float],
) -> None:
    """Write indices over the strongest marks, as many as have room; (110) of any phase goes first."""
    width = 0.24 * degrees_per_inch
    rank = sorted(range(len(hkl)), key=lambda k: (hkl[k] != "110", -areas[k]))
    rows = rows_without_overlap([float(angles[k]) for k in rank], width, 1)
    for k, row in zip(rank, rows, strict=True):
        # a label over a short mark must not be crossed by a taller neighbour
        near = (np.abs(angles - angles[k]) < 0.6 * width) & (tops > tops[k] + 1e-9)
        room = limits[0] + 0.4 * width <= angles[k] <= limits[1] - 0.4 * width
        if row is None or np.any(near) or not room:
            continue
        write(axes, hkl[k], (angles[k], tops[k]), SMALL - 0.6, by=(0.0, 1.2), ha="center")


def _draw_pattern(axes: Axes, curves: xr.Dataset, lanes: Sequence[Lane], results: Sequence[str]) -> None:
    style(axes, y_label="counts (square-root scale)")
    axes.tick_params(labelbottom=False)
    draw_curves(axes, curves, lanes, point=_POINT)
    minor_ticks(axes, x=4)
    counts = np.fmax(curves["observed"].values, curves["calculated"].values)
    top = 1.12 * float(np.nanmax(counts))
    if results:
        frame = {"boxstyle": "square,pad=0.35", "facecolor": palette.PAPER, "edgecolor": palette.SLATE,
                 "linewidth": HAIR}  # fmt: skip
        box = write(
            axes, typeset(plain("\n".join(results))), (1.0, 1.0), on="frame", by=(-5.0, -14.0), ha="right", va="top",
            linespacing=1.35, zorder=5, bbox=frame,
        )  # fmt: skip
        (left, floor), _ = axes.transAxes.inverted().transform(box.get_window_extent().padded(6.0))
        x = curves["two_theta"].values
        under = counts[x >= x[0] + left * (x[-1] - x[0])]
        top = max(top, float(np.nanmax(under, initial=0.0)) * max(floor, 0.2) ** -2)  # it covers no line
    root_scale(axes, 0.0, top)


def _draw_residual(axes: Axes, curves: xr.Dataset) -> None:
    style(axes, x_label="diffraction angle 2θ (degrees)", y_label="residual\n(standard\nuncertainties)")
    axes.yaxis.label.set_fontsize(SMALL)
    draw_residual(axes, curves, *_RESIDUAL_LIMITS)
    x, residual = curves["two_theta"].values, curves["weighted_residual"].values
    axes.plot(x, _smoothed(x, residual), color=palette.INK, linewidth=LINE, zorder=2)
    zero_line(axes)
    minor_ticks(axes, x=4)


def _smoothed(x: Array, residual: Array) -> Array:
    """Running mean over a fixed angle, points left out not counted."""
    used = np.isfinite(residual)
    total = np.concatenate(([0.0], np.cumsum(np.where(used, residual, 0.0))))
    count = np.concatenate(([0], np.cumsum(used)))
    low = np.searchsorted(x, x - 0.5 * SMOOTHING_DEG, side="left")
    high = np.searchsorted(x, x + 0.5 * SMOOTHING_DEG, side="right")
    n = count[high] - count[low]
    return np.where(n > 0, (total[high] - total[low]) / np.maximum(n, 1), np.nan)
