"""An estimate from numbers alone: its table, tidy numbers, figure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from xrdorder import figures
from xrdorder.estimates.from_numbers import Estimate
from xrdorder.estimates.from_numbers_rows import JOINT
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import MISSING, concise, interval
from xrdorder.quantities.tables import Heading, Table
from xrdorder.views.showing import figure, frame, table, title

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


@title.register(Estimate)
def _(estimate: Estimate) -> str:
    return "Estimate by the joint model, not a measurement"


@frame.register(Estimate)
def _(estimate: Estimate) -> pd.DataFrame:
    import pandas as pd

    names = ["quantity", "by", "value", "u", "low", "high", "unit", "validity", "source", "note"]
    return pd.DataFrame([[getattr(row, name) for name in names] for row in estimate.rows()], columns=names)


@table.register(Estimate)
def _(estimate: Estimate, brief: bool = True) -> Table:
    shown = estimate.rows(brief=brief)
    said = ["" if brief and row.by == JOINT else row.note for row in shown]  # what it is by is said beside it
    notes = list(dict.fromkeys(filter(None, said)))
    lines, previous = [], ""
    for row, note in zip(shown, said, strict=True):
        mark = f"[{notes.index(note) + 1}]" if note else ""
        there, symmetric = np.isfinite(row.value), np.isfinite(row.u)
        u = row.u if symmetric else 0.5 * (row.high - row.low)
        span = "" if symmetric or not there else interval(row.low, row.high)
        lines.append(
            (
                "" if row.quantity == previous else row.quantity,
                concise(row.value, u) if there else MISSING,
                "" if row.unit == "1" else row.unit,
                span,
                row.by,
                mark,
            )
        )
        previous = row.quantity
    ends = Heading("68 %", optional=0 if brief else 1)
    head: list[Heading | str] = ["quantity", Heading("value"), "unit", ends, "by", *["remark"] * bool(notes)]
    marked = [f"[{k}] {note}" for k, note in enumerate(notes, start=1)]
    return Table.of(head, [line[: len(head)] for line in lines], [*marked, ESTIMATES])


@figure.register(Estimate)
def _(estimate: Estimate, **options: Any) -> Figure:
    return figures.estimate_figure(estimate.rows(), **options)
