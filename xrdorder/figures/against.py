"""One quantity against another: own samples in front, published samples in grey, published relations behind.

Own samples stand where the joint draws of the study put them, with their 68 % intervals; what shared errors do to all
of them at once is in these bars.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    LINE,
    SCREEN,
    STRONG,
    Margins,
    Size,
    grid,
    minor_ticks,
    panel_height,
    style,
)
from xrdorder.drawing.lots import draw_legend, legend_height
from xrdorder.drawing.parts import DASHES, legend, legend_rows_in, marks, published
from xrdorder.exceptions import StudyError
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.registry import column_name, quantity
from xrdorder.relations import PUBLISHED, Library
from xrdorder.relations.published_samples import points

Array = NDArray[np.float64]

_PANEL_IN, _LEAST_IN, _SHAPE, _STEPS, _ABREAST = 3.6, 1.5, 0.95, 200, 3
_KEY_IN = 0.42  # from the foot of a panel to its legend


@dataclass(frozen=True)
class Pair:
    """Two quantities that are drawn against each other.

    Attributes
    ----------
    x, y : str
        Names of quantities.
    published : tuple of str
        What published samples call them.
    kind : str
        Relations from the first to the second; empty for none.
    bound : str
        Relation that takes the second to the least of the first; empty for none.
    """

    x: str
    y: str
    published: tuple[str, str]
    kind: str = ""
    bound: str = ""


PAIRS: Mapping[str, Pair] = {
    "order-tin": Pair("tin_fraction", "site_order", ("tin_at_percent", "site_order"), bound="order-bound"),
    "tc-tin": Pair("tin_fraction", "Tc_K", ("tin_at_percent", "Tc_K"), kind="tc-from-tin"),
    "bc2-tc": Pair("Tc_K", "Bc2_0K_T", ("Tc_K", "Bc2_T"), kind="bc2-0-from-tc"),
}
"""By the name of their figure."""


def against_figure(
    results: xr.Dataset, names: Sequence[str], *, library: Library = PUBLISHED, title: str = "", size: Size = SCREEN
) -> Figure:
    """Show quantities against each other, a panel each.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    names : sequence of str
        Of `PAIRS`; those that no sample has are left out.
    library : Library
    title : str
    size : Size

    Raises
    ------
    StudyError
        No sample has two quantities of any.
    """
    lot_of = results["lot"].values.astype(str)
    own = {name: (_interval(results, PAIRS[name].x), _interval(results, PAIRS[name].y)) for name in names}
    there = {name: np.flatnonzero(np.isfinite([x, y]).all(axis=(0, 1))) for name, (x, y) in own.items()}
    shown = [name for name in names if there[name].size]
    if not shown:
        raise StudyError("no sample has two quantities that can be drawn against each other")
    lots = list(dict.fromkeys(lot_of[sorted({k for name in shown for k in there[name]})]))
    abreast = min(_ABREAST if size.columns > 1 else 1, len(shown))
    kinds = [PAIRS[name].kind for name in shown]
    key = legend_rows_in(1 + max(len(library.relations(kind)[: len(DASHES)]) if kind else 1 for kind in kinds))
    room = Margins(across=0.68, bottom=_KEY_IN + key, down=_KEY_IN + key + 0.15)
    wide = (size.width_in - room.left - room.right - (abreast - 1) * room.across) / abreast
    names_in = legend_height(lots, size.width_in - 1.0)
    remark = (
        "Own samples: joint estimates with 68 % intervals, shared errors included. Grey: published samples, irradiated "
        f"and strained ones left out. Lines: published relations. {ESTIMATES}"
    )
    room = replace(room, above=names_in + 0.12)
    stacks = -(-len(shown) // abreast)
    rest = room.above + (stacks - 1) * room.down + room.bottom
    tall = panel_height(size, min(_PANEL_IN, _SHAPE * wide), _LEAST_IN, stacks, rest)
    figure, panels = grid(size, len(shown), tall, title=title, remark=remark, margins=room, columns=abreast)
    for axes, name in zip(panels, shown, strict=True):
        x, y = (values[:, there[name]] for values in own[name])
        style(axes, x_label=quantity(PAIRS[name].x).label, y_label=quantity(PAIRS[name].y).label)
        marks(axes, [lots.index(lot_of[k]) for k in there[name]], x, y)
        _frame(axes, x, y)
        grey = points(*PAIRS[name].published)
        published(axes, grey.x, grey.y)
        _draw_relations(axes, PAIRS[name], library)
        legend(axes, below_in=_KEY_IN)
        minor_ticks(axes, x=2, y=2)
    top = panels[0].get_position().y1 * figure.get_size_inches()[1]
    draw_legend(figure, lots, room.left, top + 0.1, size.width_in - 1.0)
    return figure


def _interval(results: xr.Dataset, name: str) -> Array:
    """Low end, middle and high end of each sample, in the scale for people, (3, samples)."""
    entry = quantity(name)
    scale = entry.people.factor / entry.of_column.factor
    if entry.predicted:
        return scale * np.array([results[column_name(entry, part)].values for part in ("low", "median", "high")])
    value, u = (results[column_name(entry, part)].values for part in ("value", "total"))
    return scale * np.array([value - u, value, value + u])


def _frame(axes: Axes, x: Array, y: Array) -> None:
    """Limits that hold own samples with room for what is known of others."""
    for values, put in ((x, axes.set_xlim), (y, axes.set_ylim)):
        low, high = float(values.min()), float(values.max())
        room = 0.35 * (high - low) or 0.02 * abs(high)
        put(low - room, high + room)


def _draw_relations(axes: Axes, pair: Pair, library: Library) -> None:
    """Draw relations as far as they hold within the frame, one manner of dashes each."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    over, factor = np.linspace(left, right, _STEPS), quantity(pair.x).people.factor
    for entry, dashes in zip(library.relations(pair.kind) if pair.kind else (), DASHES, strict=False):
        y = entry.evaluate(over / factor)
        y = np.where((y > low) & (y < high), y, np.nan)
        if np.isfinite(y).any():
            axes.plot(over, y, color=palette.SLATE, linewidth=LINE, linestyle=dashes, zorder=1, label=entry.name)
    if pair.bound:
        _draw_bound(axes, pair, factor, library)


def _draw_bound(axes: Axes, pair: Pair, factor: float, library: Library) -> None:
    """Shade what no composition allows: more order than there is tin to fill its sites."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    y = np.linspace(low, min(high, 1.0), _STEPS)
    least = np.clip(factor * library.relation(pair.bound).evaluate(y), left, right)
    axes.fill_betweenx(y, left, least, color=palette.MIST, linewidth=0.0, zorder=0.2)
    inside = (least > left) & (least < right)
    axes.plot(
        least[inside], y[inside], color=palette.TEXT, linewidth=STRONG, zorder=1, label="limit of stoichiometry"
    )
