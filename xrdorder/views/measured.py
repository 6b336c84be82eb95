"""Measured values against estimates: how far apart, what may be adopted, one table; the rest in detail."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from statistics import NormalDist

import numpy as np

from xrdorder.comparison.differences import LEVEL
from xrdorder.measured.agreement import Agreement
from xrdorder.measured.held import COMPARED, Held, candidates, made_from_these, significant, unclear, verdict
from xrdorder.measured.rows import Row
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
from xrdorder.quantities.tables import Column, Entry, Heading, Part, Table
from xrdorder.views.showing import parts, table, title

_MOST_ROWS = 30


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


@title.register(Held)
def _(held: Held) -> str:
    samples = len(dict.fromkeys(row.sample for row in held.rows))
    return f"{samples} sample{'s' * (samples != 1)} with measured values; these less the estimates by X-rays alone:"


@table.register(Held)
def _(held: Held) -> Table:
    """Give a row for each sample: what was measured, and how far it lies from the estimate."""
    best = _best(held)
    of = {(row.sample, row.measured.words): row for row in best}
    columns: list[Column[str]] = [("sample", str)]
    for words, target in {row.measured.words: row.measured for row in best}.items():
        head = Heading(words.partition(" (")[0], target.unit.removesuffix("1"))
        wanted = {name: row for (name, what), row in of.items() if what == words}
        columns += [(head, partial(_value, wanted)), (Heading("less estimate"), partial(_less, wanted))]
    samples = list(dict.fromkeys(row.sample for row in best))[:_MOST_ROWS]
    return Table.by(samples, columns, _criteria_of(best))


@parts.register(Held)
def _(held: Held, details: bool = False) -> list[Part]:
    """How far measured values lie from estimates, whether an offset may be adopted, both side by side."""
    best = _best(held)
    said: list[Part] = [title(held), *_answer(best), ESTIMATES, *_next(held), ""]
    if not details:
        rest = len(held.rows) - len(best)
        more = f" {rest} more values stand in the table file." if rest else ""
        return [*said, table(held), "", f"{_BRIEFLY}{more}"]
    said += [*_relations(held), _every(held.rows), ""]
    for key, agreement in held.agreements.items():
        said += [*_agreements(_pair(*key), agreement), f"{_pair(*key)}: {verdict(agreement)}.", ""]
    return [*said, _HOW_TO_READ]


def _best(held: Held) -> list[Row]:
    """Of several ways to one value the last, that by all of them."""
    return list({(row.sample, row.measured.words): row for row in held.rows if row.comparable}.values())


def _pair(lot: str, quantity: str) -> str:
    return f"{COMPARED[quantity]} of {lot or 'samples without lot'}"


def _answer(rows: Sequence[Row]) -> Iterator[str]:
    """Of each quantity how far measured values lie from estimates, and whether that is significant."""
    by_quantity: dict[str, list[Row]] = {}
    for row in rows:
        if math.isfinite(row.value) and row.u > 0.0:
            by_quantity.setdefault(row.measured.quantity, []).append(row)
    for some in by_quantity.values():
        mean = float(np.mean([row.difference for row in some]))
        most = max(abs(row.difference) / row.u for row in some)
        noun, unit = _noun(some[0]), some[0].measured.unit
        # two digits, no power of ten
        amount = f"{with_sign(float(f'{mean:.2g}'), 'g')}{f' {unit}' if unit != '1' else ''}"
        sure = "" if len(some) * 2.0 * NormalDist().cdf(-most) < LEVEL else "not "
        of = f"on average of {len(some)}, at most" if len(some) > 1 else "or"
        yield f"  {noun} {amount} {of} {most:.1f} u: {sure}significant"


def _next(held: Held) -> Iterator[Part]:
    """Which offsets may be adopted, or why none."""
    for agreement in held.agreements.values():
        yield from (f"{text}." for text in made_from_these(candidates(agreement)))
    reasons: dict[str, list[str]] = {}
    for key, agreement in held.agreements.items():
        reasons.setdefault(unclear(agreement).partition(",")[0].partition(" of ")[0], []).append(_pair(*key))
    if clear := reasons.pop("", []):
        yield Entry("Next", f"significant offset of a relation for {listed(clear)}: --adopt FILE takes it over")
    elif reasons:
        why = "; ".join(f"{reason.replace(*_RELATION)}: {listed(titles)}" for reason, titles in reasons.items())
        yield Entry("Next", f"nothing to adopt. {why[0].upper()}{why[1:]}")


_RELATION = ("not decided", "not decided which relation holds")


def _relations(held: Held) -> list[Part]:
    """The best relation for each lot in a row."""
    compared = {key: candidates(agreement) for key, agreement in held.agreements.items()}

    def of_best(words: Callable[[Agreement], str], key: tuple[str, str]) -> str:
        return words(compared[key][0]) if compared[key] else MISSING

    def probability(key: tuple[str, str]) -> str:
        return of_best(lambda item: f"{item.probability:.2f} of {len(compared[key])}", key)

    columns: tuple[Column[tuple[str, str]], ...] = (
        ("relations", lambda key: _pair(*key)),
        ("best of those compared", partial(of_best, lambda item: item.route[0].name)),
        (Heading("P"), probability),
        (Heading("measured - predicted"), partial(of_best, _offset)),
    )
    star = f"* significant (alpha = {LEVEL:g}) by what each sample has for itself."
    return [Table.by(compared, columns, [star]), ""] if compared else []


def _offset(best: Agreement) -> str:
    if not math.isfinite(best.difference):
        return MISSING
    star = " *" if significant(best) else ""
    return f"{rounded(best.difference, best.u_own, best.route[0].output.unit, signed=True)}{star}"


def _noun(row: Row) -> str:
    return row.measured.words.partition(" (")[0]


def _value(rows: Mapping[str, Row], name: str) -> str:
    return MISSING if (row := rows.get(name)) is None else concise(row.measured.value, row.measured.u)


def _less(rows: Mapping[str, Row], name: str) -> str:
    if (row := rows.get(name)) is None:
        return MISSING
    return f"{'+' if row.difference > 0.0 else ''}{concise(row.difference, row.u)}"


def _criteria_of(rows: Sequence[Row]) -> list[str]:
    told = [f"{_noun(row)} read off at {row.measured.criterion}" for row in rows if row.measured.criterion]
    return [f"{'; '.join(dict.fromkeys(told))}."] if told else []


def _every(rows: Sequence[Row]) -> Table:
    """A row for each measured value and way to its estimate."""
    notes = list(dict.fromkeys(row.note for row in rows if row.note))

    def there(words: Callable[[Row], str]) -> Callable[[Row], str]:
        return lambda row: words(row) if math.isfinite(row.value) else MISSING

    columns: tuple[Column[Row] | None, ...] = (
        ("sample", lambda row: row.sample),
        ("quantity", _noun),
        (Heading("measured"), lambda row: as_given(row.measured.value, row.measured.u)),
        ("unit", lambda row: row.measured.unit.removesuffix("1")),
        (Heading("estimate"), there(lambda row: with_interval(row.value, row.low, row.high).partition(" ")[0])),
        (Heading("68 %", optional=1), there(lambda row: interval(row.low, row.high))),
        (Heading("difference"), there(
            lambda row: rounded(row.difference, row.u, signed=True) if row.comparable else MISSING)),
        (Heading("by", numeric=False, optional=2), lambda row: row.by),
        ("remark", lambda row: f"[{notes.index(row.note) + 1}]" if row.note else "") if notes else None,
    )  # fmt: skip
    marked = [f"[{k}] {note}" for k, note in enumerate(notes, start=1)]
    return Table.by(rows, columns, [*_criteria_of(rows), *marked])


def _agreements(title: str, agreements: Sequence[Agreement]) -> list[Part]:
    """How each relation agrees with the values of one lot, and how these were read off."""
    unit = next((agreement.route[0].output.unit for agreement in agreements), "")
    compared = [agreement for agreement in agreements if not agreement.reason]

    def number(value: float) -> str:
        return f"{value:.2f}" if math.isfinite(value) else MISSING

    def probability(item: Agreement) -> str:
        small = "< 0.001" if item.probability < 0.001 else f"{item.probability:.3f}"
        return small if item.candidate else "other wire"

    columns: tuple[Column[Agreement], ...] = (
        ("relation", lambda item: item.route[0].name),
        ("wire", lambda item: item.route[0].wire),
        ("probability", probability),
        (Heading("measured minus predicted", unit),
         lambda item: with_sign(item.difference, ".2f") if math.isfinite(item.difference) else MISSING),
        (Heading("independent u", unit), lambda item: number(item.u_own)),
        (Heading("shared u", unit), lambda item: number(item.u_common)),
        (Heading("scatter", unit, optional=1), lambda item: number(item.spread)),
    )  # fmt: skip
    refused = (f"  {item.route[0].name}: not compared, {item.reason}" for item in agreements if item.reason)
    first: Part = Table.by(compared, columns, title=title) if compared else title
    return [first, *refused, *_criteria(compared)]


def _criteria(compared: Sequence[Agreement]) -> list[Part]:
    """Say how the values were read off, and which relations were read otherwise."""
    told = list(dict.fromkeys(text or "not told" for item in compared[:1] for text in item.criteria))
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
