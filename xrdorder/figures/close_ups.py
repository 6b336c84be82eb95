"""Stretches of a fitted pattern that deserve a close look, drawn large."""

import string
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    STRONG,
    Size,
    font,
    minor_ticks,
    place,
    root_scale,
    rows_without_overlap,
    style,
    write,
    zero_line,
)
from xrdorder.drawing.text import NORMAL, SMALL
from xrdorder.figures.counts import Lane, draw_curves, draw_residual

A15 = "nb3sn"
ORDER_LINES = ("1 1 0", "2 2 0", "3 1 0")
"""Lines whose intensity hangs on the order of the A15 alone, as far as most patterns reach."""

_AROUND_DEG = 1.3
_LABELS_IN, _BELOW_IN, _BETWEEN_IN = 0.52, 0.42, 0.62
_TALL_IN, _TALL_SCREEN_IN = {1: 0.6, 2: 1.1}, 2.0
_STRIP_IN, _STRIP_GAP_IN = {True: 0.5, False: 0.3}, 0.05
"""Of the residual: on the screen and on paper."""
_RESIDUAL_LIMITS, _POINT = (3.0, 8.0), 2.4
_ROOM = {1: 2, 2: 3}  # widths of a single line abreast in one and two columns
_ROOM_SCREEN = 5


@dataclass(frozen=True)
class CloseUp:
    """A stretch of the pattern drawn large.

    Attributes
    ----------
    title : str
    low, high : float
        2θ in degrees.
    from_zero : bool
        Counts from zero on a square-root scale; otherwise linear and only as far down as needed.
    room : int
        How wide it is drawn, in widths of a single line.
    """

    title: str
    low: float
    high: float
    from_zero: bool = True
    room: int = 1


def default_close_ups(curves: xr.Dataset, lines: xr.Dataset) -> tuple[CloseUp, ...]:
    """Find the stretches that deserve a close look, as far as the pattern reaches them."""
    close_ups: list[CloseUp] = []
    names, hkl = lines["phase"].values.astype(str), lines["hkl"].values.astype(str)
    angle = lines["two_theta"].values

    def at(phase: str, index: str) -> float:
        match = np.flatnonzero((names == phase) & (hkl == index))
        return float(angle[match[0]]) if match.size else np.nan

    for index in ORDER_LINES:
        order = at(A15, index)
        if np.isfinite(order):
            title = f"order ({index.replace(' ', '')})"
            close_ups.append(CloseUp(title, order - _AROUND_DEG, order + _AROUND_DEG, from_zero=False))
    first, last = at(A15, "2 1 0"), at(A15, "2 1 1")
    if np.isfinite(first) and np.isfinite(last):
        close_ups.append(CloseUp("overlap region", first - 0.8, last + 1.6, room=2))
    if not np.any(names == A15) and angle.size:
        strongest = float(angle[np.argmax(lines["area"].values)])
        lowest = float(np.min(angle))
        close_ups.append(CloseUp("first line", lowest - 0.8, lowest + 0.8, room=2))
        if strongest != lowest:
            close_ups.append(CloseUp("strongest line", strongest - 0.8, strongest + 0.8, room=2))
    x = curves["two_theta"].values
    inside = [stretch for stretch in close_ups if stretch.low < x[-1] and stretch.high > x[0]]
    return tuple(
        replace(s, low=max(s.low, float(x[0])), high=min(s.high, float(x[-1])))
        for s in sorted(inside, key=lambda close_up: close_up.low)
        if np.count_nonzero((x > s.low) & (x < s.high)) >= 5
    )


def height_in(stretches: Sequence[CloseUp], size: Size) -> float:
    """Height that close-ups take, with their labels (inches)."""
    return len(_rows(stretches, size)) * _row_in(size)


def _row_in(size: Size) -> float:
    return _LABELS_IN + _tall_in(size) + _STRIP_IN[size.headed] + _STRIP_GAP_IN + _BELOW_IN


def _tall_in(size: Size) -> float:
    return _TALL_SCREEN_IN if size.headed else _TALL_IN[size.columns]


