"""Differences between variants of a wire: shared doubt cancels, scatter between wires counts.

A variant's value is the mean of its samples, weighted by what each has of its own. Contributions follow the same
weights with their signs, so that in a difference of two variants everything they share drops out (GUM F.1.2.3, as
`xrdorder.uncertainty.difference` for two samples). The scatter between wires is estimated, not known: tests are
averaged over what it may be (`xrdorder.comparison.replicates`).

Many comparisons are corrected for by Holm's step-down rule (S. Holm, Scand. J. Stat. 6 (1979) 65), at each scatter that
may be: it bounds the chance of any false verdict whatever the comparisons have in common, needs no draws and so gives
the same answer every time. A simulated largest |t| would use what comparisons with one reference share; for ten of them
that narrows the limit by three per cent only (2.72 in place of 2.81 standard uncertainties).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from xrdorder.comparison.published_scatter import prior_of
from xrdorder.comparison.quantity_draws import Values
from xrdorder.comparison.replicates import (
    FEW,
    NONE,
    Repeatability,
    estimator,
    indicator,
    repeatability,
    with_own,
)
from xrdorder.exceptions import StudyError, did_you_mean

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

LEVEL = 0.05
"""Chance of any false verdict among all comparisons made (the usual convention)."""
SIGNIFICANT_U = NormalDist().inv_cdf(1.0 - LEVEL / 2.0)
"""Standard uncertainties beyond which one normal difference is significant at `LEVEL`."""


@dataclass(frozen=True)
class Difference:
    """Difference of a quantity between two variants (first minus second).

    Attributes
    ----------
    quantity, first, second : str
    value, u : float
        Difference and standard uncertainty, in the unit of the quantity.
    relative, u_relative : float
        Difference over the second variant's value.
    half_width : float
        Half of the 95 % interval, in the unit of the quantity; beyond 1.96 u where replicates are few.
    probability_positive : float
        Probability that the first is truly larger; 0.5 where nothing can be told.
    p, p_adjusted : float
        Probability of as large a difference by chance; after correction for all comparisons.
    """

    quantity: str
    first: str
    second: str
    value: float
    u: float
    relative: float
    u_relative: float
    half_width: float
    probability_positive: float
    p: float
    p_adjusted: float

    @property
    def distinguishable(self) -> bool:
        """Whether it is significant among all comparisons."""
        return self.p_adjusted < LEVEL

    @property
    def bound(self) -> float:
        """The variants differ by no more than this: the farther end of the 95 % interval."""
        return abs(self.value) + self.half_width


@dataclass(frozen=True, eq=False)
class Comparison:
    """All variants of a quantity and all their differences.

    Attributes
    ----------
    quantity : str
    variants : tuple of str, g
    counts : array, (g,)
        Samples of each.
    value : array, (g,)
        Mean of each.
    repeatability : Repeatability
        Scatter between wires that entered, on the scale of `Values.on_scale`.
    first, second : array of int, (c,)
        Variants of each comparison.
    p, p_adjusted : array, (c,)
        As in `Difference`.
    shared : array, (g, m)
        Contributions to the means.
    own, scatter : array, (g,)
        What samples have of their own in each mean, and the scatter between wires; `leverage` is the square of the
        latter for a scatter of one.
    logarithms : Comparison or None
        What was compared, where that were logarithms: their means, differences and probabilities.
    """

    quantity: str
    variants: tuple[str, ...]
    counts: NDArray[np.int64]
    value: Array
    repeatability: Repeatability
    first: Indices
    second: Indices
    p: Array
    p_adjusted: Array
    shared: Array
    own: Array
    scatter: Array
    leverage: Array
    logarithms: Comparison | None = None

    @cached_property
    def u(self) -> Array:
        """Standard uncertainty of each mean, shared sources included, shape (g,)."""
        return np.asarray(np.sqrt(np.sum(self.shared**2, axis=1) + self.own**2 + self.scatter**2))

    @cached_property
    def difference(self) -> Array:
        """First less second of each comparison, shape (c,)."""
        return self.value[self.first] - self.value[self.second]

    @cached_property
    def u_difference(self) -> Array:
        """Its standard uncertainty, shape (c,)."""
        known = _known(self.shared, self.own, self.first, self.second)
        return np.sqrt(known + self.scatter[self.first] ** 2 + self.scatter[self.second] ** 2)

    @cached_property
    def half_widths(self) -> Array:
        """Half of the 95 % interval of each comparison, shape (c,)."""
        a, b = self.first, self.second
        if self.logarithms is not None:
            return np.sqrt(self.value[a] * self.value[b]) * self.logarithms.half_widths
        return self.repeatability.half_width(_known(self.shared, self.own, a, b), self.leverage[a] + self.leverage[b])

    def pair(self, first: str, second: str) -> Difference:
        """Difference of two variants that were compared, first minus second.

        Raises
        ------
        StudyError
            There is no such variant, or the two were not compared.
        """
        for name in (first, second):
            if name not in self.variants:
                hint = did_you_mean(name, self.variants)
                raise StudyError(f"there is no variant '{name}' with {self.quantity}; {hint}")
        a, b = self.variants.index(first), self.variants.index(second)
        for upper, other in ((a, b), (b, a)):
            place = np.flatnonzero((self.first == upper) & (self.second == other))
            if place.size:
                return self._difference(int(place[0]), a, b)
        raise StudyError(f"'{first}' and '{second}' were not compared; compare without a reference for all pairs")

    def differences(self, most: int | None = None) -> list[Difference]:
        """Comparisons, the clearest first, at most so many."""
        clearest = np.argsort(self.p, kind="stable")[:most].tolist()
        return [self._difference(k, int(self.first[k]), int(self.second[k])) for k in clearest]

    def _difference(self, k: int, a: int, b: int) -> Difference:
        """Comparison k as that of variant a less b."""
        value, below = float(self.value[a] - self.value[b]), float(self.value[b])
        relative = u_relative = np.nan
        if below != 0.0:
            relative, factors = value / below, np.array([1.0, self.value[a] / below]) / below
            common = factors[0] * self.shared[a] - factors[1] * self.shared[b]
            squares = self.own[[a, b]] ** 2 + self.scatter[[a, b]] ** 2
            u_relative = float(np.sqrt(np.sum(common**2) + squares @ factors**2))
        # two-sided p: half of it lies beyond zero
        half = float(self.p[k]) / 2.0
        return Difference(
            self.quantity, self.variants[a], self.variants[b], value, float(self.u_difference[k]), relative, u_relative,
            float(self.half_widths[k]), 1.0 - half if value > 0.0 else half, float(self.p[k]),
            float(self.p_adjusted[k]),
        )  # fmt: skip


def compare(
    values: Values,
    variants: Sequence[str],
    *,
    replicates: Sequence[str] | None = None,
    reference: str | None = None,
    scatter: Repeatability = NONE,
    telling: Sequence[bool] | Mask | None = None,
) -> Comparison:
    """Compare variants.

    Parameters
    ----------
    values : Values
    variants : sequence of str
        Which variant each sample belongs to; empty leaves it out.
    replicates : sequence of str, optional
        Samples with the same label are held to be equal and tell how far wires scatter. Without it the samples of a
        variant are. A variant of several treatments ("700 °C" of many hold times) scatters more than replicates do;
        the larger scatter of the two then enters (`scatter_of`).
    reference : str, optional
        Compare with this variant only; otherwise all pairs are compared.
    scatter : Repeatability
        Scatter between equal wires from elsewhere (`about_course`), on the scale of `Values.on_scale`. It
        serves where there are few replicates and it has more degrees of freedom.
    telling : sequence of bool, optional
        Samples that may tell how far wires scatter; all unless given.

    Raises
    ------
    StudyError
        Fewer than two variants, or the reference is none.
    """
    if len(variants) != len(values):
        raise ValueError(f"{len(variants)} variants for {len(values)} samples; give one a sample")
    told = np.array([bool(variant) for variant in variants], dtype=bool)
    some = values.select(told).on_scale()
    labels, equal = (
        [label for label, given in zip(every, told, strict=True) if given]
        for every in (variants, replicates or variants)
    )
    trusted = None if telling is None else np.asarray(telling)[told]
    names, belongs = indicator(labels)
    if len(names) < 2:
        have = "only one variant has" if names else "no variant has"
        raise StudyError(
            f"{values.quantity}: {have} a value; a comparison needs two or more, so order the samples by something else"
        )
    if reference is not None and reference not in names:
        raise StudyError(f"there is no variant '{reference}' with {values.quantity}; {did_you_mean(reference, names)}")
    scatter = scatter_of(some, labels, equal, scatter, trusted)
    means = estimator(belongs, some.own, scatter.u)
    shared, own, leverage = means @ some.shared, np.sqrt(means**2 @ some.own**2), np.sum(means**2, axis=1)
    first, second = _pairs(len(names), None if reference is None else names.index(reference))
    value = means @ some.value
    terms = value[first] - value[second], _known(shared, own, first, second), leverage[first] + leverage[second]
    comparison = Comparison(
        values.quantity, tuple(names), np.sum(belongs, axis=0).astype(np.int64), value, scatter, first, second,
        scatter.chance(*terms), scatter.corrected(*terms), shared, own, scatter.u * np.sqrt(leverage), leverage,
    )  # fmt: skip
    if not values.by_logarithm:
        return comparison
    size = np.exp(value)  # geometric means, and contributions to first order
    return replace(
        comparison, value=size, shared=size[:, None] * shared, own=size * own, scatter=size * comparison.scatter,
        logarithms=comparison,
    )  # fmt: skip


def _pairs(variants: int, reference: int | None) -> tuple[Indices, Indices]:
    """First and second of each comparison: all with the reference, or all pairs, the later less the earlier."""
    if reference is None:
        second, first = np.triu_indices(variants, 1)
        return first, second
    return np.delete(np.arange(variants), reference), np.full(variants - 1, reference, dtype=np.intp)


def _known(shared: Array, own: Array, first: Indices, second: Indices) -> Array:
    """Variance of differences by known sources, (comparisons,): what both variants have alike has cancelled."""
    known = own[first] ** 2 + own[second] ** 2
    # in rows: all pairs of hundreds of variants by as many sources would fill the memory
    for start in range(0, first.size, 4096):
        part = slice(start, start + 4096)
        known[part] += np.sum((shared[first[part]] - shared[second[part]]) ** 2, axis=1)
    return known


def scatter_of(
    values: Values,
    variants: Sequence[str],
    replicates: Sequence[str],
    elsewhere: Repeatability = NONE,
    telling: Sequence[bool] | Mask | None = None,
) -> Repeatability:
    """How far wires scatter that are taken for one.

    Parameters
    ----------
    values : Values
    variants, replicates : sequence of str
        As for `compare`; each sample has a variant.
    elsewhere : Repeatability
        Serves where there are few replicates and it has more degrees of freedom.
    telling : sequence of bool, optional
        Samples whose scatter tells that of others; all unless given.
    """
    if telling is not None:
        values, index = values.select(telling), np.flatnonzero(telling)
        variants, replicates = ([words[int(k)] for k in index] for words in (variants, replicates))
    prior = prior_of(values)
    scatter = repeatability(values, replicates, prior)
    if scatter.degrees_of_freedom < min(FEW, elsewhere.degrees_of_freedom):
        scatter = elsewhere
    inside = repeatability(values, variants, prior)
    mixed = len(set(variants)) < len(set(with_own(replicates)))
    if mixed and (inside.u >= scatter.u or not scatter.degrees_of_freedom):
        scatter = replace(inside, origin="variants")
    return scatter
