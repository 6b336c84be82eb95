"""Estimated against measured on the terminal: how far apart, what may be adopted, one table; the rest in detail."""

import math
from collections.abc import Iterator, Sequence
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.cli.console import Entry, Part
from xrdorder.comparison.differences import LEVEL
from xrdorder.measured.held import COMPARED, candidates, made_from_these, significant, unclear, verdict
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import (
    MISSING,
    as_given,
    concise,
    interval,
    listed,
    rounded,
    with_interval,
    with_sign,
)
from xrdorder.quantities.tables import Heading, Table

if TYPE_CHECKING:
    from xrdorder.measured.agreement import Agreement
    from xrdorder.measured.held import Held
    from xrdorder.measured.rows import Row

_MOST_ROWS = 30


def measured_parts(held: "Held", *, details: bool = False) -> list[Part]:
    """How far measured values lie from estimates, whether an offset may be adopted, both side by side."""
    # of several ways to one value the last is that by all of them
    best = list({(row.sample, row.measured.words): row for row in held.rows if row.comparable}.values())
    parts: list[Part] = [*_answer(held, best), ESTIMATES, *_next(held), ""]
    if not details:
        rest = len(held.rows) - len(best)
        more = f" {rest} more values stand in the table file." if rest else ""
        return [*parts, _by_sample(best), "", f"{_BRIEFLY}{more}"]
    parts += [*_relations(held), _table(held.rows), ""]
    for (lot, quantity), agreement in held.agreements.items():
        parts += [*_agreements(_title(lot, quantity), agreement), f"{_title(lot, quantity)}: {verdict(agreement)}.", ""]
    return [*parts, _HOW_TO_READ]


_BRIEFLY = (
    "In brackets: standard uncertainty (k = 1) of the last digits; of a difference that of the estimate as well. "
    "Significant: alpha = 0.05. Estimates here are by X-rays alone, those of xrdorder run are anchored to what was "
    "measured. --details shows them and every relation."
)
_HOW_TO_READ = (
    "After ±: standard uncertainty (k = 1); of a difference in total, with half of the interval of the estimate in it. "
    "Estimates are those of strain-free A15 by X-rays alone: a wire measured as it is has lost a few per cent of Bc2 "
    "and some Tc to its strain, which is part of the difference. Estimates of one study share most of their "
    "uncertainty: that many differences have one sign is weaker evidence than it looks. Wire: on what a relation was "
    "found. Probability: that the relation is the best of those compared, all held equally probable before, shared "
    "uncertainties counted once. Independent u: what each sample has for itself; shared u: what all share, which an "
    "adopted offset takes up. It holds for this laboratory, this wire and this scale of tin."
)


def _title(lot: str, quantity: str) -> str:
    return f"{COMPARED[quantity]} of {lot or 'samples without lot'}"


def _answer(held: "Held", rows: Sequence["Row"]) -> Iterator[Part]:
    """Of each quantity how far measured values lie from estimates, and whether that is significant."""
    by_quantity: dict[str, list[Row]] = {}
    for row in rows:
        if math.isfinite(row.value) and row.u > 0.0:
            by_quantity.setdefault(row.measured.quantity, []).append(row)
    samples = len(dict.fromkeys(row.sample for row in held.rows))
    yield f"{samples} sample{'s' * (samples != 1)} with measured values; these less the estimates by X-rays alone:"
    for some in by_quantity.values():
        mean = float(np.mean([row.difference for row in some]))
        pulls = [abs(row.difference) / row.u for row in some]
        noun, unit = some[0].measured.words.partition(" (")[0], some[0].measured.unit
        # two digits, no power of ten
        amount = f"{with_sign(float(f'{mean:.2g}'), 'g')}{f' {unit}' if unit != '1' else ''}"
        sure = "" if len(some) * 2.0 * NormalDist().cdf(-max(pulls)) < LEVEL else "not "
        of = f"on average of {len(some)}, at most" if len(some) > 1 else "or"
        yield f"  {noun} {amount} {of} {max(pulls):.1f} u: {sure}significant"


def _next(held: "Held") -> Iterator[Part]:
    """Which offsets may be adopted, or why none."""
    for agreement in held.agreements.values():
        yield from (f"{text}." for text in made_from_these(candidates(agreement)))
    reasons: dict[str, list[str]] = {}
    for key, agreement in held.agreements.items():
        reasons.setdefault(unclear(agreement).partition(",")[0].partition(" of ")[0], []).append(_title(*key))
    if clear := reasons.pop("", []):
        yield Entry("Next", f"significant offset of a relation for {listed(clear)}: --adopt FILE takes it over")
    elif reasons:
        why = "; ".join(f"{reason.replace(*_RELATION)}: {listed(titles)}" for reason, titles in reasons.items())
        yield Entry("Next", f"nothing to adopt. {why[0].upper()}{why[1:]}")


_RELATION = ("not decided", "not decided which relation holds")


