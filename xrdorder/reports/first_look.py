"""What a reader wants to know first: which variant is ahead, of which others, and whether that is significant."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import xarray as xr

from xrdorder.comparison import Compared, Difference
from xrdorder.comparison.differences import LEVEL
from xrdorder.comparison.leading import leading
from xrdorder.comparison.study_comparison import StudyComparison, compare_study
from xrdorder.comparison.variants import AHEAD_BY
from xrdorder.comparison.wording import manner
from xrdorder.exceptions import StudyError
from xrdorder.quantities.formatting import rounded
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
class FirstLook:
    """The verdicts of a study.

    Attributes
    ----------
    library : Library
        Relations that it was predicted by.
    reason : str
        Why there is nothing to compare; empty where there is.
    comparison : StudyComparison or None
        All variants against the first one, as `xrdorder compare` and figures have it.
    ahead : Difference or None
        The variant with the largest of what is judged by, less the next one. Where that is the first of the study it is
        judged among the differences to that one, as elsewhere; else among all pairs that it was picked from.
    measured : str
        What the laboratory measured of the quantity, so that nobody takes the estimate for it; empty without.
    warned : dict of str to str
        Samples of the leader that carry flags or are to be used with care, and which.
    """

    library: Library
    reason: str = ""
    comparison: StudyComparison | None = None
    ahead: Difference | None = None
    measured: str = ""
    warned: dict[str, str] = field(default_factory=dict)

    @property
    def leader(self) -> str:
        """Variant with the largest of what it was judged by; empty with fewer than two variants."""
        return self.ahead.first if self.ahead is not None else ""

    @property
    def by(self) -> str:
        """What that is, in words."""
        return manner(self.ahead.quantity).noun if self.ahead is not None else ""

    @property
    def estimated(self) -> bool:
        """Whether that is an estimate by published relations."""
        return self.ahead is not None and self.ahead.quantity in PREDICTED

    @property
    def to_first(self) -> dict[str, Compared]:
        """Each quantity of all variants against the first one."""
        return self.comparison.compared if self.comparison is not None else {}

    @property
    def first_samples(self) -> dict[str, str]:
        """The first sample of each variant that has a value; samples without a variant stand for themselves."""
        first: dict[str, str] = {}
        for entry in self.to_first.values():
            for label, sample in zip(entry.labels, entry.values.samples, strict=True):
                first.setdefault(label or sample, sample)
        return first

    @property
    def ahead_and_reference(self) -> list[str]:
        """A sample of the leader and one of the first other variant; empty where nothing is ahead."""
        if self.ahead is None:
            return []
        variants = self.to_first[self.ahead.quantity].comparison.variants
        other = next(variant for variant in variants if variant != self.leader)
        return [self.first_samples[label] for label in (self.leader, other)]


def first_look(results: xr.Dataset, library: Library = PUBLISHED) -> FirstLook:
    """Judge the variants of a study (samples of one lot and treatment).

    Parameters
    ----------
    results : Dataset
        Collated results.
    library : Library
        Relations to predict by.
    """
    try:
        comparison = compare_study(results)
    except StudyError as error:
        return FirstLook(library, str(error).partition(":")[0])
    by = next((quantity for quantity in AHEAD_BY if quantity in comparison.compared), "")
    lead = next(leading(results, [by]), None) if by else None
    if lead is None:
        reason = (*comparison.not_compared, "nothing that variants are judged by is known")[0]
        return FirstLook(library, reason, comparison)
    ahead, compared = lead.difference, comparison.compared[by]
    if comparison.reference in (ahead.first, ahead.second):
        ahead = compared.comparison.pair(ahead.first, ahead.second)
    labels = dict(zip(compared.values.samples, compared.labels, strict=True))
    warned = _warned(comparison.results, labels, ahead.first)
    return FirstLook(
        library, "", comparison, ahead, _measured_words(comparison.results, labels, ahead.first), warned
    )


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
