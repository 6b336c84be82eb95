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
    known = {one.name: one for one in explained.quantities}
    shown = [known[one.name] for one in standing_in("section") if one.name in known]
    if every:
        shown = list(explained.quantities)
    elif explained.sample.failed:
        shown = []
    return Table.of(_HEAD, [_row(one) for one in shown if every or math.isfinite(one.value)])


def _row(one: QuantityExplained) -> tuple[str, ...]:
    about, independent = one.about, ""
    if math.isnan(one.value):
        value, sources = MISSING, "cannot be given"
    elif one.estimated:
        value, sources = about.interval_text(one.value, one.low, one.high), "joint model"
    else:
        value = about.value_text(one.value, one.u)
        independent = about.u_text(one.private) if one.private > 0.0 else ""
        largest = one.budget[0] if one.budget else None
        sources = f"{largest.title} {100.0 * (largest.u / one.u) ** 2:.0f} %" if largest else ""
    return about.noun, value, about.people.unit, independent, sources, about.column