def _relations(held: "Held") -> list[Part]:
    """The best relation for each lot in a row."""
    rows = []
    for key, agreement in held.agreements.items():
        compared = candidates(agreement)
        if not compared:
            rows.append((_title(*key), MISSING, MISSING, MISSING))
            continue
        best = compared[0]
        offset = MISSING
        if math.isfinite(best.difference):
            star = " *" if significant(best) else ""
            offset = f"{rounded(best.difference, best.u_own, best.route[0].output.unit, signed=True)}{star}"
        rows.append((_title(*key), best.route[0].name, f"{best.probability:.2f} of {len(compared)}", offset))
    head: list[Heading | str] = ["relations", "best of those compared", Heading("P"), Heading("measured - predicted")]
    star = f"* significant (alpha = {LEVEL:g}) by what each sample has for itself."
    return [Table.of(head, rows, [star]), ""] if rows else []


def _by_sample(rows: Sequence["Row"]) -> Table:
    """A row for each sample: what was measured, and how far it lies from the estimate."""
    samples = list(dict.fromkeys(row.sample for row in rows))[:_MOST_ROWS]
    wanted = {row.measured.words: row.measured for row in rows}
    of = {(row.sample, row.measured.words): row for row in rows}
    head = [Heading("sample", numeric=False)]
    for words, target in wanted.items():
        head += [Heading(words.partition(" (")[0], target.unit.removesuffix("1")), Heading("less estimate")]
    lines = [[name, *(text for words in wanted for text in _pair(of.get((name, words))))] for name in samples]
    return Table.of(head, lines, _criteria_of(rows))


def _pair(row: "Row | None") -> tuple[str, str]:
    if row is None:
        return MISSING, MISSING
    sign = "+" if row.difference > 0.0 else ""
    return concise(row.measured.value, row.measured.u), f"{sign}{concise(row.difference, row.u)}"


def _criteria_of(rows: Sequence["Row"]) -> list[str]:
    told = [f"{row.measured.words.partition(' (')[0]} read off at {row.measured.criterion}"
            for row in rows if row.measured.criterion]  # fmt: skip
    return [f"{'; '.join(dict.fromkeys(told))}."] if told else []


def _table(rows: Sequence["Row"]) -> Table:
    """A row for each measured value and way to its estimate."""
    notes = list(dict.fromkeys(row.note for row in rows if row.note))
    head: list[Heading | str] = ["sample", "quantity", Heading("measured"), "unit", Heading("estimate")]
    head += [Heading("68 %", optional=1), Heading("difference"), Heading("by", numeric=False, optional=2)]
    marked = [f"[{k}] {note}" for k, note in enumerate(notes, start=1)]
    head += ["remark"] * bool(notes)
    return Table.of(head, [_line(row, notes) for row in rows], [*_criteria_of(rows), *marked])


def _line(row: "Row", notes: Sequence[str]) -> list[str]:
    measured = row.measured
    mark = [f"[{notes.index(row.note) + 1}]" if row.note else ""] * bool(notes)
    words, unit = measured.words.partition(" (")[0], "" if measured.unit == "1" else measured.unit
    given = [row.sample, words, as_given(measured.value, measured.u), unit]
    if not math.isfinite(row.value):
        return [*given, MISSING, MISSING, MISSING, row.by, *mark]
    difference = rounded(row.difference, row.u, signed=True) if row.comparable else MISSING
    value = with_interval(row.value, row.low, row.high).partition(" ")[0]
    return [*given, value, interval(row.low, row.high), difference, row.by, *mark]


def _agreements(title: str, agreements: "Sequence[Agreement]") -> list[Part]:
    """How each relation agrees with the values of one lot, and how these were read off."""
    unit = next((agreement.route[0].output.unit for agreement in agreements), "")
    head: list[Heading | str] = ["relation", "wire", "probability", Heading("measured minus predicted", unit)]
    head += [Heading("independent u", unit), Heading("shared u", unit), Heading("scatter", unit, optional=1)]
    rows = [_agreement(agreement) for agreement in agreements if not agreement.reason]
    parts: list[Part] = [Table.of(head, rows, title=title)] if rows else [title]
    parts += [
        f"  {agreement.route[0].name}: not compared, {agreement.reason}"
        for agreement in agreements
        if agreement.reason
    ]
    return [*parts, *_criteria(agreements)]


def _agreement(agreement: "Agreement") -> tuple[str, ...]:
    def number(value: float) -> str:
        return f"{value:.2f}" if math.isfinite(value) else MISSING

    probability = "< 0.001" if agreement.probability < 0.001 else f"{agreement.probability:.3f}"
    return (
        agreement.route[0].name,
        agreement.route[0].wire,
        probability if agreement.candidate else "other wire",
        with_sign(agreement.difference, ".2f") if math.isfinite(agreement.difference) else MISSING,
        number(agreement.u_own),
        number(agreement.u_common),
        number(agreement.spread),
    )


def _criteria(agreements: "Sequence[Agreement]") -> list[Part]:
    """Say how the values were read off, and which relations were read otherwise."""
    compared = [agreement for agreement in agreements if not agreement.reason]
    if not compared:
        return []
    told = list(dict.fromkeys(agreement or "not told" for agreement in compared[0].criteria))
    others: dict[str, list[str]] = {}
    for entry in compared:
        if [entry.route[0].criterion] != told:
            others.setdefault(entry.route[0].criterion or "not told", []).append(entry.route[0].name)
    if not others:
        return []
    words = "; ".join(f"{criterion} ({', '.join(names)})" for criterion, names in others.items())
    return [
        f"  Criterion of the measured values: {', '.join(told)}. Of relations: {words}. How far these lie apart is "
        "part of the offset."
    ]
