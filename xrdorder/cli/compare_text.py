"""A comparison as text for a terminal: answer, differences, absolutes, verdicts, courses, a sentence to quote."""

import textwrap
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from xrdorder.cli.tables import table
from xrdorder.comparison import (
    Compared,
    Comparison,
    Difference,
    Outlier,
    drift_words,
    methods_sentence,
    outliers,
    trend,
    trend_words,
    verdict,
)
from xrdorder.comparison.quantity_draws import mounts_of
from xrdorder.comparison.study import AHEAD_BY, Wires, drifts_of
from xrdorder.comparison.wording import manner, probability_words
from xrdorder.quantities.formatting import digits, rounded
from xrdorder.quantities.registry import PREDICTED

if TYPE_CHECKING:
    import xarray as xr

UNITS = {"reaction-temperature": "°C", "hold-time": "h", "dose": "h"}
"""Of variables that trends are fitted over."""

LOGARITHMIC = ("hold-time", "dose")
"""Variables whose logarithm is what growth goes with."""

_MOST_VERDICTS = 3  # of one quantity
_ABREAST = 3  # quantities of the table of differences
_MOST_PAIRS, _LEAST_PAIRS = 12, 3  # shown of all pairs
_Found: TypeAlias = Mapping[str, Compared]
_Wires: TypeAlias = Mapping[str, Wires]


def comparison_text(results: "xr.Dataset", found: _Found, wires: _Wires, by: str, all_pairs: bool) -> list[str]:
    """Everything that is said of a comparison."""
    against = {quantity: one.against for quantity, one in wires.items()}
    lines = [*_lead(found, against), *_pooled(results, by), ""]
    lines += _pairs(found) if all_pairs else _differences(found)
    lines += _absolutes(found)
    lines += ["Verdicts"]
    for one in found.values():
        lines += _verdicts(one.comparison)
    lines += _courses(results, found, wires, by)
    lines += ["", "For a report"]
    return [*lines, *_wrapped(methods_sentence(*(one.comparison for one in found.values())))]


def one_variant_text(results: "xr.Dataset", wires: _Wires, by: str) -> list[str]:
    """What is said where there is nothing to compare with: the oddities of a study of equal wires."""
    known = [one for one in wires.values() if one.variants]
    samples = len(dict.fromkeys(name for one in known for name in one.values.samples))
    text = (
        f"One variant only by {by}: {known[0].variants[0]} ({samples} wire{'s' * (samples != 1)}). There is nothing to "
        "compare it with; drifts and samples that do not fit are looked for all the same. --by orders the samples by "
        "something else."
    )
    return [*_flush(text), *_courses(results, {}, wires, by)]


def _lead(found: _Found, references: Mapping[str, str]) -> list[str]:
    """The answer first: which variant is ahead, and whether it differs from the reference by more than chance."""
    by = next((quantity for quantity in AHEAD_BY if quantity in found), "")
    if not by:
        return []
    one, against = found[by].comparison, references[by]
    leader = one.variants[int(np.argmax(one.value))]
    start = f"Ahead by {manner(by).noun}: {leader}"
    if leader == against:
        return _flush(f"{start}, the reference itself; {_over_next(one)}.")
    clear: list[str] = []
    unclear: list[str] = []
    for item in found.values():
        if leader in item.comparison.variants and against in item.comparison.variants:
            pair = item.comparison.pair(leader, against)
            (clear if pair.distinguishable else unclear).append(manner(pair.quantity).noun)
    said = f"by more than chance in {', '.join(clear)}" if clear else "in nothing by more than chance"
    rest = f"; not in {', '.join(unclear)}" if clear and unclear else ""
    return _flush(f"{start}. Against {against} it differs {said}{rest}.")


def _over_next(one: Comparison) -> str:
    """By how much the first variant is above the next, and whether that is more than chance."""
    order = np.argsort(-one.value)
    leader, following = (one.variants[int(k)] for k in order[:2])
    pair = one.pair(leader, following)
    how = manner(one.quantity)
    amount = rounded(how.scale * pair.value, how.scale * pair.u, how.unit)
    return f"over {following}, the next, by {amount}: {'more' if pair.distinguishable else 'not more'} than chance"


