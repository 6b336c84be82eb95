"""What several figures draw alike: intervals, lines with their bands, published samples, names of rows, legends.

Words and legends stand in a strip of their own over the data or beside the axes, never on what is drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.legend import Legend
from matplotlib.transforms import Bbox
from numpy.typing import ArrayLike, NDArray

from xrdorder.drawing import palette
from xrdorder.drawing.layout import HAIR, LINE, THIN, font, write
from xrdorder.drawing.lots import look
from xrdorder.drawing.text import FAMILY, NORMAL, POINTS_PER_IN, SMALL, typeset

Array = NDArray[np.float64]

PUBLISHED: dict[str, Any] = {
    "marker": "o", "markersize": 4.0, "color": palette.FOG, "markeredgecolor": palette.SLATE, "markeredgewidth": HAIR
}  # fmt: skip
"""Properties of the marks of published samples, behind one's own."""
DASHES = ("-", (0, (5, 2)), (0, (1, 1.3)), (0, (6, 2, 1, 2)), (0, (3, 1)), (0, (8, 3)))
"""Lines differ by dashes as well as by colour and lightness."""

_SPACING = 1.45  # of rows of words, in sizes of their letters
_PAD_IN = 0.06


def marks(
    axes: Axes, lots: ArrayLike, x: ArrayLike, y: Array, *, width: float = THIN, alpha: float = 0.6
) -> None:
    """Draw samples with the marks of their lots and with intervals: low ends, middles, high ends, (3, n), or x as (n,).

    A lot at a time: a line for each interval would take longer than all the rest of a figure of many samples.
    """
    of, x, y = np.asarray(lots), np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    for lot in np.unique(of):
        along, (low, centre, high) = x[..., of == lot], y[:, of == lot]
        middle = along[1] if along.ndim > 1 else along
        bars: dict[str, Any] = {"color": palette.lot_colour(lot), "linewidth": width, "alpha": alpha, "zorder": 2}
        axes.vlines(middle, low, high, **bars)
        if along.ndim > 1:
            axes.hlines(centre, along[0], along[2], **bars)
        axes.plot(middle, centre, linestyle="none", zorder=3, **look(lot))


def course(axes: Axes, x: Array, line: Array, half: Array, colour: str, *, clear: bool, band: bool = True) -> None:
    """Draw a straight line with the band of its shape; dashed where its slope is not significant."""
    if band:
        axes.fill_between(x, line - half, line + half, color=colour, alpha=0.13, linewidth=0.0, zorder=1)
    axes.plot(x, line, color=colour, linewidth=LINE, linestyle="-" if clear else (0, (4, 3)), zorder=1.5)


def published(axes: Axes, x: Array, y: Array) -> None:
    """Draw published samples in grey behind one's own, as far as they lie within the frame."""
    (left, right), (low, high) = sorted(axes.get_xlim()), sorted(axes.get_ylim())
    inside = (x > left) & (x < right) & (y > low) & (y < high)
    if inside.any():
        axes.plot(x[inside], y[inside], linestyle="none", zorder=0.8, label="published samples", **PUBLISHED)


def name_rows(axes: Axes, names: Sequence[str], size: float = NORMAL) -> None:
    """Give each name a row, the first on top; nothing else stands on the left."""
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_yticks(range(len(names)), names, **font(size))
    axes.tick_params(axis="y", length=0.0)
    axes.spines["left"].set_visible(False)


def headroom(axes: Axes, inches: float) -> None:
    """Leave so much free over the data, in whatever scale the axis has."""
    tall = axes.get_window_extent().height / axes.figure.get_dpi()
    scale = axes.yaxis.get_transform()
    low, high = scale.transform(np.array(axes.get_ylim(), dtype=float))
    top = low + (high - low) * tall / max(tall - inches, 0.25 * tall)
    axes.set_ylim(top=float(scale.inverted().transform(np.array([top]))[0]))


def words_over(axes: Axes, rows: Sequence[tuple[str, str]], *, size: float = SMALL, side: str = "left") -> None:
    """Write rows of words, each with its colour, along the upper edge, where they cover no data."""
    if not rows:
        return
    headroom(axes, len(rows) * _SPACING * size / POINTS_PER_IN + _PAD_IN)
    for k, (words, colour) in enumerate(rows):
        at, right = (0.0, 5.0) if side == "left" else (1.0, -3.0)
        by = right, -2.0 - _SPACING * size * k
        write(axes, words, (at, 1.0), size, colour, on="frame", by=by, ha=side, va="top", zorder=4)


def legend(axes: Axes, *, loc: str = "upper left", below_in: float = 0.0, **look: Any) -> Legend | None:
    """Name what is drawn along the upper edge, in room made for it, or so far below the axes; None without names."""
    handles, names = axes.get_legend_handles_labels()
    if not names:
        return None
    wide, tall = (part / axes.figure.get_dpi() for part in axes.get_window_extent().size)
    look = {"frameon": False, "handlelength": 2.6, "borderaxespad": 0.2, "labelspacing": 0.3,
            "prop": {"family": FAMILY, "size": SMALL}} | look  # fmt: skip
    if below_in:
        look |= {"bbox_to_anchor": (-0.3 / wide, -below_in / tall), "borderaxespad": 0.0, "borderpad": 0.0}
    made = axes.legend(handles, [typeset(name) for name in names], loc=loc, **look)
    if not below_in:
        headroom(axes, made.get_window_extent().height / axes.figure.get_dpi() + _PAD_IN)
    return made


def legend_rows_in(rows: int) -> float:
    """Height of so many rows of a legend."""
    return rows * (_SPACING - 0.1) * SMALL / POINTS_PER_IN + _PAD_IN


def name_levels(axes: Axes, drawn: ContourSet, form: Callable[[float], str], levels: Sequence[float] = ()) -> None:
    """Write levels on their lines, all unless some are given; none stands on other words, on marks or on the edge."""
    half = 5.0 * axes.figure.get_dpi() / POINTS_PER_IN
    marks = [line for line in axes.lines if line.get_marker() not in ("None", "", None)]
    taken = [text.get_window_extent() for text in axes.texts]
    for x, y in axes.transData.transform(np.concatenate([line.get_xydata() for line in marks] or [np.empty((0, 2))])):
        taken.append(Bbox([[x - half, y - half], [x + half, y + half]]))
    frame = axes.get_window_extent()
    for label in axes.clabel(drawn, levels or None, fmt=form, fontsize=SMALL, inline_spacing=3):
        label.set(family=FAMILY, color=palette.SLATE)
        box = label.get_window_extent()
        inside = frame.x0 < box.x0 and box.x1 < frame.x1 and frame.y0 < box.y0 and box.y1 < frame.y1
        if inside and not any(box.overlaps(other) for other in taken):
            taken.append(box)
        else:
            label.remove()
