"""A comparison on the terminal: the answer, one table of differences, what is unusual; the rest in detail."""

from collections.abc import Iterator

import numpy as np

from xrdorder.cli.console import Entry, Part
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
from xrdorder.comparison.quantity_draws import mounts_of
from xrdorder.comparison.study_comparison import LOGARITHMIC, UNITS, StudyComparison
from xrdorder.comparison.variants import AHEAD_BY
from xrdorder.comparison.wording import manner
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import digits, rounded
from xrdorder.quantities.registry import QUANTITIES
from xrdorder.quantities.tables import Heading, Table
from xrdorder.reports.notebook import in_order
from xrdorder.results.open_study import OpenStudy

_MOST_VERDICTS = 3  # of one quantity
_MOST_PAIRS, _LEAST_PAIRS = 12, 3  # shown of all pairs
_STAR = "* significant: 5 % for all comparisons of a quantity together (Holm's correction)."
_DOUBT = "Tests also allow for how little few wires tell of the scatter of equal ones."


def comparison_parts(comparison: StudyComparison, *, details: bool = False) -> list[Part]:
    """Everything that is said of a comparison."""
    if not comparison.compared:
        return [*_one_variant(comparison), *_unusual(comparison, always=True)]
    parts: list[Part] = [*_answer(comparison), *_mixed(comparison), ""]
    if comparison.all_pairs:
        parts += [*_pairs(comparison, details), ""]
    else:
        parts += [
            comparison.table(details=details),
            "",
            f"{_STAR} u: standard uncertainty of a difference (k = 1). {_DOUBT}",
            "",
        ]
    parts += _unusual(comparison, always=details)
    if details:
        comparisons = [entry.comparison for entry in comparison.compared.values()]
        parts += [_absolutes(comparison, comparisons), "", "In words"]
        parts += [line for differences in comparisons for line in _verdicts(differences)]
        parts += ["", "For a report", f"  {methods_sentence(*comparisons)}", ""]
    return parts


_SCATTER = {
    "replicates": "replicates of the study", "course": "a smooth curve over temperature and time (few replicates)",
    "published": "publication, up to some three times over (no replicates)", "variants": "the wires of each variant",
}  # fmt: skip


def pair_parts(opened: "OpenStudy", first: str, second: str) -> list[Part]:
    """Answer for one pair: in what they differ significantly, then a line for each quantity."""
    from xrdorder.comparison.pair import compare_pair

    pair = compare_pair(opened.results, first, second, opened.library())
    named = zip((pair.first, pair.second), pair.counts, strict=True)
    parts: list[Part] = [" against ".join(f"{name} ({n} wire{'s' * (n != 1)})" for name, n in named)]
    for head, kind in (("Significant", True), ("Not", False)):
        nouns = [line.noun for line in pair.lines if line.significant is kind]
        level = f" (alpha = {LEVEL:g}, this pair alone)" if kind else ""
        parts.append(Entry(head, f"{', '.join(nouns) or 'nothing'}{level}"))
    lines = [[line.noun, f"{line.amount} {line.larger}", line.sure, line.visible, line.remedy] for line in pair.lines]
    heads = ["quantity", "difference", "certainty", "visible from", "to settle it"]
    origins = dict.fromkeys(_SCATTER[line.scatter] for line in pair.lines if line.scatter)
    scatter = f"Scatter of equal wires by {' and '.join(origins)}. {_DOUBT}"
    note = "Tin, Tc, Bc2 and current are estimated from the others."
    return [*parts, ESTIMATES, "", Table.of(heads, lines), "", *filter(None, [pair.widening]), scatter, note]


def _one_variant(comparison: StudyComparison) -> list[Part]:
    """What is said where there is nothing to compare with."""
    known = [wire for wire in comparison.wires.values() if wire.variants]
    samples = len(dict.fromkeys(name for entry in known for name in entry.values.samples))
    return [
        f"One variant only by {comparison.by}: {known[0].variants[0]} ({samples} wire{'s' * (samples != 1)}). There is "
        "nothing to compare it with; drifts and outliers are looked for all the same. --by orders the samples by "
        "something else.",
        "",
    ]


def _answer(comparison: StudyComparison) -> Iterator[Part]:
    """Which variant has the highest estimate, by how much, and in what it differs significantly from the reference."""
    count = len(dict.fromkeys(v for entry in comparison.compared.values() for v in entry.comparison.variants))
    yield f"{count} variants · reference {comparison.reference} · significance level 5 % after Holm's correction"
    by = next((quantity for quantity in AHEAD_BY if quantity in comparison.compared), "")
    if not by:
        return
    differences = comparison.compared[by].comparison
    leader = differences.variants[int(np.argmax(differences.value))]
    if leader == comparison.reference:
        following = differences.variants[int(np.argsort(-differences.value)[1])]
        over = _by(differences.pair(leader, following), "the next")
        yield f"Highest {manner(by).noun}: {leader}, the reference itself; {over}."
    elif comparison.reference in differences.variants:
        by_how_much = _by(differences.pair(leader, comparison.reference), "the reference")
        yield f"Highest {manner(by).noun}: {leader}; {by_how_much}."
    yield from _significant(comparison, leader)
    yield from _unresolved(comparison)