def _pooled(results: "xr.Dataset", by: str) -> list[str]:
    """Say what variants by one variable mix, or differ in besides: it may be the cause of their differences."""
    if by == "treatment":
        return []
    mixed = []
    for other, name, what, unit in (
        ("reaction-temperature", "peak_c", "reaction temperatures", "°C"),
        ("hold-time", "hold_at_peak_h", "hold times", "h"),
    ):
        values = sorted({float(x) for x in results[name].values if x == x})
        if by not in (other, "dose") and len(values) > 1:
            mixed.append(f"{what} of {digits(values[0], 4)} to {digits(values[-1], 4)} {unit}")
    lots = dict.fromkeys(str(one) for one in results["lot"].values)
    several = by != "lot" and len(lots) > 1
    if several:
        mixed.append(f"wire lots ({', '.join(lots)}), whose dopants may differ")
    mounts = list(dict.fromkeys(mounts_of(results)))
    if len(mounts) > 1:
        mixed.append(f"mounts ({', '.join(mount or 'not told' for mount in mounts)})")
    if not mixed:
        return []
    words = " and ".join(part for part in (", ".join(mixed[:-1]), mixed[-1]) if part)
    keep = " --lot keeps to one lot." if several else ""
    return _flush(f"Variants by {by} mix {words}: differences may come from these.{keep}")


def _flush(text: str) -> list[str]:
    return textwrap.wrap(text, 98)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, 98, initial_indent="  ", subsequent_indent="    ")


_STAR = "* more than chance (5 % for all comparisons of a quantity together). P: probability of being higher."


def _differences(found: _Found) -> list[str]:
    against = next(iter(found.values())).against
    variants = dict.fromkeys(v for one in found.values() for v in one.comparison.variants if v != against)
    lines = [f"Differences to {against}", ""]
    for few in _few_at_once(found):
        rows = [((variant, str(_count(few, variant))), variant, against) for variant in variants]
        lines += [_difference_table(few, ("variant", "wires"), rows), ""]
    return [*lines, _STAR, ""]


def _pairs(found: _Found) -> list[str]:
    """Differences of all pairs: those that are more than chance in anything, the clearest first."""
    clearest: dict[tuple[str, str], Difference] = {}
    for one in found.values():
        for d in one.comparison.differences():
            known = clearest.get((d.first, d.second))
            if known is None or d.p_adjusted < known.p_adjusted:
                clearest[(d.first, d.second)] = d
    ordered = sorted(clearest, key=lambda pair: clearest[pair].p_adjusted)
    clear = sum(clearest[pair].distinguishable for pair in ordered)
    shown = ordered[: min(max(clear, _LEAST_PAIRS), _MOST_PAIRS)]
    lines = ["Differences of pairs, first less second, the clearest first", ""]
    for few in _few_at_once(found):
        lines += [_difference_table(few, ("first", "second"), [((a, b), a, b) for a, b in shown]), ""]
    rest = [
        f"{number} {what}"
        for number, what in (
            (max(clear - len(shown), 0), "more show a difference beyond chance in something"),
            (len(ordered) - clear, f"{'is' if len(ordered) - clear == 1 else 'are'} not distinguishable in anything"),
        )
        if number
    ]
    if rest:
        lines += _flush(f"Of {len(ordered)} pairs {' and '.join(rest)}; all stand in comparison.csv.")
    return [*lines, _STAR, ""]


def _few_at_once(found: _Found) -> Iterable[list[Comparison]]:
    """Quantities in groups that fit beside each other."""
    comparisons = [one.comparison for one in found.values()]
    return (comparisons[k : k + _ABREAST] for k in range(0, len(comparisons), _ABREAST))


