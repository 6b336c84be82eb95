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
from xrdorder.comparison.replicates import FEW, NONE, Repeatability, excess, indicator
from xrdorder.exceptions import StudyError, did_you_mean

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

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
    distinguishable : bool
    bound : float
        The variants differ by no more than this: the farther end of the 95 % interval.
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
    distinguishable: bool
    bound: float


@dataclass(frozen=True, eq=False)
class Comparison:
    """All variants of a quantity and all their differences.

    Attributes
    ----------
    quantity : str
    variants : tuple of str, g
    counts : array, (g,)
        Samples of each.
    value, u : array, (g,)
        Mean of each and its standard uncertainty, shared sources included.
    repeatability : Repeatability
        Scatter between wires that entered, on the scale of `Values.on_scale`.
    first, second : array of int, (c,)
        Variants of each comparison.
    difference, u_difference, p, p_adjusted : array, (c,)
        As in `Difference`.
    shared, private : array, (g, m) and (g, p)
        Contributions to the means.
    scatter : array, (g,)
        Contribution of the scatter between wires to each mean; `leverage` is its square for a scatter of one.
    left_out : tuple of str
        Samples without the quantity or without a variant.
    logarithms : Comparison or None
        What was compared, where that were logarithms: their means, differences and probabilities.
    """

    quantity: str
    variants: tuple[str, ...]
    counts: NDArray[np.int64]
    value: Array
    u: Array
    repeatability: Repeatability
    first: Indices
    second: Indices
    difference: Array
    u_difference: Array
    p: Array
    p_adjusted: Array
    shared: Array
    private: Array
    scatter: Array
    leverage: Array
    left_out: tuple[str, ...]
    logarithms: Comparison | None = None

    def _place(self, variant: str) -> int:
        if variant not in self.variants:
            raise StudyError(
                f"there is no variant '{variant}' with {self.quantity}; {did_you_mean(variant, self.variants)}"
            )
        return self.variants.index(variant)

    @cached_property
    def half_widths(self) -> Array:
        """Half of the 95 % interval of each comparison, shape (c,)."""
        a, b = self.first, self.second
        if self.logarithms is not None:
            return np.sqrt(self.value[a] * self.value[b]) * self.logarithms.half_widths
        known = self.u_difference**2 - (self.scatter[a] ** 2 + self.scatter[b] ** 2)
        return self.repeatability.half_width(np.maximum(known, 0.0), self.leverage[a] + self.leverage[b])

    def pair(self, first: str, second: str) -> Difference:
        """Difference of two variants that were compared, first minus second.

        Raises
        ------
        StudyError
            There is no such variant, or the two were not compared.
        """
        a, b = self._place(first), self._place(second)
        for sign, upper, other in ((1.0, a, b), (-1.0, b, a)):
            place = np.flatnonzero((self.first == upper) & (self.second == other))
            if place.size:
                return self._difference(int(place[0]), sign)
        raise StudyError(f"'{first}' and '{second}' were not compared; compare without a reference for all pairs")

    def differences(self, most: int | None = None) -> list[Difference]:
        """Comparisons, the clearest first, at most so many."""
        return [self._difference(int(k), 1.0) for k in np.argsort(self.p, kind="stable")[:most]]

    def _difference(self, k: int, sign: float) -> Difference:
        a, b = int(self.first[k]), int(self.second[k])
        if sign < 0.0:
            a, b = b, a
        value, u = sign * float(self.difference[k]), float(self.u_difference[k])
        half_width = float(self.half_widths[k])
        below = float(self.value[b])
        relative = u_relative = np.nan
        if below != 0.0:
            relative = value / below
            common = self.shared[a] / below - self.value[a] * self.shared[b] / below**2
            squares = np.sum(self.private**2, axis=1) + self.scatter**2
            own = squares[a] / below**2 + squares[b] * (self.value[a] / below**2) ** 2
            u_relative = float(np.sqrt(np.sum(common**2) + own))
        # two-sided p: half of it lies beyond zero
        half = float(self.p[k]) / 2.0
        chance = 1.0 - half if value > 0.0 else half
        p_adjusted = float(self.p_adjusted[k])
        return Difference(
            self.quantity,
            self.variants[a],
            self.variants[b],
            value,
            u,
            relative,
            u_relative,
            half_width,
            chance,
            float(self.p[k]),
            p_adjusted,
            p_adjusted < LEVEL,
            abs(value) + half_width,
        )


