"""Predicted against measured, for a whole study.

Left, for each quantity, estimates against measured values: bars are the 68 % interval of the estimate and the standard
uncertainty of the measurement, the line is where both are equal. Right, for Tc and Bc2, what each relation is off on
the average: thick bars are what each sample has for itself, thin ones what all samples share as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from xrdorder.description.measured_values import MEASURABLE
from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    BAR,
    LINE,
    SCREEN,
    Size,
    few_ticks,
    minor_ticks,
    page,
    panel_height,
    place,
    style,
    write,
)
from xrdorder.drawing.lots import draw_legend, legend_height, look
from xrdorder.drawing.parts import marks, name_rows
from xrdorder.drawing.text import SMALL
from xrdorder.exceptions import StudyError
from xrdorder.measured.agreement import Agreement
from xrdorder.measured.held import COMPARED, Held
from xrdorder.measured.rows import Row
from xrdorder.quantities.caveats import ESTIMATES

_PANEL_IN, _LEAST_IN, _LEFT_IN, _RIGHT_IN, _BOTTOM_IN = 3.1, 1.0, 0.8, 0.15, 0.65
_GAP_IN = {True: 0.85, False: 0.62}
"""Between panels below each other, where others stand beside and where not."""
_SQUARE_IN, _NAMES_IN = 3.4, 2.2
_PROBABILITY_IN, _BAR_ROW_IN = 0.42, 0.13
_REMARK = (
    "Left: bars are the 68 % interval of the estimate and the standard uncertainty (k = 1) of the measurement; on the "
    "line both are equal. Right: measured less predicted on the average; thick, independent uncertainty, thin, "
    "with the shared one; p, the probability of being the best; in brackets, the wire of those for another. "
    f"{ESTIMATES}"
)


def measured_figure(held: Held, only: Sequence[str] = (), *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show estimates against measured values.

    What relations are off stands beside, or below in one column.

    Parameters
    ----------
    held : Held
        A study held against its measured values.
    only : sequence of str
        What was measured, a panel each; all unless given.
    title : str
        Heading; the title of the study unless given.
    size : Size

    Returns
    -------
    Figure

    Raises
    ------
    StudyError
        No measured value has an estimate to be compared with.
    """
    quantities = [quantity for quantity in _drawn(held) if not only or quantity in only]
    if not quantities:
        raise StudyError("no measured value has an estimate to be compared with; there is nothing to draw")
    lots = list(dict.fromkeys(row.lot for row in held.rows))
    agreements = {
        quantity: {
            lot: agreement
            for (lot, of), agreement in held.agreements.items()
            if of == quantity and _numbers(agreement)
        }
        for quantity in quantities
    }
    beside = size.columns > 1
    square = min(_SQUARE_IN, (0.34 if beside else 1.0) * size.width_in - (0.0 if beside else _LEFT_IN + _RIGHT_IN))
    # in one column the bars of relations stand below, each lot and relation in a row that can be read
    rows = {} if beside else {
        quantity: _BAR_ROW_IN * sum(len(_numbers(result)) for result in of.values())
        for quantity, of in agreements.items() if of
    }  # fmt: skip
    width = size.width_in - _LEFT_IN - _RIGHT_IN
    legend = legend_height(lots, width) + 0.12
    gap = _GAP_IN[beside]
    rest = legend + (len(quantities) + len(rows) - 1) * gap + _BOTTOM_IN + sum(rows.values())
    tall = panel_height(size, min(_PANEL_IN, square), _LEAST_IN, len(quantities), rest)
    body = rest + len(quantities) * tall
    figure = page(size, body, title=title or held.title, remark=_REMARK, left_in=_LEFT_IN)
    draw_legend(figure, lots, _LEFT_IN, body - legend + 0.12, width)
    bottom = body - legend + gap
    for quantity in quantities:
        bottom -= gap + tall
        axes = place(figure, _LEFT_IN, bottom, square, tall)
        _draw_pairs(axes, _pairs(held, quantity), quantity, lots)
        if agreements[quantity]:
            left = _NAMES_IN + (_LEFT_IN + square if beside else 0.0)
            bottom -= 0.0 if beside else rows[quantity] + gap
            relations = place(figure, left, bottom, size.width_in - left - _RIGHT_IN, rows.get(quantity, tall))
            _draw_relations(relations, agreements[quantity], quantity, lots)
    return figure