def _count(comparisons: list[Comparison], variant: str) -> int:
    counts = [int(one.counts[one.variants.index(variant)]) for one in comparisons if variant in one.variants]
    return max(counts, default=0)


def _difference_table(
    comparisons: list[Comparison], start: tuple[str, str], pairs: list[tuple[tuple[str, str], str, str]]
) -> str:
    """Set a row a pair: its first cells, and its two variants."""
    head, units = [*start], ["", ""]
    for one in comparisons:
        how = manner(one.quantity)
        head += [how.noun, "P"]
        units += [how.unit, "higher"]
    rows = []
    for cells, first, second in pairs:
        row = [*cells]
        for one in comparisons:
            if first not in one.variants or second not in one.variants:
                row += ["-", ""]
                continue
            d, how = one.pair(first, second), manner(one.quantity)
            row += [
                rounded(d.value * how.scale, d.u * how.scale) + (" *" if d.distinguishable else ""),
                probability_words(d.probability_positive),
            ]
        rows.append(tuple(row))
    return table((tuple(head), tuple(units)), rows)


def _absolutes(found: _Found) -> list[str]:
    comparisons = [one.comparison for one in found.values()]
    variants = dict.fromkeys(v for one in comparisons for v in one.variants)
    head = ["variant", *(manner(one.quantity).noun for one in comparisons)]
    units = ["", *(manner(one.quantity).absolute.unit for one in comparisons)]
    rows = []
    for variant in variants:
        row = [variant]
        for one in comparisons:
            factor = manner(one.quantity).absolute.factor
            k = one.variants.index(variant) if variant in one.variants else None
            row.append("-" if k is None else rounded(one.value[k] * factor, one.u[k] * factor))
        rows.append(tuple(row))
    lines = ["Absolutes, with all that samples share", "", table((tuple(head), tuple(units)), rows), ""]
    if any(one.quantity in PREDICTED for one in comparisons):
        lines += _wrapped(
            "Tc and Bc2 here are those of the tin by the lattice alone, whose scale cancels in differences; the table "
            "of results has the best absolute estimates."
        )
        lines.append("")
    return lines


def _verdicts(comparison: Comparison) -> list[str]:
    clear = [d for d in comparison.differences() if d.distinguishable]
    shown = clear[:_MOST_VERDICTS] or comparison.differences(1)
    lines = [line for d in shown for line in _wrapped(verdict(d))]
    if len(clear) > len(shown):
        lines.append(f"    and {len(clear) - len(shown)} more that are more than chance")
    return lines


def _courses(results: "xr.Dataset", found: _Found, wires: _Wires, by: str) -> list[str]:
    """Trends over the variable, drifts along spool and over dates, samples that do not fit."""
    lines: list[str] = []
    drifting = [one for one in drifts_of(results, wires.values()) if one.distinguishable]
    for quantity, (values, labels, _, variable, *_) in wires.items():
        x = np.array(variable)
        if by in UNITS and quantity in found and np.unique(x[np.isfinite(x)]).size > 1 and np.isfinite(x).sum() > 2:
            scatter, name = found[quantity].comparison.repeatability, by.replace("-", " ")
            line = trend(values, x, name, scatter, logarithmic=by in LOGARITHMIC)
            lines += _wrapped(trend_words(line, UNITS[by]))
        for odd in outliers(values, labels):
            lines += _wrapped(_odd_words(odd, quantity))
        lines += [line for one in drifting if one.quantity == quantity for line in _wrapped(drift_words(one))]
    return ["", "Courses and oddities", *(lines or ["  nothing that is more than chance"])]


def _odd_words(odd: Outlier, quantity: str) -> str:
    how = manner(quantity)
    amount = rounded(odd.deviation * how.scale, odd.u * how.scale, how.unit)
    doubt = "; its only replicate may as well be the odd one" if odd.partner else ""
    leave = f"--without {odd.sample} leaves it out"
    return f"{odd.sample} does not fit the others of {odd.variant}: {how.noun} off by {amount}{doubt}; {leave}"
