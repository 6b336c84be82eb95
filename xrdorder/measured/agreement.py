"""Which published relation fits this wire best, and what a laboratory may put right about it.

Every relation that leads to a measured quantity is asked with the stored joint draws of what it takes, by X-rays alone:
anchored to the measured values they would say nothing of them. Its likelihood is the mean over the draws of the
probability of measured less predicted of all samples together: normal with the uncertainty of the measurement and the
scatter of single specimens about the relation, half of whose variance is taken as common to a lot
(`xrdorder.superconductivity.mixture`). So what samples share, a scale of tin or the dopants of the lot, counts once and
not once a sample. Equal prior weights turn likelihoods into probabilities that a relation is the best of those
compared. They say nothing about relations that were not asked, nor whether the best is good: that is what the offset is
for.

Fields are compared at the lowest temperature at which a sample was measured, where they hang least on the law of
temperature.

The offset is the weighted mean of measured less predicted at the medians of the draws, the slope a weighted straight
line through them; both standard uncertainties are enlarged by the scatter where that is larger than it should be. They
hold for what this laboratory measures on this scale of tin: the doubt that all samples share moves the offset, which
takes it up, and is given beside it, and so does the distance that all specimens of one lot have from the relation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from xrdorder.description.measured_values import MeasuredValue
from xrdorder.exceptions import ValidityError
from xrdorder.relations import Library, Relation
from xrdorder.superconductivity.mixture import LEAST_SHARE, LOT_SHARE
from xrdorder.uncertainty import Contributions, standard_normal

Array = NDArray[np.float64]
Route = tuple[Relation, ...]
"""A relation for Tc; for a field the one for 0 K and the law of temperature."""

DECIDED = 0.9
"""Probability from which the best relation is called decided (own choice)."""

LEAST_FOR_SLOPE = 4
"""Samples from which a slope is fitted: two parameters, and two more to see whether the line holds (own choice)."""


@dataclass(frozen=True)
class Subject:
    """A sample whose results are held against what was measured on it.

    Attributes
    ----------
    name, lot : str
    draws : mapping of str to array, (draws,)
        Joint draws by X-rays alone of what relations take: ``tin_fraction``, ``site_order`` (of tin alone), ``Tc_K``.
        Empty for a sample without.
    own : mapping of str to float
        Share of their variance that would be left if all other samples were known.
    values : mapping of str to float
        Quantities of its pattern, fractions as fractions.
    contributions : Contributions
        Their uncertainty table.
    measured : tuple of MeasuredValue
    wire : str
        Dopant by which relations are chosen.
    design : str
        Of the wire, for its thermal pre-strain; empty where not known.
    """

    name: str
    lot: str
    draws: Mapping[str, Array] = field(default_factory=dict, repr=False)
    own: Mapping[str, float] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict, repr=False)
    contributions: Contributions = field(default_factory=Contributions.empty, repr=False)
    measured: tuple[MeasuredValue, ...] = ()
    wire: str = "any"
    design: str = ""

    def first(self, quantity: str) -> MeasuredValue | None:
        """The measured value of a quantity; of several that at the lowest temperature, else the first."""
        values = [value for value in self.measured if value.quantity == quantity]
        return min(values, key=lambda value: value.temperature_k or 0.0, default=None)


@dataclass(frozen=True)
class Line:
    """Straight line from predicted to measured: measured = offset + slope * predicted.

    Attributes
    ----------
    offset, slope : float
    u_slope : float
        Standard uncertainty of the slope; 0 where it is held at one.
    u : float
        Standard uncertainty of the offset.
    correlation : float
        Of offset and slope.
    """

    offset: float
    slope: float
    u_slope: float
    u: float
    correlation: float = 0.0


@dataclass(frozen=True)
class Agreement:
    """How one relation agrees with what was measured.

    Attributes
    ----------
    route : tuple of Relation
    reason : str
        Why it was not compared; empty where it was. All numbers are then NaN.
    probability : float
        That it is the best of the candidates compared, all held equally probable before.
    difference : float
        Mean of measured less predicted, in the unit of the first relation's output (for a field: at 0 K).
    u_own, u_common : float
        Its standard uncertainty from what each sample has for itself, and from what all share.
    spread : float
        Root mean square of measured less predicted about that mean; NaN for one sample.
    shifted, tilted : Line or None
        What may be adopted: an offset alone, and offset with slope where there are samples enough for it.
    samples, predicted, measured : tuple
        Names, and the numbers behind the lines.
    criteria : tuple of str
        How the measured value of each sample was read off; empty where nobody said.
    candidate : bool
        Whether it holds for the wire; of others it is only told how they agree, and their probability is zero.
    """

    route: Route
    reason: str = ""
    probability: float = math.nan
    difference: float = math.nan
    u_own: float = math.nan
    u_common: float = math.nan
    spread: float = math.nan
    shifted: Line | None = None
    tilted: Line | None = None
    samples: tuple[str, ...] = ()
    predicted: tuple[float, ...] = field(default=(), repr=False)
    measured: tuple[float, ...] = field(default=(), repr=False)
    criteria: tuple[str, ...] = field(default=(), repr=False)
    candidate: bool = True

    @property
    def name(self) -> str:
        """Names of the relations, joined."""
        return " + ".join(relation.name for relation in self.route)


def routes(quantity: str, library: Library, wire: str = "any", *, replaced: bool = False) -> list[Route]:
    """Relations that lead to a measured quantity, all of them or those for one kind of wire.

    A field at a temperature takes one law of temperature, the first of the library, for all: those there are differ by
    less than their scatter (`xrdorder.relations.bc2_of_temperature`).

    Parameters
    ----------
    quantity : str
        "Tc_K" or "Bc2_T".
    library : Library
    wire : str
        "binary", "doped", "Ta", "Ti" or "any".
    replaced : bool
        Those that the laboratory has adjusted as well.
    """
    if quantity == "Tc_K":
        kinds = ("tc-from-tin", "tc-from-order")
        return [(entry,) for kind in kinds for entry in library.relations(kind, wire, replaced=replaced)]
    law = library.relations("bc2-temperature", wire)[0]
    kinds = ("bc2-0-from-tin", "bc2-0-from-tc")
    return [(entry, law) for kind in kinds for entry in library.relations(kind, wire, replaced=replaced)]


def agreements(
    subjects: Sequence[Subject],
    quantity: str,
    routes: Sequence[Route],
    *,
    for_wire: Sequence[Route] | None = None,
) -> tuple[Agreement, ...]:
    """Hold relations against what was measured.

    Parameters
    ----------
    subjects : sequence of Subject
        Samples of one wire; those without a measured value of the quantity are left out.
    quantity : str
        "Tc_K" or "Bc2_T".
    routes : sequence of Route
        Relations to compare.
    for_wire : sequence of Route, optional
        Those that hold for the wire; all unless given. Others are compared, too, but no candidates.

    Returns
    -------
    tuple of Agreement
        The most probable first, then those that hold for other wire, those not compared last.

    Raises
    ------
    ValidityError
        No sample has the quantity measured.
    """
    points = [_Point(subject, measured) for subject in subjects if (measured := subject.first(quantity)) is not None]
    if not points:
        raise ValidityError(f"no sample has a measured {quantity}; give one under [samples.measured]")
    ranked = [_agreement(route, points) for route in routes]
    logs = np.array([log for _, log in ranked])
    holds = np.array([for_wire is None or route in for_wire for route in routes])
    known = np.isfinite(logs) & holds
    weights = np.zeros(len(ranked))
    if known.any():
        weights[known] = np.exp(logs[known] - logs[known].max())
        weights /= weights.sum()
    answers = [
        replace(measured, probability=math.nan if measured.reason else float(weight), candidate=bool(own))
        for (measured, _), weight, own in zip(ranked, weights, holds, strict=True)
    ]
    return tuple(sorted(answers, key=_rank))


def _rank(agreement: Agreement) -> tuple[bool, bool, float]:
    return bool(agreement.reason), not agreement.candidate, 0.0 if agreement.reason else -agreement.probability


class _Point:
    """One sample and its measured value, as relations see it."""

    def __init__(self, subject: Subject, measured: MeasuredValue) -> None:
        self.subject, self.measured = subject, measured
        self.tc = subject.first("Tc_K") if measured.quantity == "Bc2_T" else None

    def input_of(self, relation: Relation) -> str:
        """Quantity that a relation takes first."""
        if relation.kind == "bc2-0-from-tc":
            return "Tc_K"
        return "site_order" if relation.kind.endswith("-from-order") else "tin_fraction"

    def inputs(self, relation: Relation) -> Array:
        """Draws of it, (n,): Tc as measured where it was."""
        name = self.input_of(relation)
        return self._tc() if name == "Tc_K" else self.subject.draws[name]

    def own(self, relation: Relation) -> float:
        """Share of their variance that the sample has for itself."""
        name = self.input_of(relation)
        return 1.0 if name == "Tc_K" and self.tc is not None else self.subject.own[name]

    def _tc(self) -> Array:
        draws = self.subject.draws["Tc_K"]
        if self.tc is None:
            return draws
        return self.tc.value + self.tc.u * standard_normal(draws.size, 0, "measured Tc", key=self.subject.name)

    def at_zero(self, route: Route, tc: Array | None = None) -> tuple[Array, float]:
        """Measured value in the terms of the first relation, (n,), and its standard uncertainty.

        A field is brought to 0 K by the law of the route, which is proportional to the field at 0 K.
        """
        value, u = self.measured.value, self.measured.u
        if len(route) == 1:
            return np.full(next(iter(self.subject.draws.values())).shape if tc is None else tc.shape, value), u
        law, tc = route[1], self._tc() if tc is None else tc
        temperature, unity = np.full_like(tc, float(self.measured.temperature_k or 0.0)), np.ones_like(tc)
        share = law.evaluate(temperature, unity, tc)
        with np.errstate(divide="ignore", invalid="ignore"):
            at_zero = np.where(share > 0.0, value / share, np.nan)
            relative = np.hypot(u / value, law.scatter.at(temperature, unity) / share)
        return at_zero, float(np.nanmedian(relative * at_zero))

    def central(self, route: Route) -> tuple[float, float]:
        """Predicted at the medians of the draws, and measured; NaN outside the validity."""
        tc = np.array([np.median(self.subject.draws["Tc_K"]) if self.tc is None else self.tc.value])
        name = self.input_of(route[0])
        predicted = route[0].evaluate(tc if name == "Tc_K" else np.array([np.median(self.subject.draws[name])]))
        return float(predicted[0]), float(self.at_zero(route, tc)[0][0])


def _agreement(route: Route, points: Sequence[_Point]) -> tuple[Agreement, float]:
    """Agreement of one route and the logarithm of its likelihood; NaN where it is not compared."""
    first = route[0]
    residuals, scatters, uncertainties, stretched = [], [], [], 0.0
    for point in points:
        inputs = point.inputs(first)
        if not np.any(np.isfinite(inputs)):
            return Agreement(route, f"{point.subject.name} has no {point.input_of(first)}"), math.nan
        predicted, (measured, u) = first.evaluate(inputs), point.at_zero(route)
        inside = np.isfinite(predicted) & np.isfinite(measured)
        if np.mean(inside) < LEAST_SHARE:
            return Agreement(route, f"{point.subject.name} lies outside its validity {first.validity}"), math.nan
        residuals.append(measured - predicted)
        scatters.append(float(np.median(first.scatter.at(inputs[inside], predicted[inside]))))
        uncertainties.append(u)
        # The field at 0 K is the measured one stretched: a density over the one is that over the other, stretched.
        stretched += float(np.mean(np.log(measured[inside] / point.measured.value)))
    draws = np.array(residuals)
    draws = draws[:, np.all(np.isfinite(draws), axis=0)]
    if draws.shape[1] < LEAST_SHARE * len(residuals[0]):
        return Agreement(route, "no common state of all samples lies inside its validity"), math.nan
    lots = [point.subject.lot for point in points]
    rest = np.array([math.sqrt(1.0 - LOT_SHARE) if lot else 1.0 for lot in lots]) * scatters
    together = np.array([[bool(lot) and lot == other for other in lots] for lot in lots])
    own = np.hypot(uncertainties, rest)
    covariance = np.diag(own**2) + LOT_SHARE * together * np.outer(scatters, scatters)
    log = stretched + _log_likelihood(draws, covariance)
    agreement = _fitted(route, points, own, draws)
    return replace(agreement, criteria=tuple(point.measured.criterion for point in points)), log


def _log_likelihood(residuals: Array, covariance: Array) -> float:
    """Logarithm of the mean of normal densities at residuals, (samples, draws), but for a constant."""
    logs = -0.5 * np.sum(residuals * np.linalg.solve(covariance, residuals), axis=0)
    return float(np.logaddexp.reduce(logs) - math.log(logs.size) - 0.5 * np.linalg.slogdet(covariance)[1])


def _fitted(route: Route, points: Sequence[_Point], own: Array, draws: Array) -> Agreement:
    """Mean difference and lines; without them where a central input lies outside the validity."""
    samples = tuple(point.subject.name for point in points)
    predicted, measured = (np.array(column) for column in zip(*(p.central(route) for p in points), strict=True))
    bare = Agreement(route, samples=samples, predicted=tuple(predicted.tolist()), measured=tuple(measured.tolist()))
    if not (np.all(np.isfinite(predicted)) and np.all(np.isfinite(measured))):
        return bare
    independent = np.var(draws, axis=1) * [point.own(route[0]) for point in points]
    sigma = np.sqrt(own**2 + independent)
    weights = sigma**-2 / np.sum(sigma**-2)
    difference = float(weights @ (measured - predicted))
    residual = measured - predicted - difference
    shifted = straight_line(predicted, measured, sigma, slope=False)
    tilted = None
    if len(samples) >= LEAST_FOR_SLOPE and np.ptp(predicted) > 0.0:
        tilted = straight_line(predicted, measured, sigma, slope=True)
    return replace(
        bare,
        difference=difference,
        u_own=shifted.u,
        u_common=math.sqrt(max(float(np.var(weights @ draws) - weights**2 @ independent), 0.0)),
        spread=float(np.sqrt(np.mean(residual**2))) if len(samples) > 1 else math.nan,
        shifted=shifted,
        tilted=tilted,
    )


def straight_line(x: Array, y: Array, sigma: Array, *, slope: bool) -> Line:
    """Fit y = offset + slope x by weighted least squares.

    Parameters
    ----------
    x, y, sigma : array, (n,)
        Predicted, measured, and the standard uncertainty of y - x that each point has for itself.
    slope : bool
        False holds the slope at one.

    Returns
    -------
    Line
        Uncertainties are enlarged by the root of the reduced chi square where that is above one.

    Examples
    --------
    >>> line = straight_line(np.array([16.0, 17.0]), np.array([16.4, 17.6]), np.array([0.2, 0.2]), slope=False)
    >>> round(line.offset, 3), round(line.u, 3)  # (0.4 + 0.6) / 2; 0.2 / sqrt(2)
    (0.5, 0.141)
    """
    design = np.column_stack([np.ones_like(x), x]) if slope else np.ones((len(x), 1))
    target = y if slope else y - x
    weighted = design / sigma[:, None]
    covariance = np.linalg.inv(weighted.T @ weighted)
    solution = covariance @ weighted.T @ (target / sigma)
    residual = (target - design @ solution) / sigma
    freedom = len(x) - design.shape[1]
    if freedom > 0:
        covariance = covariance * max(1.0, float(residual @ residual) / freedom)
    u = math.sqrt(covariance[0, 0])
    if slope:
        u_slope = math.sqrt(covariance[1, 1])
        correlation = float(covariance[0, 1]) / (u * u_slope)
        return Line(float(solution[0]), float(solution[1]), u_slope, u, correlation)
    return Line(float(solution[0]), 1.0, 0.0, u)
