"""All patterns of a study: a few as curves one above the other, many as a map of angle against samples.

In both every pattern is divided by the highest point of its own fit, so that lines are compared within a pattern and
not with counting times, and drawn by the square root of counts: counting noise is equally wide everywhere, and weak
lines are seen beside strong ones. On the map the background is taken off, and all beyond 30 % is equally dark: shades
are few, and the weak lines are what differs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from numpy.typing import NDArray

from xrdorder.drawing.layout import (
    HAIR,
    LINE,
    SCREEN,
    THIN,
    Size,
    font,
    minor_ticks,
    page,
    place,
    style,
    write,
)
from xrdorder.drawing.palette import FOG, INK, LAGOON, MIST, PAPER, SKY, SLATE, stroke
from xrdorder.drawing.text import SMALL, fitted, width_in
from xrdorder.exceptions import StudyError
from xrdorder.figures.counts import Lane, at_equal_times, lanes_of
from xrdorder.patterns.angle_step import angle_step

Array = NDArray[np.float64]

MOST_CURVES = 12
"""Patterns up to which curves are drawn; more become a map."""

_BOTTOM_IN, _RIGHT_IN = 0.48, 0.2
_LANE_IN, _CURVE_IN, _NAME_STRIP_IN = 0.17, 0.52, 0.15
_NAMES_IN, _NARROW_NAMES_IN = 1.75, 1.0
_TALL_IN, _MOST_CURVE_IN = 2.4, 2.0
_ROW_IN, _LEAST_MAP_IN, _MOST_MAP_IN = 0.15, 2.2, 6.4
_LABEL_IN = 0.13
_BINS_PER_IN = 90  # of a curve or a map: about what a screen shows
_DARKENING = LinearSegmentedColormap.from_list("darkening", [PAPER, SKY, LAGOON, INK])
_DARKEST = 0.3
_NUMBERED = (0.01, 0.1, 0.3)


@dataclass(frozen=True)
class SamplePattern:
    """A pattern with its fit.

    Attributes
    ----------
    name : str
        Of the sample.
    curves, lines : Dataset
        As stored of it.
    treatment : str
        In words.
    temperature_c, hours : float
        Highest hold; NaN where it is not known.
    """

    name: str
    curves: xr.Dataset
    lines: xr.Dataset
    treatment: str = ""
    temperature_c: float = math.nan
    hours: float = math.nan


def by_treatment(patterns: Sequence[SamplePattern]) -> list[SamplePattern]:
    """Order by temperature, then time; those of unknown treatment stand last, as they came."""
    finite = [math.isfinite(pattern.temperature_c) for pattern in patterns]
    rank = sorted(
        range(len(patterns)),
        key=lambda k: (patterns[k].temperature_c, patterns[k].hours, k) if finite[k] else (math.inf, 0.0, k),
    )
    return [patterns[k] for k in rank]


def patterns_figure(patterns: Sequence[SamplePattern], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show all patterns, the coolest treatment on top.

    Parameters
    ----------
    patterns : sequence of SamplePattern
        In any order; up to `MOST_CURVES` are drawn as curves, more as a map.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There is no pattern.
    """
    usable = [pattern for pattern in by_treatment(patterns) if pattern.curves.sizes.get("two_theta", 0) > 1]
    if not usable:
        raise StudyError("there is no fitted pattern to draw; run the study")
    return (_curves if len(usable) <= MOST_CURVES else _map)(usable, title, size)


def _curves(patterns: Sequence[SamplePattern], title: str, size: Size) -> Figure:
    """One lane a pattern; names stand at the right, or over the lane where the page is narrow."""
    lanes, beside = _phases(patterns), size.columns > 1
    names = [fitted(pattern.name, _NAMES_IN) for pattern in patterns]
    treatments = [fitted(pattern.treatment, _NAMES_IN, SMALL) for pattern in patterns]
    longest = max([width_in(text) for text in names] + [width_in(text, SMALL) for text in treatments])
    left, right = 0.72, longest + 0.3 if beside else _RIGHT_IN
    curve = float(np.clip(_TALL_IN / len(patterns), _CURVE_IN, _MOST_CURVE_IN))
    each = curve + (0.0 if beside else _NAME_STRIP_IN)
    marks = _LANE_IN * len(lanes)
    body = _BOTTOM_IN + marks + 0.06 + each * len(patterns)
    remark = "Each pattern divided by the highest point of its fit; heights by the root of counts; thin lines: none."
    figure = page(size, body, title=title, remark=remark, left_in=left if beside else 0.2)
    wide = size.width_in - left - right
    below = place(figure, left, _BOTTOM_IN, wide, marks)
    axes = place(figure, left, _BOTTOM_IN + marks + 0.06, wide, each * len(patterns), below)
    low, high = _range(patterns)
    _draw_marks(below, lanes, (low, high))
    style(axes)
    axes.spines["bottom"].set_visible(False)
    axes.spines["left"].set_visible(False)
    axes.tick_params(which="both", left=False, bottom=False, labelleft=False, labelbottom=False)
    axes.set_ylim(0.0, each * len(patterns))
    axes.set_ylabel("root of counts", **font())
    for k, pattern in enumerate(patterns):
        floor = each * (len(patterns) - 1 - k)
        axes.axhline(floor, color=FOG, linewidth=HAIR, zorder=0.5)
        x, y = _envelope(pattern.curves, int(wide * _BINS_PER_IN))
        axes.plot(x, floor + (curve - 0.04) * y, color=INK, linewidth=THIN, zorder=2)
        if beside:
            at = 1.0 + 0.08 / wide
            write(axes, names[k], (at, floor + 0.23), on="y", va="center")
            write(axes, treatments[k], (at, floor + 0.09), SMALL, SLATE, on="y", va="center")
        else:
            write(axes, names[k], (1.0, floor + curve - 0.02), SMALL, on="y", ha="right")
    return figure