def _by(pair: Difference, what: str) -> str:
    how = manner(pair.quantity)
    amount = how.amount(pair.value, pair.u)
    name = "" if what == "the reference" else f" {pair.second},"
    return f"{amount} over{name} {what}: {'' if pair.distinguishable else 'not '}significant"


def _significant(comparison: StudyComparison, leader: str) -> Iterator[Part]:
    """In which quantities the leader differs from the reference."""
    clear: list[str] = []
    unclear: list[str] = []
    for entry in comparison.compared.values():
        if leader != comparison.reference and {leader, comparison.reference} <= set(entry.comparison.variants):
            pair = entry.comparison.pair(leader, comparison.reference)
            (clear if pair.distinguishable else unclear).append(manner(pair.quantity).noun)
    if clear or unclear:
        differs = f"differs significantly from {comparison.reference} in {', '.join(clear)}" if clear else ""
        same = f"{'not' if clear else 'does not differ significantly'} in {', '.join(unclear)}" if unclear else ""
        yield f"{leader} {'; '.join(filter(None, (differs, same)))}."


def _unresolved(comparison: StudyComparison) -> Iterator[Part]:
    """Quantities in which nothing differs, and how well their differences are known."""
    known = [
        f"{manner(quantity).noun} ± {digits(manner(quantity).scale * float(np.min(entry.comparison.half_widths)), 2)} "
        f"{manner(quantity).unit}".strip()
        for quantity, entry in comparison.compared.items()
        if not any(d.distinguishable for d in entry.comparison.differences())
    ]
    if known:
        yield f"Nothing differs significantly in these, known at best to (95 %, one pair): {', '.join(known)}."


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
    for entry in comparison.compared.values():
        for d in entry.comparison.differences():
            known = clearest.get((d.first, d.second))
            if known is None or d.p_adjusted < known.p_adjusted:
                clearest[(d.first, d.second)] = d
    ordered = sorted(clearest, key=lambda pair: clearest[pair].p_adjusted)
    clear = sum(clearest[pair].distinguishable for pair in ordered)
    shown = ordered if details else ordered[: min(max(clear, _LEAST_PAIRS), _MOST_PAIRS)]
    alike = len(ordered) - clear
    counts = {
        "more differ significantly in something": max(clear - len(shown), 0),
        f"{'does' if alike == 1 else 'do'} not differ significantly in anything": alike,
    }
    rest = [f"{number} {what}" for what, number in counts.items() if number]
    of_all = [f"Of {len(ordered)} pairs {' and '.join(rest)}; all stand in comparison.csv."] if rest else []
    return [comparison.table(details=True, pairs=shown), "", *of_all, f"{_STAR} P: probability of being higher."]


def _absolutes(comparison: StudyComparison, comparisons: list[Comparison]) -> Table:
    rows = []
    for variant in in_order(comparison):
        cells = [variant]
        for differences in comparisons:
            factor = manner(differences.quantity).absolute.factor
            k = differences.variants.index(variant) if variant in differences.variants else None
            cells.append("-" if k is None else rounded(differences.value[k] * factor, differences.u[k] * factor))
        rows.append(cells)
    head = [
        Heading(manner(differences.quantity).noun, manner(differences.quantity).absolute.unit)
        for differences in comparisons
    ]
    title = "Absolute values with their full uncertainty, shared parts included"
    return Table.of(["variant", *head], rows, title=title)


def _verdicts(comparison: Comparison) -> list[Part]:
    clear = [d for d in comparison.differences() if d.distinguishable]
    shown = clear[:_MOST_VERDICTS] or comparison.differences(1)
    more = [f"    and {len(clear) - len(shown)} more that are significant"] if len(clear) > len(shown) else []
    return [*(f"  {verdict(d)}" for d in shown), *more]


def _unusual(comparison: StudyComparison, *, always: bool) -> list[Part]:
    """Trends over the variable, drifts along the spool and over dates, outliers."""
    lines: list[Part] = []
    drifting = [drift for drift in drifts(comparison.results, comparison.wires.values()) if drift.distinguishable]
    for quantity, wires in comparison.wires.items():
        x = np.array(wires.variable)
        known = np.isfinite(x)
        if (
            comparison.by in UNITS
            and quantity in comparison.compared
            and np.unique(x[known]).size > 1
            and known.sum() > 2
        ):
            scatter, name = comparison.compared[quantity].comparison.repeatability, comparison.by.replace("-", " ")
            line = trend(wires.values, x, name, scatter, logarithmic=comparison.by in LOGARITHMIC)
            lines.append(f"  {trend_words(line, UNITS[comparison.by])}")
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
