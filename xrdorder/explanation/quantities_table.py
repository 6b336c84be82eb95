"""Quantities of a sample with what their uncertainty is mostly made of: one table for terminal, page and notebook."""

from __future__ import annotations

import math

from xrdorder.explanation.explanation import Explanation, QuantityExplained
from xrdorder.quantities.formatting import MISSING
from xrdorder.quantities.registry import standing_in
from xrdorder.quantities.tables import Heading, Table

_HEAD = (
    Heading("quantity", numeric=False),
    Heading("value", meaning="standard uncertainty (k = 1) of the last digits in brackets, or the 68 % interval"),
    Heading("unit", numeric=False),
    Heading("independent u", meaning="part of the uncertainty that no other sample shares", optional=1),
    Heading("largest source", meaning="with its share of the squared uncertainty", numeric=False),
    Heading("column", meaning="name in results.csv", numeric=False, optional=2),
)


def quantities_table(explained: Explanation, *, every: bool = False) -> Table:
    """Give a row for each quantity that people look at, or for `every` one.

    Examples
    --------
    >>> [one.words for one in _HEAD][:3]
    ['quantity', 'value', 'unit']
    """
    known = {quantity.name: quantity for quantity in explained.quantities}
    shown = [known[quantity.name] for quantity in standing_in("section") if quantity.name in known]
    if every:
        shown = list(explained.quantities)
    elif explained.sample.failed:
        shown = []
    return Table.of(_HEAD, [_row(entry) for entry in shown if every or math.isfinite(entry.value)])


def _row(explained: QuantityExplained) -> tuple[str, ...]:
    about, independent = explained.about, ""
    if math.isnan(explained.value):
        value, sources = MISSING, "cannot be given"
    elif explained.estimated:
        value, sources = about.interval_text(explained.value, explained.low, explained.high), "joint model"
    else:
        value = about.value_text(explained.value, explained.u)
        independent = about.u_text(explained.private) if explained.private > 0.0 else ""
        largest = explained.budget[0] if explained.budget else None
        sources = f"{largest.title} {100.0 * (largest.u / explained.u) ** 2:.0f} %" if largest else ""
    return about.noun, value, about.people.unit, independent, sources, about.column
