"""Variants compared: the answer, one table of differences, what is unusual; the rest in detail; a pair alone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from xrdorder import figures
from xrdorder.comparison import (
    Comparison,
    Difference,
    Outlier,
    drift_words,
    drifts,
    methods_sentence,
    outliers,
    trend,
    trend_words,
    verdict,
)
from xrdorder.comparison.differences import LEVEL
from xrdorder.comparison.pair import Pair
from xrdorder.comparison.quantity_draws import mounts_of
from xrdorder.comparison.study_comparison import COLUMNS, LOGARITHMIC, UNITS, StudyComparison, difference_rows
from xrdorder.comparison.variants import AHEAD_BY
from xrdorder.comparison.wording import manner, probability_words
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import MISSING, digits, rounded, u_text
from xrdorder.quantities.registry import QUANTITIES, known
from xrdorder.quantities.tables import Cell, Column, Entry, Heading, Part, Table
from xrdorder.results.study_table import by_temperature
from xrdorder.views.showing import figure, frame, parts, table, title
from xrdorder.views.study import own_parts

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    _Columns = list[Column[tuple[str, str]] | None]

_LEAST_POINTS = 3  # of a variable, for a course and not rows
_MOST_VERDICTS = 3  # of one quantity
_MOST_PAIRS, _LEAST_PAIRS = 12, 3  # shown of all pairs
_STAR = "* significant: 5 % for all comparisons of a quantity together (Holm's correction)."
_DOUBT = "Tests also allow for how little few wires tell of the scatter of equal ones."


@title.register(StudyComparison)
def _(comparison: StudyComparison) -> str:
    return f"Differences to {comparison.reference}" if not comparison.all_pairs else "Differences of all pairs"


@frame.register(StudyComparison)
def _(comparison: StudyComparison) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(difference_rows(comparison), columns=list(COLUMNS))


@figure.register(StudyComparison)
def _(comparison: StudyComparison, **options: Any) -> Figure:
    compared = list(comparison.compared.values())
    options = {"title": str(comparison.results.attrs.get("title", "")), **options}
    along = np.concatenate([np.asarray(entry.variable, dtype=float) for entry in compared])
    if np.unique(along[np.isfinite(along)]).size < _LEAST_POINTS:
        return figures.difference_rows(compared, **options)
    unit = "m" if comparison.by == "position" else UNITS.get(comparison.by, "")
    logarithmic = comparison.by in LOGARITHMIC
    return figures.difference_courses(
        compared, comparison.by.replace("-", " "), unit, logarithmic=logarithmic, **options
    )


@table.register(StudyComparison)
def _(comparison: StudyComparison, details: bool = False, pairs: Sequence[tuple[str, str]] = ()) -> Table:
    """Give differences to the reference, or of pairs; with `details` each with u and probability, else u once."""
    several, both = _comparisons(comparison), comparison.all_pairs
    if not pairs and not both:
        pairs = [(variant, comparison.reference) for variant in in_order(comparison) if variant != comparison.reference]
    pairs = pairs or list(dict.fromkeys((d.first, d.second) for of in several for d in of.differences()))
    found = [{pair: of.pair(*pair) for pair in pairs if set(pair) <= set(of.variants)} for of in several]

    def wires(pair: tuple[str, str]) -> str:
        counts = (int(of.counts[of.variants.index(pair[0])]) for of in several if pair[0] in of.variants)
        return str(max(counts, default=0))

    columns: _Columns = [("pair", " - ".join)] if both else [("variant", lambda pair: pair[0])]
    columns.append(None if both else (Heading("wires", optional=1), wires))
    for of, differences in zip(several, found, strict=True):
        columns += _columns(of.quantity, differences, details)
    made = Table.by(pairs, columns, title=f"Differences to {comparison.reference}" if not both else "First less second")
    if details:
        return made
    us = (max((manner(d.quantity).scale * d.u for d in of.values()), default=math.nan) for of in found)
    last = ("largest u", *[""] * (not both), *map(u_text, us))
    return replace(made, rows=(*made.rows, tuple(Cell(text, text) for text in last)))


def _columns(quantity: str, found: Mapping[tuple[str, str], Difference], details: bool) -> _Columns:
    """Difference of each pair in one quantity, starred where it is significant, and how probably it is above zero."""
    how, named = manner(quantity), known(quantity)

    def difference(pair: tuple[str, str]) -> str:
        if pair not in found:
            return MISSING
        d = found[pair]
        text = rounded(how.scale * d.value, how.scale * d.u, signed=True)
        return f"{text if details else text.partition(' ± ')[0]}{' *' * d.distinguishable}"

    def chance(pair: tuple[str, str]) -> str:
        return probability_words(found[pair].probability_positive) if pair in found else ""

    return [
        (Heading(how.noun if named is None else named.heading, how.unit), difference),
        (Heading("P", "higher", optional=2), chance) if details else None,
    ]


def _comparisons(comparison: StudyComparison) -> list[Comparison]:
    return [entry.comparison for entry in comparison.compared.values()]


def in_order(comparison: StudyComparison) -> list[str]:
    """Variants by wire lot and reaction temperature, or by the variable that makes them."""
    place = {str(comparison.results["sample"].values[k]): n for n, k in enumerate(by_temperature(comparison.results))}
    ranks: dict[str, float] = {}
    for entry in comparison.compared.values():
        for label, sample, number in zip(entry.labels, entry.values.samples, entry.variable, strict=True):
            rank = float(number) if comparison.by != "treatment" and np.isfinite(number) else place[sample]
            ranks[label] = min(ranks.get(label, rank), rank)
    variants = dict.fromkeys(v for of in _comparisons(comparison) for v in of.variants)
    return sorted(variants, key=lambda variant: ranks.get(variant, np.inf))


@parts.register(StudyComparison)
def _(comparison: StudyComparison, details: bool = False) -> list[Part]:
    """Answer, table, what is unusual, caveats; with `details` absolute values and sentences, too."""
    said: list[Part] = []
    if not comparison.compared:
        said += [_one_variant(comparison), "", *_unusual(comparison, always=True)]
    else:
        said += [*_answer(comparison), *_mixed(comparison), ""]
        if comparison.all_pairs:
            said += [*_pairs(comparison, details), ""]
        else:
            reading = f"{_STAR} u: standard uncertainty of a difference (k = 1). {_DOUBT}"
            said += [comparison.table(details=details), "", reading, ""]
        said += [*_unusual(comparison, always=details), *(_in_words(comparison) if details else [])]
    return [
        *said,
        *own_parts(comparison.results),
        *(f"Left out: {name} ({reason})" for name, reason in comparison.left_out.items()),
        *(f"Not compared: {reason}" for reason in comparison.not_compared if comparison.compared),
        ESTIMATES,
    ]


def _one_variant(comparison: StudyComparison) -> str:
    """What is said where there is nothing to compare with."""
    known = [wire for wire in comparison.wires.values() if wire.variants]
    samples = len(dict.fromkeys(name for entry in known for name in entry.values.samples))
    return (
        f"One variant only by {comparison.by}: {known[0].variants[0]} ({samples} wire{'s' * (samples != 1)}). There is "
        "nothing to compare it with; drifts and outliers are looked for all the same. --by orders the samples by "
        "something else."
    )


def _answer(comparison: StudyComparison) -> Iterator[str]:
    """Which variant has the highest estimate, by how much, and in what it differs significantly from the reference."""
    reference, several = comparison.reference, _comparisons(comparison)
    count = len(dict.fromkeys(v for of in several for v in of.variants))
    yield f"{count} variants · reference {reference} · significance level 5 % after Holm's correction"
    by = next((quantity for quantity in AHEAD_BY if quantity in comparison.compared), "")
    if not by:
        return
    of = comparison.compared[by].comparison
    leader, following = (of.variants[int(k)] for k in np.argsort(-of.value, kind="stable")[:2])
    if leader == reference:
        amount = _amount(of.pair(leader, following), f" {following}, the next")
        yield f"Highest {manner(by).noun}: {leader}, the reference itself; {amount}."
    elif reference in of.variants:
        yield f"Highest {manner(by).noun}: {leader}; {_amount(of.pair(leader, reference), ' the reference')}."
        yield from _significant(comparison, leader)
    if known := [_resolution(of) for of in several if not any(d.distinguishable for d in of.differences())]:
        yield f"Nothing differs significantly in these, known at best to (95 %, one pair): {', '.join(known)}."


def _amount(pair: Difference, over: str) -> str:
    amount = manner(pair.quantity).amount(pair.value, pair.u)
    return f"{amount} over{over}: {'' if pair.distinguishable else 'not '}significant"


def _resolution(of: Comparison) -> str:
    """How well the best known difference of a quantity is known."""
    how = manner(of.quantity)
    return f"{how.noun} ± {digits(how.scale * float(np.min(of.half_widths)), 2)} {how.unit}".strip()


def _significant(comparison: StudyComparison, leader: str) -> Iterator[str]:
    """In which quantities the leader differs from the reference."""
    pair = leader, comparison.reference
    nouns: dict[bool, list[str]] = {True: [], False: []}
    for of in _comparisons(comparison):
        if set(pair) <= set(of.variants):
            nouns[of.pair(*pair).distinguishable].append(manner(of.quantity).noun)
    clear, unclear = (", ".join(nouns[kind]) for kind in (True, False))
    if clear or unclear:
        differs = f"differs significantly from {comparison.reference} in {clear}" if clear else ""
        same = f"{'not' if clear else 'does not differ significantly'} in {unclear}" if unclear else ""
        yield f"{leader} {'; '.join(filter(None, (differs, same)))}."


def _mixed(comparison: StudyComparison) -> list[Part]:
    """Say what variants by one variable mix, or differ in besides: it may be the cause of their differences."""
    if comparison.by == "treatment":
        return []
    mixed = []
    for other, name in (("reaction-temperature", "peak_c"), ("hold-time", "hold_at_peak_h")):
        about = QUANTITIES[name]
        values = sorted({float(x) for x in comparison.results[name].values if x == x})
        if comparison.by not in (other, "dose") and len(values) > 1:
            mixed.append(f"{about.noun}s of {digits(values[0], 4)} to {digits(values[-1], 4)} {about.unit}")
    lots = dict.fromkeys(str(lot) for lot in comparison.results["lot"].values)
    several = comparison.by != "lot" and len(lots) > 1
    if several:
        mixed.append(f"wire lots ({', '.join(lots)}), whose dopants may differ")
    mounts = list(dict.fromkeys(mounts_of(comparison.results)))
    if len(mounts) > 1:
        mixed.append(f"mounts ({', '.join(mount or 'not given' for mount in mounts)})")
    if not mixed:
        return []
    words = " and ".join(part for part in (", ".join(mixed[:-1]), mixed[-1]) if part)
    keep = " --lot keeps to one lot." if several else ""
    return [f"Variants by {comparison.by} mix {words}: differences may come from these.{keep}"]


def _pairs(comparison: StudyComparison, details: bool) -> list[Part]:
    """Differences of all pairs: those that are significant in anything, the clearest first."""
    clearest: dict[tuple[str, str], Difference] = {}
    for d in sorted((d for of in _comparisons(comparison) for d in of.differences()), key=lambda d: d.p_adjusted):
        clearest.setdefault((d.first, d.second), d)
    ordered = list(clearest)
    clear = sum(d.distinguishable for d in clearest.values())
    shown = ordered if details else ordered[: min(max(clear, _LEAST_PAIRS), _MOST_PAIRS)]
    alike = len(ordered) - clear
    counts = {
        "more differ significantly in something": max(clear - len(shown), 0),
        f"{'does' if alike == 1 else 'do'} not differ significantly in anything": alike,
    }
    rest = [f"{number} {what}" for what, number in counts.items() if number]
    of_all = [f"Of {len(ordered)} pairs {' and '.join(rest)}; all stand in comparison.csv."] if rest else []
    return [comparison.table(details=True, pairs=shown), "", *of_all, f"{_STAR} P: probability of being higher."]


def _in_words(comparison: StudyComparison) -> list[Part]:
    """Absolute values, the clearest differences of each quantity in words, a sentence for a report."""
    several = _comparisons(comparison)
    columns: list[Column[str]] = [("variant", str)]
    for of in several:
        how = manner(of.quantity)
        columns.append((Heading(how.noun, how.absolute.unit), partial(_absolute, of, how.absolute.factor)))
    title = "Absolute values with their full uncertainty, shared parts included"
    verdicts: list[Part] = []
    for of in several:
        clear = [d for d in of.differences() if d.distinguishable]
        shown = clear[:_MOST_VERDICTS] or of.differences(1)
        verdicts += [f"  {verdict(d)}" for d in shown]
        if len(clear) > len(shown):
            verdicts.append(f"    and {len(clear) - len(shown)} more that are significant")
    sentence = f"  {methods_sentence(*several)}"
    absolutes = Table.by(in_order(comparison), columns, title=title)
    return [absolutes, "", "In words", *verdicts, "", "For a report", sentence, ""]


def _absolute(of: Comparison, factor: float, variant: str) -> str:
    if variant not in of.variants:
        return "-"
    k = of.variants.index(variant)
    return rounded(of.value[k] * factor, of.u[k] * factor)


def _unusual(comparison: StudyComparison, *, always: bool) -> list[Part]:
    """Trends over the variable, drifts along the spool and over dates, outliers."""
    lines: list[Part] = []
    drifting = [drift for drift in drifts(comparison.results, comparison.wires.values()) if drift.distinguishable]
    unit, name = UNITS.get(comparison.by, ""), comparison.by.replace("-", " ")
    for quantity, wires in comparison.wires.items():
        x = np.array(wires.variable)
        known = np.isfinite(x)
        if unit and quantity in comparison.compared and np.unique(x[known]).size > 1 and known.sum() > 2:
            scatter = comparison.compared[quantity].comparison.repeatability
            line = trend(wires.values, x, name, scatter, logarithmic=comparison.by in LOGARITHMIC)
            lines.append(f"  {trend_words(line, unit)}")
        lines += [f"  {_odd_words(odd, quantity)}" for odd in outliers(wires.values, wires.labels)]
        lines += [f"  {drift_words(drift)}" for drift in drifting if drift.quantity == quantity]
    if not lines and not always:
        return []
    return ["Trends, drifts and outliers", *(lines or ["  none that is significant"]), ""]


def _odd_words(odd: Outlier, quantity: str) -> str:
    how = manner(quantity)
    amount = how.amount(odd.deviation, odd.u)
    either = "; its only replicate may be the outlier as well" if odd.partner else ""
    leave = f"--without {odd.sample} leaves it out"
    return f"{odd.sample} does not fit the others of {odd.variant}: {how.noun} off by {amount}{either}; {leave}"


_SCATTER = {
    "replicates": "replicates of the study", "course": "a smooth curve over temperature and time (few replicates)",
    "published": "publication, up to some three times over (no replicates)", "variants": "the wires of each variant",
}  # fmt: skip


@title.register(Pair)
def _(pair: Pair) -> str:
    wires = zip((pair.first, pair.second), pair.counts, strict=True)
    return " against ".join(f"{name} ({n} wire{'s' * (n != 1)})" for name, n in wires)


@table.register(Pair)
def _(pair: Pair) -> Table:
    return Table.by(
        pair.lines,
        (
            ("quantity", lambda line: line.noun), ("difference", lambda line: f"{line.amount} {line.larger}"),
            ("certainty", lambda line: line.sure), ("visible from", lambda line: line.visible),
            ("to settle it", lambda line: line.remedy),
        ),
    )  # fmt: skip


@parts.register(Pair)
def _(pair: Pair) -> list[Part]:
    """In what the two differ significantly, then a line for each quantity."""
    said: list[Part] = [title(pair)]
    for head, kind in (("Significant", True), ("Not", False)):
        nouns = [line.noun for line in pair.lines if line.significant is kind]
        level = f" (alpha = {LEVEL:g}, this pair alone)" if kind else ""
        said.append(Entry(head, f"{', '.join(nouns) or 'nothing'}{level}"))
    origins = dict.fromkeys(_SCATTER[line.scatter] for line in pair.lines if line.scatter)
    scatter = f"Scatter of equal wires by {' and '.join(origins)}. {_DOUBT}"
    note = "Tin, Tc, Bc2 and current are estimated from the others."
    return [*said, ESTIMATES, "", table(pair), "", *filter(None, [pair.widening]), scatter, note]