def _rows(stretches: Sequence[CloseUp], size: Size) -> list[list[tuple[str, CloseUp]]]:
    """Put lettered stretches into rows that the size has room for."""
    most = _ROOM_SCREEN if size.headed else _ROOM[size.columns]
    rows: list[list[tuple[str, CloseUp]]] = []
    for letter, stretch in zip(string.ascii_uppercase, stretches, strict=False):
        if not rows or sum(other.room for _, other in rows[-1]) + stretch.room > most:
            rows.append([])
        rows[-1].append((letter, stretch))
    return rows


def draw_close_ups(
    figure: Figure,
    stretches: Sequence[CloseUp],
    curves: xr.Dataset,
    lanes: Sequence[Lane],
    size: Size,
    left_in: float,
    right_in: float,
) -> None:
    """Draw stretches row by row from the lower edge of a figure upwards."""
    rows, tall, strip = _rows(stretches, size), _tall_in(size), _STRIP_IN[size.headed]
    for k, row in enumerate(rows):
        bottom = _BELOW_IN + (len(rows) - 1 - k) * _row_in(size)
        free = size.width_in - left_in - right_in - _BETWEEN_IN * (len(row) - 1)
        each = free / sum(close_up.room for _, close_up in row)
        left = left_in
        for letter, close_up in row:
            wide = each * close_up.room
            axes = place(figure, left, bottom + strip + _STRIP_GAP_IN, wide, tall)
            below = place(figure, left, bottom, wide, strip, axes)
            _draw_close_up(axes, below, f"{letter}  {close_up.title}", close_up, curves, lanes, wide)
            left += wide + _BETWEEN_IN


def _draw_close_up(
    axes: Axes, below: Axes, title: str, stretch: CloseUp, curves: xr.Dataset, lanes: Sequence[Lane], width_in: float
) -> None:
    x = curves["two_theta"].values
    part = curves.isel(two_theta=np.flatnonzero((x >= stretch.low) & (x <= stretch.high)))
    style(axes, y_label="counts")
    style(below, x_label="2θ (degrees)", y_label="res.")
    axes.tick_params(labelbottom=False)
    draw_curves(axes, part, lanes, point=_POINT)
    draw_residual(below, part, *_RESIDUAL_LIMITS)
    zero_line(below)
    axes.set_xlim(stretch.low, stretch.high)
    whole = stretch.high - stretch.low > 2.0
    axes.xaxis.set_major_locator(MaxNLocator(max(2, int(width_in / 0.4)), steps=[1, 2, 5, 10], integer=whole))
    high = float(np.nanmax([part["observed"].values, part["calculated"].values]))
    if stretch.from_zero:
        root_scale(axes, 0.0, 1.1 * high)
    else:
        low = float(min(np.nanmin(part["observed"].values), np.nanmin(part["background"].values)))
        axes.set_ylim(max(0.0, low - 0.15 * (high - low)), high + 0.1 * (high - low))
        minor_ticks(axes, y=2)
    for panel in (axes, below):
        minor_ticks(panel, x=5)
    axes.set_title(title, loc="left", y=1.0, pad=31.0, **font(NORMAL, weight="bold"))
    _name_lines(axes, stretch, lanes, width_in)


def _name_lines(axes: Axes, stretch: CloseUp, lanes: Sequence[Lane], width_in: float) -> None:
    """Name every line of the stretch above the frame, in two rows where they stand close."""
    labels = [
        (float(area), float(angle), f"{lane.title} {hkl}", lane.colour)
        for lane in lanes
        for angle, area, hkl in zip(lane.two_theta, lane.area, lane.hkl, strict=True)
        if stretch.low < angle < stretch.high and area > 0.0
    ]
    labels.sort(key=lambda label: -label[0])
    label_deg = 0.62 * (stretch.high - stretch.low) / width_in
    rows = rows_without_overlap([angle for _, angle, _, _ in labels], label_deg, 2)
    for (_, angle, text, colour), row in zip(labels, rows, strict=True):
        axes.plot(
            [angle, angle], [1.0, 1.03], transform=axes.get_xaxis_transform(), color=palette.stroke(colour),
            linewidth=STRONG, clip_on=False, solid_capstyle="butt",
        )  # fmt: skip
        if row is not None:
            write(axes, text, (angle, 1.03), SMALL, on="x", by=(0.0, 1.5 + 9.0 * row), ha="center")