def _map(patterns: Sequence[SamplePattern], title: str, size: Size) -> Figure:
    """A row a pattern, darker where there are more counts; names as far as they have room, temperatures beside."""
    n = len(patterns)
    lanes, low_high = _phases(patterns), _range(patterns)
    marks = _LANE_IN * len(lanes)
    tall = float(np.clip(_ROW_IN * n, _LEAST_MAP_IN, _MOST_MAP_IN))
    most = _NAMES_IN if size.columns > 1 else _NARROW_NAMES_IN
    names = [fitted(pattern.name, most, SMALL) for pattern in patterns]
    left = max(0.72, 0.16 + max(width_in(name, SMALL) for name in names))
    right, bar = 0.62, 0.3
    body = _BOTTOM_IN + marks + 0.06 + tall + bar
    remark = "Each row is a pattern less its background, divided by the highest point of its fit; shades by the root."
    figure = page(size, body, title=title, remark=remark, left_in=left if size.columns > 1 else 0.2)
    wide = size.width_in - left - right
    below = place(figure, left, _BOTTOM_IN, wide, marks)
    axes = place(figure, left, _BOTTOM_IN + marks + 0.06, wide, tall, below)
    _draw_marks(below, lanes, low_high)
    edges = np.linspace(*low_high, int(wide * _BINS_PER_IN) + 1)
    shades = np.stack([_shades(pattern.curves, edges) for pattern in patterns])
    axes.imshow(
        shades, extent=(*low_high, n - 0.5, -0.5), aspect="auto", cmap=_DARKENING, vmin=0.0, vmax=1.0,
        interpolation="none", zorder=1,
    )  # fmt: skip
    style(axes, open_frame=False)
    axes.set_facecolor(MIST)  # where nothing was measured
    axes.tick_params(which="both", bottom=False, left=False, labelbottom=False)
    every = math.ceil(n * _LABEL_IN / tall)
    shown = range(0, n, every)
    axes.set_yticks(shown, [names[k] for k in shown], **font(SMALL))
    axes.set_ylim(n - 0.5, -0.5)
    axes.set_xlim(*low_high)
    _name_temperatures(axes, patterns, wide, tall)
    _draw_scale(figure, left + wide, body - bar + 0.17, min(1.5, 0.4 * wide))
    return figure


def _name_temperatures(axes: Axes, patterns: Sequence[SamplePattern], wide_in: float, tall_in: float) -> None:
    """Bracket rows of one temperature at the right edge, and say it where there is room."""
    known = [
        f"{pattern.temperature_c:.0f} °C" if math.isfinite(pattern.temperature_c) else "unknown"
        for pattern in patterns
    ]
    per_row, last = tall_in / len(patterns), -math.inf
    first = 0
    for k in range(1, len(known) + 1):
        if k < len(known) and known[k] == known[first]:
            continue
        axes.plot(
            [1.0 + 0.06 / wide_in] * 2, [first - 0.4, k - 0.6], transform=axes.get_yaxis_transform(), color=SLATE,
            linewidth=LINE, clip_on=False, solid_capstyle="butt",
        )  # fmt: skip
        middle = 0.5 * (first + k - 1)
        if (middle - last) * per_row >= _LABEL_IN:
            write(axes, known[first], (1.0 + 0.1 / wide_in, middle), SMALL, on="y", va="center")
            last = middle
        first = k