def compare(
    values: Values,
    variants: Sequence[str],
    *,
    replicates: Sequence[str] | None = None,
    reference: str | None = None,
    scatter: Repeatability = NONE,
    telling: Sequence[bool] | None = None,
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
    labels = [variant for variant in variants if variant]
    names, belongs = indicator(labels)
    if len(names) < 2:
        have = "only one variant has" if names else "no variant has"
        raise StudyError(
            f"{values.quantity}: {have} a value; a comparison needs two or more, so order the samples by something else"
        )
    equal = (
        labels
        if replicates is None
        else [replicate for replicate, given in zip(replicates, told, strict=True) if given]
    )
    trusted = None if telling is None else [label for label, given in zip(telling, told, strict=True) if given]
    scatter = scatter_of(some, labels, equal, scatter, trusted)
    means = mean_weights(some.own, belongs, scatter.u)
    shared, private = means @ some.shared, np.sqrt(means**2 @ some.private**2)
    leverage = np.sum(means**2, axis=1)
    of_scatter = scatter.u * np.sqrt(leverage)
    squares = np.sum(private**2, axis=1) + of_scatter**2
    value = means @ some.value
    if reference is not None and reference not in names:
        raise StudyError(f"there is no variant '{reference}' with {values.quantity}; {did_you_mean(reference, names)}")
    first, second = _pairs(len(names), None if reference is None else names.index(reference))
    of_own = np.sum(private**2, axis=1)
    known = _left_in_common(shared, first, second) + of_own[first] + of_own[second]
    u = np.sqrt(known + of_scatter[first] ** 2 + of_scatter[second] ** 2)
    difference = value[first] - value[second]
    p = scatter.chance(difference, known, leverage[first] + leverage[second])
    p_adjusted = scatter.corrected(difference, known, leverage[first] + leverage[second])
    missing = [name for name, entry in zip(values.samples, told, strict=True) if not entry]
    comparison = Comparison(
        values.quantity,
        tuple(names),
        np.sum(belongs, axis=0).astype(np.int64),
        value,
        np.sqrt(np.sum(shared**2, axis=1) + squares),
        scatter,
        first,
        second,
        difference,
        u,
        p,
        p_adjusted,
        shared,
        private,
        of_scatter,
        leverage,
        (*values.left_out, *missing),
    )
    return _of_logarithms(comparison) if values.by_logarithm else comparison


def _pairs(variants: int, reference: int | None) -> tuple[Indices, Indices]:
    """First and second of each comparison: all with the reference, or all pairs, the later less the earlier."""
    if reference is None:
        second, first = np.triu_indices(variants, 1)
        return first, second
    return np.delete(np.arange(variants), reference), np.full(variants - 1, reference, dtype=np.intp)


def _left_in_common(shared: Array, first: Indices, second: Indices) -> Array:
    """Variance of differences by what several samples share, (comparisons,): what both have alike has cancelled."""
    left = np.empty(first.size)
    # in rows: all pairs of hundreds of variants by as many sources would fill the memory
    for start in range(0, first.size, 4096):
        part = slice(start, start + 4096)
        left[part] = np.sum((shared[first[part]] - shared[second[part]]) ** 2, axis=1)
    return left


def _of_logarithms(comparison: Comparison) -> Comparison:
    """Sizes from their logarithms: geometric means, and contributions to first order."""
    value = np.exp(comparison.value)
    a, b = comparison.first, comparison.second
    shared, private, scatter = (
        value[:, None] * comparison.shared,
        value[:, None] * comparison.private,
        value * comparison.scatter,
    )
    own = np.sum(private**2, axis=1) + scatter**2
    common = np.array([float(np.sum((shared[i] - shared[k]) ** 2)) for i, k in zip(a, b, strict=True)])
    return replace(
        comparison,
        value=value,
        u=value * comparison.u,
        difference=value[a] - value[b],
        u_difference=np.sqrt(common + own[a] + own[b]),
        shared=shared,
        private=private,
        scatter=scatter,
        logarithms=comparison,
    )


def scatter_of(
    values: Values,
    variants: Sequence[str],
    replicates: Sequence[str],
    elsewhere: Repeatability = NONE,
    telling: Sequence[bool] | None = None,
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
    if telling is not None and not all(telling):
        values, index = values.select(list(telling)), np.flatnonzero(telling)
        variants, replicates = ([words[int(k)] for k in index] for words in (variants, replicates))
    counts = {label: replicates.count(label) for label in set(replicates)}
    # a label of its own for whoever has none
    own = [label if label and counts[label] > 1 else f"\0{k}" for k, label in enumerate(replicates)]
    covariance, prior = values.covariance(), prior_of(values)
    scatter = excess(values.value, indicator(own)[1], covariance, prior)
    if scatter.degrees_of_freedom < min(FEW, elsewhere.degrees_of_freedom):
        scatter = elsewhere
    inside = excess(values.value, indicator(list(variants))[1], covariance, prior)
    mixed = len({label: None for label in variants}) < len({label: None for label in own})
    if mixed and (inside.u >= scatter.u or not scatter.degrees_of_freedom):
        scatter = replace(inside, origin="variants")
    return scatter


def mean_weights(own: Array, belongs: Array, scatter: float) -> Array:
    """Weights of samples in the mean of their variant, shape (g, n): inverse squares of what each has of its own."""
    square = own**2 + scatter**2
    # exact values among others would take all weight: none counts as better than a thousandth of the median
    square = np.maximum(square, 1e-6 * float(np.median(square)))
    weight = belongs / (square[:, None] if np.all(square > 0.0) else 1.0)
    return np.asarray((weight / np.sum(weight, axis=0)).T)
