"""Wire lots on a page: which mark and colour each has, and a legend that wraps where names are many or long."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.lines import Line2D

from xrdorder.drawing import palette
from xrdorder.drawing.layout import HAIR, LINE
from xrdorder.drawing.text import FAMILY, NORMAL, fitted, width_in

MOST_NAMED = 24
"""Lots that a legend names; the rest is counted. Marks and colours of that many repeat anyway."""

_NAME_IN = 1.8
_KEY: dict[str, Any] = {
    "frameon": False, "borderaxespad": 0.0, "borderpad": 0.0, "handletextpad": 0.2, "handlelength": 1.4,
    "columnspacing": 1.2, "labelspacing": 0.35,
}  # fmt: skip
_ROW_IN, _HANDLE_IN = 0.17, 0.34


def legend_height(lots: Sequence[str], room_in: float) -> float:
    """Room that the legend takes, in inches."""
    names = _names(lots)
    return _ROW_IN * -(-len(names) // _columns(names, room_in)) + 0.06


def draw_legend(figure: Figure, lots: Sequence[str], left_in: float, bottom_in: float, room_in: float) -> None:
    """Name the lots with their marks, in as many rows as it takes, from a place upwards."""
    names = _names(lots)
    handles = [
        Line2D([], [], label=name, linestyle="none", **look(k)) if k < min(len(lots), MOST_NAMED)
        else Line2D([], [], label=name, linestyle="none")
        for k, name in enumerate(names)
    ]  # fmt: skip
    key(figure, handles, left_in, bottom_in, _columns(names, room_in))


def key(
    figure: Figure, handles: Sequence[Artist], left_in: float, at_in: float, columns: int, *, down: bool = False,
    size: float = NORMAL, **look_of: Any,
) -> Legend:
    """Name marks in so many columns, from a place upwards, or downwards."""
    wide, tall = figure.get_size_inches()
    return figure.legend(
        handles=handles, loc="upper left" if down else "lower left", bbox_to_anchor=(left_in / wide, at_in / tall),
        ncols=columns, prop={"size": size, "family": FAMILY}, **_KEY | look_of,
    )  # fmt: skip


def look(lot: int, *, open_mark: bool = False) -> dict[str, Any]:
    """Properties of the mark of a lot."""
    colour = palette.lot_colour(lot)
    return {
        "marker": palette.lot_mark(lot),
        "color": colour,
        "markersize": 5.2,
        "markerfacecolor": palette.PAPER if open_mark else colour,
        "markeredgecolor": colour if open_mark else palette.PAPER,
        "markeredgewidth": LINE if open_mark else HAIR,
    }


def _names(lots: Sequence[str]) -> list[str]:
    names = [fitted(lot, _NAME_IN) or "no lot" for lot in lots[:MOST_NAMED]]
    return names if len(lots) <= MOST_NAMED else [*names, f"and {len(lots) - MOST_NAMED} more"]


def _columns(names: Sequence[str], room_in: float) -> int:
    entry = _HANDLE_IN + max(map(width_in, names))
    return max(1, min(len(names), int((room_in + 0.13) / entry)))
