"""One relation over the range it holds for, with its scatter, its check points, and others of its kind beside it."""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from xrdorder.drawing.layout import HAIR, LINE, STRONG, Size, font, page, place, style, zero_line
from xrdorder.drawing.palette import FOG, GARNET, INK, MIST, SLATE
from xrdorder.drawing.text import NORMAL, SMALL
from xrdorder.relations import Relation, Symbol

_SIZE = Size("relation", 6.2, 1, True)
_POINTS = 400
_MOST_OTHERS = 5


def relation_figure(entry: Relation, others: Sequence[Relation] = ()) -> Figure:
    """Draw a relation.

    Parameters
    ----------
    entry : Relation
        To be shown; inputs after the first are at their usual values.
    others : sequence of Relation
        Of the same kind, drawn thin for comparison; those with another unit of the output are left out.

    Returns
    -------
    Figure
    """
    figure = page(_SIZE, 3.6, title=entry.name, remark=entry.title, left_in=0.74)
    axes = place(figure, 0.74, 0.52, 5.2, 3.0)
    x = np.linspace(*entry.valid, _POINTS)
    y = entry(x)
    scatter = entry.scatter.at(x, y)
    if np.any(scatter > 0.0):
        axes.fill_between(x, y - scatter, y + scatter, color=MIST, linewidth=0.0, label="scatter of specimens (k = 1)")
    alike = [one for one in others if one.name != entry.name and one.output.unit == entry.output.unit][:_MOST_OTHERS]
    dashes = ((4, 2), (1, 1.5), (6, 2, 1, 2), (2, 1), (8, 3))
    for one, dash in zip(alike, dashes, strict=False):
        at = np.linspace(*one.valid, _POINTS)
        axes.plot(at, one(at), color=SLATE, linewidth=LINE, dashes=dash, label=one.name)
    axes.plot(x, y, color=INK, linewidth=STRONG, label=entry.name)
    usual = tuple(symbol.usual for symbol in entry.inputs[1:])
    points = [p for p in entry.checks if len(p.inputs) == 1 or p.inputs[1:] == usual[: len(p.inputs) - 1]]
    if points:
        axes.plot(
            [p.inputs[0] for p in points], [p.output for p in points],
            linestyle="none", marker="o", markersize=5.0, markerfacecolor="none", color=GARNET, label="check points",
        )  # fmt: skip
    low, high = axes.get_ylim()
    if low < 0.0 < high:
        zero_line(axes)
    style(axes, x_label=_label(entry.inputs[0]), y_label=_label(entry.output))
    axes.grid(color=FOG, linewidth=HAIR, alpha=0.6)
    axes.legend(frameon=False, prop={"family": "DejaVu Sans", "size": SMALL}, loc="best")
    figure.text(0.96, 0.985, entry.known, **font(NORMAL, color=SLATE), va="top", ha="right")
    return figure


def _label(symbol: Symbol) -> str:
    unit = "" if symbol.unit == "1" else f" ({symbol.unit})"
    return f"{symbol.meaning}, {symbol.name}{unit}"
