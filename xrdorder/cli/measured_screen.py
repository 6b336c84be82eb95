"""Estimated against measured on the terminal: which relation fits each lot, one table; the rest in detail."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from xrdorder.cli.console import Part
from xrdorder.quantities.formatting import as_given, interval, rounded, with_interval
from xrdorder.quantities.tables import Heading, Table
from xrdorder.reports.cautions import ESTIMATES

if TYPE_CHECKING:
    from xrdorder.measured.agreement import Agreement
    from xrdorder.measured.held import Held
    from xrdorder.measured.rows import Row

_MISSING = "-"
_MOST_ROWS = 30


def measured_parts(held: "Held", *, details: bool = False) -> list[Part]:
    """Which relation fits best, measured and estimated values side by side, and how to read them."""
    from xrdorder.measured.held import COMPARED, verdict

    answers: list[Part] = [
        f"{COMPARED[quantity]} of {lot or 'samples without lot'}: {verdict(found)}."
        for (lot, quantity), found in held.agreements.items()
    ]
    # of several ways to one value the last is that by all of them
    best = {(row.sample, row.measured.words): row for row in held.rows if row.comparable}
    wanted = list(held.rows) if details else list(best.values())[:_MOST_ROWS]
    rest = f"{len(held.rows) - len(wanted)} more rows stand in the table file; --details shows them. "
    parts = [*answers, "", _table(wanted, details), ""]
    if details:
        for (lot, quantity), found in held.agreements.items():
            parts += [*_agreements(f"{COMPARED[quantity]} of {lot or 'samples without lot'}", found), ""]
        return [*parts, _HOW_TO_READ, ESTIMATES]
    return [*parts, f"{rest if len(wanted) < len(held.rows) else ''}{_BRIEFLY} {ESTIMATES}"]


_BRIEFLY = (
    "After ±: standard uncertainty (k = 1); that of a difference holds half of the interval of the estimate. Estimates "
    "are those of strain-free A15."
)
_HOW_TO_READ = (
    "After ±: standard uncertainty (k = 1); of a difference in total, with half of the interval of the estimate in it. "
    "Estimates are those of strain-free A15: a wire measured as it is has lost a few per cent of Bc2 and some Tc to "
    "its strain, which is part of the difference. Estimates of one study share most of their uncertainty: that many "
    "differences have one sign is weaker evidence than it looks. Wire: on what a relation was found. Probability: that "
    "the relation is the best of those compared, all held equally probable before, shared uncertainties counted once. "
    "Independent u: what each sample has for itself; shared u: what all share, which an adopted offset takes up. It "
    "holds for this laboratory, this wire and this scale of tin."
)


def _table(rows: "Sequence[Row]", details: bool) -> Table:
    notes = list(dict.fromkeys(row.note for row in rows if row.note))
    head = [
        Heading("sample", numeric=False),
        Heading("quantity", numeric=False),
        Heading("measured"),
        Heading("unit", numeric=False),
        Heading("estimate"),
        Heading("68 %", optional=1),
        Heading("difference"),
        Heading("by", numeric=False, optional=0 if details else 2),
        *[Heading("remark", numeric=False)] * bool(notes),
    ]
    lines = [_line(row, notes) for row in rows]
    return Table.of(head, lines, [f"[{k}] {note}" for k, note in enumerate(notes, start=1)])


def _line(row: "Row", notes: Sequence[str]) -> list[str]:
    one = row.measured
    mark = [f"[{notes.index(row.note) + 1}]" if row.note else ""] * bool(notes)
    given = [row.sample, one.words, as_given(one.value, one.u), "" if one.unit == "1" else one.unit]
    if not math.isfinite(row.value):
        return [*given, _MISSING, _MISSING, _MISSING, row.by, *mark]
    difference = rounded(row.difference, row.u, signed=True) if row.comparable else _MISSING
    value = with_interval(row.value, row.low, row.high).partition(" ")[0]
    return [*given, value, interval(row.low, row.high), difference, row.by, *mark]


def _agreements(title: str, found: "Sequence[Agreement]") -> list[Part]:
    """How each relation agrees with the values of one lot, and how these were read off."""
    unit = next((one.route[0].output.unit for one in found), "")
    head: list[Heading | str] = ["relation", "wire", "probability", Heading("measured minus predicted", unit)]
    head += [Heading(words, unit) for words in ("independent u", "shared u", "scatter")]
    rows = [_agreement(one) for one in found if not one.reason]
    parts: list[Part] = [Table.of(head, rows, title=title)] if rows else [title]
    parts += [f"  {one.route[0].name}: not compared, {one.reason}" for one in found if one.reason]
    return [*parts, *_criteria(found)]


def _agreement(one: "Agreement") -> tuple[str, ...]:
    def number(value: float, form: str = ".2f") -> str:
        return f"{value:{form}}" if math.isfinite(value) else _MISSING

    probability = "< 0.001" if one.probability < 0.001 else f"{one.probability:.3f}"
    return (
        one.route[0].name,
        one.route[0].wire,
        probability if one.candidate else "other wire",
        number(one.difference, "+.2f"),
        number(one.u_own),
        number(one.u_common),
        number(one.spread),
    )


def _criteria(found: "Sequence[Agreement]") -> list[Part]:
    """Say how the values were read off, and which relations were read otherwise."""
    compared = [one for one in found if not one.reason]
    if not compared:
        return []
    told = list(dict.fromkeys(one or "not told" for one in compared[0].criteria))
    others: dict[str, list[str]] = {}
    for one in compared:
        if [one.route[0].criterion] != told:
            others.setdefault(one.route[0].criterion or "not told", []).append(one.route[0].name)
    if not others:
        return []
    words = "; ".join(f"{criterion} ({', '.join(names)})" for criterion, names in others.items())
    return [
        f"  Criterion of the measured values: {', '.join(told)}. Of relations: {words}. How far these lie apart is "
        "part of the offset."
    ]
