"""What all figures have in common: an empty sheet, the look of axes, scales.

Every property is set on the artist itself. Reading or writing `matplotlib.rcParams` would make a figure depend on
whoever else uses matplotlib in the same process.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import AutoMinorLocator, FixedLocator, NullLocator
from numpy.typing import NDArray

from xrdorder.figures.palette import FOG, PAPER, SLATE, TEXT

Array = NDArray[np.float64]

FAMILY = "DejaVu Sans"
"""Comes with matplotlib, so that a figure looks the same everywhere."""
SMALL, NORMAL, LARGE = 6.8, 8.0, 11.0

_TITLE_CHARACTERS = 100
_STEPS = (1.0, 2.0, 5.0)


def font(size: float = NORMAL, **more: Any) -> dict[str, Any]:
    """Give the text properties of a size."""
    return {"fontsize": size, "family": FAMILY, "color": TEXT, **more}


def sheet(width_in: float, height_in: float) -> Figure:
    """Give an empty figure with its own canvas, apart from pyplot."""
    figure = Figure(figsize=(width_in, height_in), facecolor=PAPER, dpi=130)
    FigureCanvasAgg(figure)
    return figure


def style(axes: Axes, *, x_label: str = "", y_label: str = "", open_frame: bool = True) -> None:
    """Give axes the look that all figures share: thin frame, left and below only, ticks inward."""
    for side, spine in axes.spines.items():
        spine.set_color(SLATE)
        spine.set_linewidth(0.7)
        spine.set_visible(not open_frame or side in ("left", "bottom"))
    axes.set_facecolor(PAPER)
    axes.tick_params(
        which="both",
        direction="in",
        color=SLATE,
        labelcolor=TEXT,
        labelsize=NORMAL,
        labelfontfamily=FAMILY,
        width=0.7,
        length=3.0,
    )
    axes.tick_params(which="minor", length=1.7)
    axes.set_xlabel(x_label, **font())
    axes.set_ylabel(y_label, **font())


def heading(figure: Figure, title: str, remark: str, *, left: float, top_in: float = 0.16) -> None:
    """Write title and remark at the top left, each a given distance from the upper edge."""
    height = figure.get_size_inches()[1]
    title = title if len(title) <= _TITLE_CHARACTERS else f"{title[: _TITLE_CHARACTERS - 1]}…"
    figure.text(left, 1.0 - top_in / height, title, **font(LARGE, weight="bold"), va="top", ha="left")
    figure.text(
        left, 1.0 - (top_in + 0.22) / height, remark, **font(NORMAL, color=SLATE), va="top", ha="left"
    )


def root_scale(axes: Axes, low: float, high: float) -> None:
    """Scale counts by their square root: counting noise is then equally wide everywhere, weak lines are seen."""
    axes.set_yscale("function", functions=(_signed_root, _signed_square))
    axes.set_ylim(low, high)
    axes.yaxis.set_major_locator(FixedLocator(list(root_ticks(low, high))))
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


def minor_ticks(axes: Axes, *, x: int = 0, y: int = 0) -> None:
    """Divide the distance between ticks of an axis into so many parts."""
    if x:
        axes.xaxis.set_minor_locator(AutoMinorLocator(x))
    if y:
        axes.yaxis.set_minor_locator(AutoMinorLocator(y))


def zero_line(axes: Axes) -> None:
    """Draw a thin line at zero."""
    axes.axhline(0.0, color=FOG, linewidth=0.8, zorder=0.5)


def rows_without_overlap(positions: Sequence[float], width: float, rows: int) -> list[int | None]:
    """Put labels of equal width into as few rows as possible; None where even the last row is full there.

    Earlier positions have precedence: give the most important first.

    >>> rows_without_overlap([10.0, 10.5, 14.0, 10.2], 1.0, 2)
    [0, 1, 0, None]
    """
    taken: list[list[float]] = [[] for _ in range(rows)]
    found: list[int | None] = []
    for position in positions:
        free = next((k for k in range(rows) if all(abs(position - p) >= width for p in taken[k])), None)
        if free is not None:
            taken[free].append(position)
        found.append(free)
    return found
