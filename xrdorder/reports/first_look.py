"""What a reader wants to know first: which variant is ahead, of which others, and whether that is significant."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import xarray as xr

from xrdorder.comparison import Compared, Difference, verdict
from xrdorder.comparison.differences import LEVEL
from xrdorder.comparison.variants import (
    AHEAD_BY,
    QUANTITIES,
    compare_wires,
    fit_to_compare,
    wires_of,
)
from xrdorder.comparison.wording import manner, probability_words
from xrdorder.exceptions import XrdorderError
from xrdorder.quantities.formatting import listed, rounded
from xrdorder.quantities.registry import PREDICTED
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity.targets import HELIUM_K

_MEASURED = (("Bc2_T", "Bc2_4K2_T"), ("Tc_K", "Tc_K"))
"""What may have been measured, and the quantity that it is at the temperature of helium."""
_CARE, _NAMED = "use with care", 3
"""Verdict on a fit that is told at the first look; and so many flags of a sample are named there."""
_HELIUM_SPAN_K = 0.1
"""Boiling helium, whatever the barometer: 4.2 K within this (common practice, no source)."""


@dataclass(frozen=True)
class Statement:
    """One quantity of a pair.

    Attributes
    ----------
    noun, unit : str
    first, second, difference : str
        With uncertainties, as they are printed.
    chance : str
        Probability that the first is truly larger.
    clear : bool
        Significant, after correction for all comparisons of the quantity.
    sentence : str
    """

    noun: str
    unit: str
    first: str
    second: str
    difference: str
    chance: str
    clear: bool
    sentence: str


@dataclass(frozen=True)
class Pair:
    """The variant ahead against another one.

    Attributes
    ----------
    first, second : str
    against : str
        Why this one: the next, the first of the study, or both; empty where there is no other.
    headline : str
    statements : tuple of Statement
    """

    first: str
    second: str
    against: str
    headline: str
    statements: tuple[Statement, ...]


@dataclass(frozen=True)
class FirstLook:
    """The verdicts of a study.

    Attributes
    ----------
    leader : str
        Variant with the largest of what it was judged by; empty with fewer than two variants.
    by : str
        What that is, in words.
    estimated : bool
        Whether that is an estimate by published relations.
    pairs : tuple of Pair
        The leader against the next, and against the reference (the first variant of the study).
    reason : str
        Why there is nothing to say; empty where there is.
    compared : dict of str to Compared
        All pairs of each quantity.
    to_first : dict of str to Compared
        Each quantity of all variants against the first one, as figures and `xrdorder compare` have it.
    left_out : dict of str to str
        Samples whose fit is not to be used, and why.
    measured : str
        What the laboratory measured of the quantity, so that nobody takes the estimate for it; empty without.
    warned : dict of str to str
        Samples of the leader that carry flags or are to be used with care, and which.
    library : Library
        Relations that it was predicted by.
    """

    leader: str
    by: str
    estimated: bool
    pairs: tuple[Pair, ...]
    reason: str
    compared: dict[str, Compared]
    to_first: dict[str, Compared]
    left_out: dict[str, str]
    measured: str
    warned: dict[str, str]
    library: Library

    @property
    def first_samples(self) -> dict[str, str]:
        """The first sample of each variant that has a value; samples without a variant stand for themselves."""
        first: dict[str, str] = {}
        for entry in self.compared.values():
            for label, sample in zip(entry.labels, entry.values.samples, strict=True):
                first.setdefault(label or sample, sample)
        return first

    @property
    def ahead_and_reference(self) -> list[str]:
        """A sample of the leader and one of the reference; empty where nothing is ahead."""
        first = self.first_samples
        labels = (self.leader, self.pairs[-1].second) if self.pairs else ()
        return [first[label] for label in labels if label in first]

    @property
    def chance(self) -> str:
        """Probability that the leader is truly ahead of the next, in words."""
        return next(
            (
                statement.chance
                for pair in self.pairs[:1]
                for statement in pair.statements
                if statement.noun == self.by
            ),
            "",
        )

    @property
    def margin(self) -> tuple[str, bool]:
        """By how much the leader is ahead of the next, in words, and whether that is significant."""
        for pair in self.pairs[:1]:
            for statement in pair.statements:
                if statement.noun == self.by:
                    by = " ".join(word for word in (statement.difference, statement.unit) if word)
                    return f"over {pair.second} by {by}", statement.clear
        return "", False


def first_look(results: xr.Dataset, library: Library = PUBLISHED) -> FirstLook:
    """Judge the variants of a study (samples of one lot and treatment).

    Parameters
    ----------
    results : Dataset
        Collated results.
    library : Library
        Relations to predict by.
    """
    results, left_out = fit_to_compare(results)
    compared: dict[str, Compared] = {}
    to_first: dict[str, Compared] = {}
    reason = "no sample has a result"
    for quantity in QUANTITIES:
        try:
            wires = wires_of(results, quantity)
            compared[quantity], to_first[quantity] = (compare_wires(wires, all_pairs=every) for every in (True, False))
        except XrdorderError as error:
            reason = str(error)
    by = next((quantity for quantity in AHEAD_BY if quantity in compared), "")
    if not by:
        return FirstLook("", "", False, (), reason, {}, {}, left_out, "", {}, library)
    order = sorted(
        zip(compared[by].comparison.value, compared[by].comparison.variants, strict=True),
        key=lambda statement: -statement[0],
    )
    leader, others = order[0][1], [variant for _, variant in order[1:]]
    reference = next((v for v in compared[by].comparison.variants if v != leader), "")
    first = "first of the study" if leader != compared[by].comparison.variants[0] else "first of the others"
    reasons = {others[0]: ["next"]}
    reasons.setdefault(reference, []).append(first)
    pairs = tuple(
        _pair(compared, to_first, leader, other, " and ".join(why) if len(others) > 1 else "")
        for other, why in reasons.items()
    )
    labels = dict(zip(compared[by].values.samples, compared[by].labels, strict=True))
    return FirstLook(
        leader, manner(by).noun, by in PREDICTED, pairs, "", compared, to_first, left_out,
        _measured_words(results, labels, leader), _warned(results, labels, leader), library,
    )  # fmt: skip


def _warned(results: xr.Dataset, labels: Mapping[str, str], leader: str) -> dict[str, str]:
    """Say of the samples of the one ahead what speaks against them, in a few words each."""
    warnings = {}
    columns = (results[name].values.astype(str) for name in ("sample", "quality", "flag_messages"))
    for sample, quality, flags in zip(*columns, strict=True):
        if labels.get(sample) == leader:
            verdict = [_CARE] if quality.startswith(_CARE) else []
            names = list(dict.fromkeys(str(name) for name, _ in json.loads(flags)))
            more = [f"{len(names) - _NAMED} more"] if len(names) > _NAMED else []
            if words := [*verdict, *names[:_NAMED], *more]:
                warnings[str(sample)] = ", ".join(words)
    return warnings


def _measured_words(results: xr.Dataset, labels: Mapping[str, str], leader: str) -> str:
    """Say which variant has the highest measured value, and what the one ahead has."""
    for measured, name in _MEASURED:
        values_by_quantity: dict[str, list[tuple[float, float]]] = {}
        for sample, value, u in _measurements(results, measured):
            if labels.get(sample):
                values_by_quantity.setdefault(labels[sample], []).append((value, u))
        if not values_by_quantity:
            continue
        means = {
            label: (sum(v for v, _ in all_of) / len(all_of), math.hypot(*(u for _, u in all_of)) / len(all_of))
            for label, all_of in values_by_quantity.items()
        }
        best = max(means, key=lambda label: means[label][0])
        about = manner(name)
        said = f"Measured {about.noun}: highest of {len(means)} variant{'s' * (len(means) > 1)}, {best} with "
        said += rounded(*means[best], about.absolute.unit)
        if leader == best:
            return f"{said}."
        if leader in means:
            return f"{said}; {leader} has {rounded(*means[leader], about.absolute.unit)}, {_less(means, best, leader)}."
        return f"{said}; {leader} was not measured."
    return ""


def _less(means: Mapping[str, tuple[float, float]], best: str, leader: str) -> str:
    """Say whether the highest of several is really above one of them, their uncertainties taken as independent."""
    less, u = means[best][0] - means[leader][0], math.hypot(means[best][1], means[leader][1])
    if not u:
        return "for which no uncertainty was told"
    p = math.erfc(less / u / math.sqrt(2.0)) * (len(means) - 1)  # the highest was picked from so many (Bonferroni)
    return f"lower by {rounded(less, u)}: {'' if p < LEVEL else 'not '}significant"


def _measurements(results: xr.Dataset, quantity: str) -> Iterator[tuple[str, float, float]]:
    if "measured_quantity" not in results:
        return
    names = ("measured_sample", "measured_quantity", "measured_temperature_k", "measured_value", "u_measured_value")
    for sample, what, kelvin, value, u in zip(*(results[name].values for name in names), strict=True):
        if what == quantity and (quantity != "Bc2_T" or abs(float(kelvin) - HELIUM_K) < _HELIUM_SPAN_K):
            yield str(sample), float(value), float(u)


def _pair(
    compared: dict[str, Compared], to_first: dict[str, Compared], first: str, second: str, against: str
) -> Pair:
    """Judge a pair: one with the first variant among those, as elsewhere; any other among all it was picked from."""
    statements = []
    for quantity, comparison in compared.items():
        few = to_first[quantity]
        comparison = few if few.against in (first, second) else comparison
        try:
            difference = comparison.comparison.pair(first, second)
        except XrdorderError:
            continue
        statements.append(_statement(comparison, quantity, difference))
    clear = [statement.noun for statement in statements if statement.clear]
    if clear:
        said = f"differ significantly in {listed(clear)}"
    else:
        said = "are not distinguishable"
    return Pair(first, second, against, f"{first} and {second} {said}", tuple(statements))


def _statement(compared: Compared, quantity: str, pair: Difference) -> Statement:
    how, comparison = manner(quantity), compared.comparison
    values = []
    for variant in (pair.first, pair.second):
        k = comparison.variants.index(variant)
        values.append(rounded(how.scale * comparison.value[k], how.scale * comparison.u[k]))
    difference = rounded(how.scale * pair.value, how.scale * pair.u, signed=True)
    return Statement(
        how.noun, how.unit, values[0], values[1], difference, probability_words(pair.probability_positive),
        pair.distinguishable, verdict(pair),
    )  # fmt: skip


