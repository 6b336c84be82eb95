"""What all figures have in common: sizes, an empty page with room for panels, the look of axes, scales.

A figure is drawn in one of three sizes. On the screen it stands alone, so title and remark are written into it; in the
columns of a report its caption says both, and letters keep their size while panels find room below each other.

Every property is set on the artist itself. Reading or writing `matplotlib.rcParams` would make a figure depend on
whoever else uses matplotlib in the same process.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Any, TypeVar

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import AutoMinorLocator, FixedLocator, FuncFormatter, NullLocator
from matplotlib.transforms import ScaledTranslation
from numpy.typing import NDArray

from xrdorder.drawing.palette import FOG, PAPER, SLATE, TEXT
from xrdorder.drawing.panel import Panel
from xrdorder.drawing.text import (
    FAMILY,
    LARGE,
    NORMAL,
    POINTS_PER_IN,
    fitted,
    plain,
    typeset,
    width_in,
    wrapped_in,
)

Array = NDArray[np.float64]
_T = TypeVar("_T")

_STEPS = (1.0, 2.0, 5.0)
_MANY, _EVERY = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0), tuple(0.1 * k for k in range(10, 100))
_SOME = (1.0, 1.2, 1.4, 1.7, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)

HAIR, THIN, LINE, STRONG, BAR, BLOCK = 0.4, 0.7, 1.0, 1.5, 2.6, 4.0
"""The widths of all lines, points: edges of marks, frames, lines, what is to be looked at, bars, intervals."""
WIDTHS = (HAIR, THIN, LINE, STRONG, BAR, BLOCK)


@dataclass(frozen=True)
class Size:
    """How wide a figure is.

    Attributes
    ----------
    name : str
        As options of commands say it.
    width_in : float
    columns : int
        Panels abreast, where a figure leaves it to the size.
    headed : bool
        Whether title and remark stand in the figure; a caption says them otherwise.
    """

    name: str
    width_in: float
    columns: int
    headed: bool


SCREEN = Size("screen", 10.4, 2, True)
TWO_COLUMN = Size("two-column", 7.1, 2, False)
"""180 mm, both columns of a page (common practice, no source)."""
ONE_COLUMN = Size("one-column", 3.5, 1, False)
"""89 mm, one column of a page (common practice, no source)."""
SIZES = {size.name: size for size in (SCREEN, TWO_COLUMN, ONE_COLUMN)}

PAGE_IN = 9.7
"""How tall a figure of a report may be: A4, 297 mm, less 25 mm above and below (common practice, no source)."""


@dataclass(frozen=True)
class Margins:
    """Room around and between panels, in inches, for labels of axes.

    Attributes
    ----------
    left, right, bottom : float
        Of the whole.
    across, down : float
        Between neighbours, beyond which nothing of them may reach.
    above : float
        Over the first row: titles of panels, a legend.
    """

    left: float = 0.78
    right: float = 0.2
    bottom: float = 0.5
    across: float = 0.95
    down: float = 0.5
    above: float = 0.1


_LEAST_TICKS, _MOST_TICKS, _TICK_GAPS_IN = 3, 10, (0.12, 0.05)
_TITLE_IN, _REMARK_LINE_IN, _EDGE_IN, _ROOT_GAP_IN = 0.38, 0.14, 0.08, 0.16


def font(size: float = NORMAL, **more: Any) -> dict[str, Any]:
    """Give the text properties of a size."""
    return {"fontsize": size, "family": FAMILY, "math_fontfamily": "dejavusans", "color": TEXT, **more}


def write(
    axes: Axes, words: str, at: tuple[float, float], size: float = NORMAL, color: str = TEXT, *, on: str = "data",
    by: tuple[float, float] = (0.0, 0.0), ha: str = "left", va: str = "bottom", **look: Any,
) -> Text:  # fmt: skip
    """Write words at a place in ``data``, ``frame``, ``x`` (its x in data) or ``y``, and so many points from it."""
    places = {"data": axes.transData, "frame": axes.transAxes, "x": axes.get_xaxis_transform(),
              "y": axes.get_yaxis_transform()}  # fmt: skip
    shift = ScaledTranslation(by[0] / POINTS_PER_IN, by[1] / POINTS_PER_IN, axes.figure.dpi_scale_trans)
    look = font(size, color=color) | {"ha": ha, "va": va, "transform": places[on] + shift} | look
    return axes.text(*at, words, **look)


def sheet(width_in: float, height_in: float) -> Figure:
    """Give an empty figure with its own canvas, apart from pyplot."""
    figure = Figure(figsize=(width_in, height_in), facecolor=PAPER, dpi=130)
    FigureCanvasAgg(figure)
    return figure


def style(axes: Axes, *, x_label: str = "", y_label: str = "", open_frame: bool = True) -> None:
    """Give axes the look that all figures share: thin frame, left and below only, ticks inward."""
    for side, spine in axes.spines.items():
        spine.set_color(SLATE)
        spine.set_linewidth(THIN)
        spine.set_visible(not open_frame or side in ("left", "bottom"))
    axes.set_facecolor(PAPER)
    axes.tick_params(
        direction="in", color=SLATE, labelcolor=TEXT, labelsize=NORMAL, labelfontfamily=FAMILY, width=THIN, length=3.0
    )
    axes.set_xlabel(typeset(x_label), **font())
    axes.set_ylabel(typeset(y_label), **font())


def page(size: Size, body_in: float, *, title: str = "", remark: str = "", left_in: float = 0.78) -> Figure:
    """Give a sheet with so much room below title and remark, which are left out where the size says so.

    Parameters
    ----------
    size : Size
    body_in : float
        Height that is free for axes, from the lower edge upwards (inches).
    title, remark : str
        The title in one line, shortened if need be; the remark in as many as it takes.
    left_in : float
        Where both begin.
    """
    if not size.headed:
        return sheet(size.width_in, body_in + _EDGE_IN)
    across = size.width_in - left_in - 0.15
    lines = wrapped_in(remark, across) if remark else []
    height = body_in + _TITLE_IN + _REMARK_LINE_IN * len(lines) + 0.1
    figure = sheet(size.width_in, height)
    left = left_in / size.width_in
    short = fitted(title, across, LARGE, bold=True, whole_end=False)
    figure.text(left, 1.0 - 0.14 / height, typeset(short), **font(LARGE, weight="bold"), va="top", ha="left")
    figure.text(
        left, 1.0 - _TITLE_IN / height, typeset(plain("\n".join(lines))), **font(NORMAL, color=SLATE), va="top",
        ha="left", linespacing=1.25,
    )  # fmt: skip
    return figure


def place(
    figure: Figure, left_in: float, bottom_in: float, width_in: float, height_in: float, share: Axes | None = None
) -> Axes:
    """Give axes at a place told in inches from the lower left corner."""
    width, height = figure.get_size_inches()
    box = (left_in / width, bottom_in / height, width_in / width, height_in / height)
    return figure.add_axes(box, sharex=share, axes_class=Panel)


def grid(
    size: Size,
    number: int,
    panel_in: float,
    *,
    title: str = "",
    remark: str = "",
    margins: Margins | None = None,
    columns: int = 0,
) -> tuple[Figure, list[Axes]]:
    """Give a page with so many panels of one height, row by row.

    Parameters
    ----------
    size : Size
    number : int
    panel_in : float
        Height of each (inches).
    title, remark : str
    margins : Margins, optional
    columns : int
        Panels abreast; what the size says unless given.
    """
    room = margins or Margins()
    abreast = min(columns or size.columns, number)
    rows = -(-number // abreast)
    body = room.above + rows * panel_in + (rows - 1) * room.down + room.bottom
    figure = page(size, body, title=title, remark=remark, left_in=room.left)
    wide = (size.width_in - room.left - room.right - (abreast - 1) * room.across) / abreast
    panels = []
    for k in range(number):
        row, column = divmod(k, abreast)
        bottom = body - room.above - (row + 1) * panel_in - row * room.down
        panels.append(place(figure, room.left + column * (wide + room.across), bottom, wide, panel_in))
    return figure, panels


def panel_height(size: Size, usual: float, least: float, panels: int, rest: float) -> float:
    """Height of so many panels below each other (inches), so that with the rest they fit a page of a report.

    On the screen it is the usual one. Below the least nothing could be read: then the figure is longer than a page.

    >>> round(panel_height(ONE_COLUMN, 1.4, 0.8, 6, 3.62), 6), panel_height(SCREEN, 1.4, 0.8, 6, 3.62)
    (1.0, 1.4)
    """
    return usual if size.headed else min(usual, max(least, (PAGE_IN - _EDGE_IN - rest) / panels))


def root_scale(axes: Axes, low: float, high: float) -> None:
    """Scale counts by their square root: counting noise is then equally wide everywhere, weak lines are seen."""
    axes.set_yscale("function", functions=(_signed_root, _signed_square))
    axes.set_ylim(low, high)
    tall = axes.get_window_extent().height / axes.figure.get_dpi()
    axes.yaxis.set_major_locator(FixedLocator(list(root_ticks(low, high, max(0.09, _ROOT_GAP_IN / tall)))))
    axes.yaxis.set_minor_locator(NullLocator())


def _signed_root(x: Array) -> Array:
    return np.asarray(np.sign(x) * np.sqrt(np.abs(x)))


def _signed_square(x: Array) -> Array:
    return np.asarray(np.sign(x) * np.square(x))


def root_ticks(low: float, high: float, least_gap: float = 0.09) -> tuple[float, ...]:
    """Pick round numbers that stand at least `least_gap` of the axis apart on a square-root scale.

    >>> root_ticks(0.0, 25000.0)
    (0.0, 500.0, 2000.0, 5000.0, 10000.0, 20000.0)
    """
    bottom, top = np.sqrt(max(low, 0.0)), np.sqrt(max(high, 1.0))
    gap = least_gap * (top - bottom)
    candidates = [0.0] + [step * 10.0**k for k in range(-1, 12) for step in _STEPS]
    inside = [tick for tick in candidates if low <= tick <= high]
    picked: list[float] = []
    for tick in reversed(inside):  # from above: the largest round number labels the top
        if not picked or np.sqrt(picked[-1]) - np.sqrt(tick) >= gap:
            picked.append(tick)
    if low <= 0.0:  # zero is worth more than a neighbour
        picked = [tick for tick in picked if np.sqrt(tick) - bottom >= gap] + [0.0]
    return tuple(reversed(picked))


def few_ticks(axes: Axes, *, beyond_in: float = 0.0) -> None:
    """Put as many round numbers on the horizontal axis as their labels have room for.

    Parameters
    ----------
    axes : Axes
        With its final limits, and a linear scale.
    beyond_in : float
        How far labels may reach beyond the ends of the axis, where neighbours begin.
    """
    low, high = axes.get_xlim()
    inches = axes.get_window_extent().width / axes.figure.get_dpi() / (high - low)
    first = math.floor(math.log10((high - low) / _MOST_TICKS))
    steps = [digit * 10.0**power for power in range(first, first + 3) for digit in _STEPS]
    best: list[float] = []
    for gap, step in product(_TICK_GAPS_IN, steps):
        ticks = [step * k for k in range(math.ceil(low / step), math.floor(high / step) + 1)]
        half = [0.5 * width_in(label) for label in axes.xaxis.get_major_formatter().format_ticks(ticks)]
        ends = [
            (tick, (tick - low) * inches - w, (tick - low) * inches + w) for tick, w in zip(ticks, half, strict=True)
        ]
        inside = [end for end in ends if end[1] >= -beyond_in and end[2] <= (high - low) * inches + beyond_in]
        kept = [tick for tick, _, _ in inside] if len(inside) > 1 else ticks
        apart = all(right[1] - left[2] >= gap for left, right in pairwise(inside))
        if 1 < len(ticks) <= _MOST_TICKS and len(kept) > 1:
            best = kept  # where no step leaves the gap, the widest that has two numbers
            if apart and len(inside) > 1:
                break
    axes.xaxis.set_major_locator(FixedLocator(best))


def log_ticks(axis: Axis) -> None:
    """Put round numbers on a logarithmic axis, fewer where their labels have no room.

    Parameters
    ----------
    axis : Axis
        Horizontal or upright, with its final limits.
    """
    axes, upright = axis.axes, axis is axis.axes.yaxis
    low, high = axis.get_view_interval()
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    box = axes.get_window_extent()
    inches = (box.height if upright else box.width) / axes.figure.get_dpi() / math.log10(high / low)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    kept: list[float] = []

    def of(digits: Sequence[float]) -> list[float]:
        return [tick for power in decades for digit in digits if low <= (tick := digit * 10.0**power) <= high]

    many = len(of(_STEPS)) >= _LEAST_TICKS
    for inside in map(of, (_STEPS, (1.0,)) if many else (_EVERY, _SOME, _MANY, _STEPS)):
        kept = inside if len(inside) > 1 else kept or inside
        labels = axis.get_major_formatter().format_ticks(kept)
        half = [0.06 if upright else 0.5 * width_in(label) for label in labels]
        at = [inches * math.log10(tick / low) for tick in kept]
        both = pairwise(zip(at, half, strict=True))
        if all(right - w >= left + v + min(_TICK_GAPS_IN) for (left, v), (right, w) in both):
            break
    axis.set_major_locator(FixedLocator(kept))


def minor_ticks(axes: Axes, *, x: int = 0, y: int = 0) -> None:
    """Divide the distance between ticks of an axis into so many parts."""
    for axis, parts in ((axes.xaxis, x), (axes.yaxis, y)):
        if parts:
            axis.set_minor_locator(AutoMinorLocator(parts))
            axis.set_tick_params(which="minor", direction="in", color=SLATE, width=THIN, length=1.7)


def zero_line(axes: Axes) -> None:
    """Draw a thin line at zero."""
    axes.axhline(0.0, color=FOG, linewidth=THIN, zorder=0.5)


def rows_without_overlap(positions: Sequence[float], width: float, rows: int) -> list[int | None]:
    """Put labels of equal width into as few rows as possible; None where even the last row is full there.

    Earlier positions have precedence: give the most important first.

    >>> rows_without_overlap([10.0, 10.5, 14.0, 10.2], 1.0, 2)
    [0, 1, 0, None]
    """
    taken: list[list[float]] = [[] for _ in range(rows)]
    rows_taken: list[int | None] = []
    for position in positions:
        free = next((k for k in range(rows) if all(abs(position - p) >= width for p in taken[k])), None)
        if free is not None:
            taken[free].append(position)
        rows_taken.append(free)
    return rows_taken


def evenly(things: Sequence[_T], most: int) -> list[_T]:
    """Take at most so many, evenly, the first and the last among them.

    >>> evenly("abcdefg", 3)
    ['a', 'd', 'g']
    """
    if len(things) <= most:
        return list(things)
    return [things[round(k * (len(things) - 1) / max(most - 1, 1))] for k in range(most)]