def _drawn(held: Held) -> list[str]:
    quantities = [row.measured.quantity for row in held.rows if row.comparable and math.isfinite(row.value)]
    return [quantity for quantity in MEASURABLE if quantity in quantities]


def _pairs(held: Held, quantity: str) -> list[Row]:
    """Rows of a quantity, one a measured value: of several routes the one that uses most of the pattern."""
    rows = [r for r in held.rows if r.measured.quantity == quantity and r.comparable and math.isfinite(r.value)]
    last: dict[tuple[str, int], Row] = {(row.sample, id(row.measured)): row for row in rows}
    return list(last.values())


def _draw_pairs(axes: Axes, pairs: Sequence[Row], quantity: str, lots: Sequence[str]) -> None:
    about = MEASURABLE[quantity]
    unit = f" ({about.of_column.unit})" if about.of_column.unit else ""
    by = f", {pairs[0].by}" if quantity == "tin_at_percent" else ""
    style(axes, x_label=f"{about.noun}, estimated{by}{unit}", y_label=f"{about.noun}, measured{unit}")
    u = np.array([row.measured.u for row in pairs])
    x = [[getattr(row, end) for row in pairs] for end in ("low", "value", "high")]
    y = np.array([row.measured.value for row in pairs]) + np.outer((-1.0, 0.0, 1.0), u)
    marks(axes, [lots.index(row.lot) for row in pairs], x, y, width=LINE)
    low = min(min(row.low, row.measured.value - row.measured.u) for row in pairs)
    high = max(max(row.high, row.measured.value + row.measured.u) for row in pairs)
    pad = 0.06 * (high - low) or 1.0
    ends = (low - pad, high + pad)
    axes.set_xlim(ends)
    axes.set_ylim(ends)
    axes.plot(ends, ends, color=palette.FOG, linewidth=LINE, zorder=0.5)
    few_ticks(axes)
    minor_ticks(axes, x=2, y=2)


def _numbers(agreements: Sequence[Agreement]) -> list[Agreement]:
    return [agreement for agreement in agreements if math.isfinite(agreement.difference)]


def _draw_relations(
    axes: Axes, compared: dict[str, tuple[Agreement, ...]], quantity: str, lots: Sequence[str]
) -> None:
    """One line a relation, one bar a lot: how far off it is on the average."""
    names = list(dict.fromkeys(agreement.route[0].name for entry in compared.values() for agreement in _numbers(entry)))
    unit = next(agreement.route[0].output.unit for entry in compared.values() for agreement in _numbers(entry))
    style(axes, x_label=f"{COMPARED[quantity]}, measured\nless predicted ({unit})")
    axes.axvline(0.0, color=palette.FOG, linewidth=LINE, zorder=0.5)
    step = 0.9 / max(len(compared), 1)
    for i, (lot, entry) in enumerate(compared.items()):
        k = lots.index(lot)
        colour = palette.lot_colour(k)
        for agreement in _numbers(entry):
            y = names.index(agreement.route[0].name) + step * (i - 0.5 * (len(compared) - 1))
            total = math.hypot(agreement.u_own, agreement.u_common)
            middle, own = agreement.difference, agreement.u_own
            axes.plot([middle - total, middle + total], [y, y], color=colour, linewidth=LINE, zorder=2)
            axes.plot([middle - own, middle + own], [y, y], color=colour, linewidth=BAR, alpha=0.6,
                      solid_capstyle="butt", zorder=2)  # fmt: skip
            axes.plot([middle], [y], linestyle="none", zorder=3, **look(k))
            words = f"p {agreement.probability:.2f}" if agreement.candidate else f"({agreement.route[0].wire})"
            write(axes, words, (middle + total, y), SMALL, palette.SLATE, by=(4.0, 0.0), va="center")
    name_rows(axes, names, SMALL)
    axes.set_ylim(bottom=len(names) - 0.25)  # words beside the lowest bar stand clear of ticks
    axes.spines["left"].set_visible(True)
    low, high = axes.get_xlim()
    wide = axes.get_window_extent().width / axes.figure.get_dpi()
    axes.set_xlim(low, low + (high - low) * wide / max(wide - _PROBABILITY_IN, 0.5 * wide))
    few_ticks(axes)
    minor_ticks(axes, x=2)
