"""Predicted against measured as text for a terminal."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from xrdorder.cli.cautions import ESTIMATES
from xrdorder.cli.tables import table, wrapped
from xrdorder.quantities.formatting import as_given, interval, rounded, with_interval

if TYPE_CHECKING:
    from xrdorder.measured.agreement import Agreement
    from xrdorder.measured.rows import Row
    from xrdorder.measured.study import Held

_MISSING = "-"


def measured_text(held: "Held") -> str:
    """Rows, how relations agree with them lot by lot, what may be adopted, and how to read it."""
    from xrdorder.measured.study import COMPARED, verdict

    notes = list(dict.fromkeys(row.note for row in held.rows if row.note))
    head = (
        ("sample", "what", "measured", "estimate", "68 %", "difference", "by", "remark"),
        ("", "", "", "", "", "", "", ""),
    )
    lines = [_line(row, notes) for row in held.rows]
    parts = [table(head[:1], lines), ""]
    parts += [wrapped(f"[{k}] {note}", indent=2) for k, note in enumerate(notes, start=1)]
    for (lot, quantity), found in held.agreements.items():
        parts += ["", f"{COMPARED[quantity]} of {lot or 'samples without lot'}", *_agreements(found)]
        parts.append(wrapped(f"{verdict(found)}.", indent=2))
        parts += [wrapped(text, indent=2) for text in _criteria(found)]
    parts += ["", wrapped(_HOW_TO_READ), wrapped(ESTIMATES)]
    return "\n".join(parts)


_HOW_TO_READ = (
    "After ±: standard uncertainty (k = 1); of a difference in total, with half of the interval of the estimate in it. "
    "Estimates are those of strain-free A15: a wire measured as it is has lost a few per cent of Bc2 and some Tc to "
    "its strain, which is part of the difference. Estimates of one study share most of their doubt: that many "
    "differences have one sign is weaker evidence than it looks. Wire: on what a relation was found. Probability: that "
    "the relation is the best of those compared, all held equally probable before, shared doubts counted once. Own: "
    "what each sample has for itself; common: what all share, which an adopted offset takes up. It holds for this "
    "laboratory, this wire and this scale of tin."
)


def _line(row: "Row", notes: Sequence[str]) -> tuple[str, ...]:
    one = row.measured
    unit = "" if one.unit == "1" else f" {one.unit}"
    mark = f"[{notes.index(row.note) + 1}]" if row.note else ""
    given = f"{as_given(one.value, one.u)}{unit}"
    if not math.isfinite(row.value):
        return row.sample, one.words, given, _MISSING, _MISSING, _MISSING, row.by, mark
    difference = rounded(row.difference, row.u, signed=True) if row.comparable else _MISSING
    return (
        row.sample,
        one.words,
        given,
        with_interval(row.value, row.low, row.high).partition(" ")[0],
        interval(row.low, row.high),
        difference,
        row.by,
        mark,
    )


def _criteria(found: "Sequence[Agreement]") -> list[str]:
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
        f"Criterion of the measured values: {', '.join(told)}. Of relations: {words}. How far these lie apart is part "
        "of the offset."
    ]


def _agreements(found: "Sequence[Agreement]") -> list[str]:
    rows = [_agreement(one) for one in found if not one.reason]
    head = [("  relation", "wire", "probability", "measured less predicted", "own", "common", "scatter")]
    lines = [table(head, rows)] if rows else []
    lines += [wrapped(f"{one.route[0].name}: not compared, {one.reason}", indent=2) for one in found if one.reason]
    return lines


def _agreement(one: "Agreement") -> tuple[str, ...]:
    def number(value: float, form: str = ".2f") -> str:
        return f"{value:{form}}" if math.isfinite(value) else _MISSING

    probability = "< 0.001" if one.probability < 0.001 else f"{one.probability:.3f}"
    unit = f" {one.route[0].output.unit}" if math.isfinite(one.difference) else ""
    return (
        f"  {one.route[0].name}",
        one.route[0].wire,
        probability if one.candidate else "other wire",
        f"{number(one.difference, '+.2f')}{unit}",
        number(one.u_own),
        number(one.u_common),
        number(one.spread),
    )