def _draw_scale(figure: Figure, right_in: float, bottom_in: float, wide_in: float) -> None:
    """Say what the shades mean, in a bar that ends at the right edge of the map."""
    axes = place(figure, right_in - wide_in, bottom_in, wide_in, 0.09)
    axes.imshow(
        np.linspace(0.0, 1.0, 128)[None, :], extent=(0.0, 1.0, 0.0, 1.0), aspect="auto", cmap=_DARKENING,
        interpolation="none",
    )  # fmt: skip
    style(axes, open_frame=False)
    axes.set_yticks([])
    axes.set_xticks(np.sqrt(np.array(_NUMBERED) / _DARKEST), [f"{100.0 * x:g}" for x in _NUMBERED], **font(SMALL))
    axes.tick_params(length=0.0, pad=1.0)
    words = "% of strongest line"
    write(axes, words, (-0.05 / wide_in, 0.5), SMALL, SLATE, on="frame", ha="right", va="center")


def _draw_marks(axes: Axes, lanes: Sequence[Lane], low_high: tuple[float, float]) -> None:
    """Line marks of each phase, heights by the root of the area."""
    style(axes, x_label="2θ (degrees)")
    axes.spines["left"].set_visible(False)
    axes.set_ylim(0.0, float(len(lanes)))
    axes.set_yticks([])
    axes.set_xlim(*low_high)
    for k, lane in enumerate(lanes):
        floor = len(lanes) - 1 - k
        strongest = float(np.max(lane.area, initial=0.0)) or 1.0
        tops = floor + 0.15 + 0.65 * np.sqrt(np.clip(lane.area / strongest, 0.0, 1.0))
        axes.vlines(lane.two_theta, floor + 0.08, tops, color=stroke(lane.colour), linewidth=LINE)
        write(axes, lane.title, (-0.008, floor + 0.45), SMALL, on="y", ha="right", va="center", weight="bold")
    minor_ticks(axes, x=2)


def _phases(patterns: Sequence[SamplePattern]) -> list[Lane]:
    """Lines of every phase that was found in any sample, as the first sample has them."""
    seen: set[str] = set()
    phases: list[xr.Dataset] = []
    for pattern in patterns:
        names = pattern.lines["phase"].values.astype(str)
        new = [name for name in dict.fromkeys(names) if name not in seen]
        seen.update(new)
        if new:
            phases.append(
                pattern.lines.isel(line=np.isin(names, new)).reset_coords()[
                    ["two_theta", "area", "phase", "hkl"]
                ]
            )
    if not phases:
        return []
    return lanes_of(xr.concat(phases, "line"), None)


def _range(patterns: Sequence[SamplePattern]) -> tuple[float, float]:
    angles = [pattern.curves["two_theta"].values for pattern in patterns]
    return min(float(x.min()) for x in angles), max(float(x.max()) for x in angles)


def _shares(curves: xr.Dataset, *, above_background: bool = False) -> tuple[Array, Array]:
    """Angles, and counts over the highest point of the fit, where both are numbers."""
    curves = at_equal_times(curves)
    x, counts = curves["two_theta"].values, curves["observed"].values
    top = float(np.max(curves["calculated"].values, initial=0.0, where=np.isfinite(curves["calculated"].values)))
    if above_background:
        counts = counts - curves["background"].values
    shares = np.maximum(counts, 0.0) / (top if top > 0.0 else 1.0)
    good = np.isfinite(x) & np.isfinite(shares)
    return x[good], shares[good]


def _envelope(curves: xr.Dataset, bins: int) -> tuple[Array, Array]:
    """Lowest and highest point of each bin, in the order of angles: what the eye sees of all points."""
    x, y = _shares(curves)
    y = np.sqrt(np.minimum(y, 1.0))
    size = len(x) // bins
    if size <= 2:
        return x, y
    count = len(x) // size
    wide = y[: count * size].reshape(count, size)
    ends = np.sort(np.stack([wide.argmin(axis=1), wide.argmax(axis=1)], axis=1), axis=1)
    picked = (ends + size * np.arange(count)[:, None]).ravel()
    picked = np.concatenate([picked, np.arange(count * size, len(x))])
    return x[picked], y[picked]


def _shades(curves: xr.Dataset, edges: Array) -> Array:
    """Shade of each bin by its highest point; in a coarse pattern that of a straight line, NaN where none was taken."""
    x, y = _shares(curves, above_background=True)
    middle, width = 0.5 * (edges[1:] + edges[:-1]), float(edges[1] - edges[0])
    if len(x) < 2:
        return np.full(len(middle), np.nan)
    right = np.clip(np.searchsorted(x, middle), 1, len(x) - 1)
    gap = x[right] - x[right - 1] > 3.0 * max(angle_step(x), width)
    shares = np.where((middle < x[0] - width) | (middle > x[-1] + width) | gap, np.nan, np.interp(middle, x, y))
    highest = np.full(len(middle), -np.inf)
    np.maximum.at(highest, np.clip(np.searchsorted(edges, x, side="right") - 1, 0, len(middle) - 1), y)
    shares = np.where(np.isfinite(highest), highest, shares)
    return np.sqrt(np.minimum(shares / _DARKEST, 1.0))
