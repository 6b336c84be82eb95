"""Which published relation fits this wire best, and what a laboratory may put right about it.

Every relation that leads to a measured quantity is held against the samples that have it measured. Its likelihood is
the probability of the measured values if the relation were true, with all that is not known averaged over: what the
samples share (certificate, the published scale of tin, the dopants of the lot) by common draws, so that one wrong scale
counts once and not once a sample; what each has for itself by quadrature; the scatter of single specimens about the
relation, half of whose variance is taken as common to a lot (`xrdorder.superconductivity.mixture`); the uncertainty of
the measurement in quadrature. Equal prior weights turn likelihoods into probabilities
that a relation is the best of those compared. They say nothing about relations that were not asked, nor whether the
best is good: that is what the offset is for.

Fields are compared at the lowest temperature at which a sample was measured, where they hang least on the law of
temperature.

The offset is the weighted mean of measured less predicted at the central inputs, the slope a weighted straight line
through them; both standard uncertainties are enlarged by the scatter where that is larger than it should be. They hold
for what this laboratory measures on this scale of tin: the doubt that all samples share moves the offset, which takes
it up, and is given beside it, and so does the distance that all specimens of one lot have from the relation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from xrdorder.description.measured_values import Measured
from xrdorder.exceptions import ValidityError
from xrdorder.relations import Library, Relation
from xrdorder.superconductivity.mixture import LOT_SHARE
from xrdorder.uncertainty import PRIVATE, Contributions, standard_normal

Array = NDArray[np.float64]
Route = tuple[Relation, ...]
"""A relation for Tc; for a field the one for 0 K and the law of temperature."""

DRAWS = 20_000
LEAST_SHARE = 0.16
"""A relation is compared if at least this share of the possible inputs of every sample lies inside its validity: its
range then reaches into the central 68 % of the input."""

DECIDED = 0.9
"""Probability from which the best relation is called decided (own choice)."""

LEAST_FOR_SLOPE = 4
"""Samples from which a slope is fitted: two parameters, and two more to see whether the line holds (own choice)."""

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_SEED = 1


@dataclass(frozen=True)
class Subject:
    """A sample whose results are held against what was measured on it.

    Attributes
    ----------
    name, lot : str
    values : mapping of str to float
        Quantities, fractions as fractions.
    contributions : Contributions
        Their uncertainty table.
    measured : tuple of Measured
    wire : str
        Dopant by which relations are chosen.
    design : str
        Of the wire, for its thermal pre-strain; empty where not known.
    """

    name: str
    lot: str
    values: Mapping[str, float]
    contributions: Contributions
    measured: tuple[Measured, ...] = ()
    wire: str = "any"
    design: str = ""

    def first(self, quantity: str) -> Measured | None:
        """The measured value of a quantity; of several that at the lowest temperature, else the first."""
        found = [one for one in self.measured if one.quantity == quantity]
        return min(found, key=lambda one: one.temperature_k or 0.0, default=None)


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
    tc_routes: Sequence[Route],
    *,
    for_wire: Sequence[Route] | None = None,
    n: int = DRAWS,
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
    tc_routes : sequence of Route
        Relations for Tc, whose mean stands in for a field where Tc was not measured.
    for_wire : sequence of Route, optional
        Those that hold for the wire; all unless given. Others are compared, too, but no candidates.
    n : int
        Draws of what samples share.

    Returns
    -------
    tuple of Agreement
        The most probable first, then those that hold for other wire, those not compared last.

    Raises
    ------
    ValidityError
        No sample has the quantity measured.
    """
    points = [
        _Point(subject, one, tc_routes) for subject in subjects if (one := subject.first(quantity)) is not None
    ]
    if not points:
        raise ValidityError(f"no sample has a measured {quantity}; give one under [samples.measured]")
    shared = _Shared(n)
    found = [_agreement(route, points, shared) for route in routes]
    logs = np.array([log for _, log in found])
    holds = np.array([for_wire is None or route in for_wire for route in routes])
    known = np.isfinite(logs) & holds
    weights = np.zeros(len(found))
    if known.any():
        weights[known] = np.exp(logs[known] - logs[known].max())
        weights /= weights.sum()
    answers = [
        replace(one, probability=math.nan if one.reason else float(weight), candidate=bool(own))
        for (one, _), weight, own in zip(found, weights, holds, strict=True)
    ]
    return tuple(sorted(answers, key=_rank))


def _rank(one: Agreement) -> tuple[bool, bool, float]:
    return bool(one.reason), not one.candidate, 0.0 if one.reason else -one.probability


class _Shared:
    """Common draws of all sources that samples may share, and each sample's own part."""

    def __init__(self, n: int) -> None:
        self.n = n

    def scatter(self, relation: Relation, lot: str) -> tuple[Array, float]:
        """Common distances of a lot from a relation in units of its scatter, shape (n,), and the share of the rest."""
        if not lot:
            return np.zeros(self.n), 1.0
        common = standard_normal(self.n, _SEED, f"scatter/{relation.kind}/{relation.name}", f"lot {lot}")
        return math.sqrt(LOT_SHARE) * common, math.sqrt(1.0 - LOT_SHARE)

    def of(self, subject: Subject, quantity: str) -> tuple[Array, float]:
        """Draws of a quantity by what is shared, shape (n,), and the standard deviation of what is not."""
        table, value = subject.contributions, float(subject.values.get(quantity, math.nan))
        draws = np.full(self.n, value)
        if quantity not in table.quantities:
            return draws, 0.0
        row = table.row(quantity)
        for source, group, part in zip(table.sources, table.groups, row, strict=True):
            if group != PRIVATE and part != 0.0:
                draws = draws + part * standard_normal(self.n, _SEED, source, group)
        return draws, table.part(quantity, shared=False)


class _Point:
    """One sample and its measured value, as relations see it."""

    def __init__(self, subject: Subject, measured: Measured, tc_routes: Sequence[Route]) -> None:
        self.subject, self.measured, self.tc_routes = subject, measured, tc_routes
        self.tc = subject.first("Tc_K") if measured.quantity == "Bc2_T" else None

    def input_of(self, relation: Relation) -> str:
        """Quantity that the relation takes first."""
        if relation.kind.endswith("-from-order"):
            return "site_order"
        joint = "tin_fraction_joint"
        return joint if math.isfinite(self.subject.values.get(joint, math.nan)) else "tin_fraction"

    def evaluate(self, route: Route, given: Mapping[str, Array]) -> tuple[Array, Array]:
        """Predict the first output of a route (Tc, or the field at 0 K) and its scatter; NaN outside validity."""
        first = route[0]
        x = self.tc_from(given) if first.kind == "bc2-0-from-tc" else given[self.input_of(first)]
        y = first.evaluate(x)
        return y, first.scatter.at(x, y)

    def tc_from(self, given: Mapping[str, Array]) -> Array:
        """Tc: as measured, else the mean over the relations that apply."""
        if self.tc is not None:
            return np.full_like(next(iter(given.values())), self.tc.value)
        asked = np.array([self.evaluate(route, given)[0] for route in self.tc_routes])
        valid = np.isfinite(asked)
        with np.errstate(invalid="ignore"):
            return np.asarray(np.where(valid, asked, 0.0).sum(axis=0) / valid.sum(axis=0))

    def at_zero(self, route: Route, given: Mapping[str, Array]) -> tuple[Array, Array]:
        """Measured value and its standard uncertainty, in the terms of the first relation.

        A field is brought to 0 K by the law of the route, which is proportional to the field at 0 K.
        """
        value, u = self.measured.value, self.measured.u
        shape = next(iter(given.values()))
        if len(route) == 1:
            return np.full_like(shape, value), np.full_like(shape, u)
        law, temperature = route[1], np.full_like(shape, float(self.measured.temperature_k or 0.0))
        tc = self.tc_from(given)
        share = law.evaluate(temperature, np.ones_like(shape), tc)
        u_tc = 0.0 if self.tc is None else self.tc.u
        slope = (law.evaluate(temperature, np.ones_like(shape), tc + u_tc) - share) / share
        with np.errstate(divide="ignore", invalid="ignore"):
            scatter = law.scatter.at(temperature, np.ones_like(shape)) / share
            at_zero = np.where(share > 0.0, value / share, np.nan)
            return at_zero, np.hypot(u / share, at_zero * np.hypot(slope, scatter))


def _agreement(route: Route, points: Sequence[_Point], shared: _Shared) -> tuple[Agreement, float]:
    """Agreement of one route and the logarithm of its likelihood; NaN where it is not compared."""
    log = np.zeros(shared.n)
    central: list[tuple[float, float, float]] = []
    movement: list[Array] = []
    for point in points:
        own_input = None if route[0].kind == "bc2-0-from-tc" else point.input_of(route[0])
        if own_input and not math.isfinite(point.subject.values.get(own_input, math.nan)):
            return Agreement(route, f"{point.subject.name} has no {own_input}"), math.nan
        given = _inputs(route, point, shared)
        y, scatter = point.evaluate(route, given)
        common, rest = shared.scatter(route[0], point.subject.lot)
        y, scatter = y + common * scatter, rest * scatter
        value, u = point.at_zero(route, given)
        inside = np.isfinite(y) & np.isfinite(value)
        share = float(np.average(inside.mean(axis=1), weights=_WEIGHTS))
        if share < LEAST_SHARE:
            return Agreement(route, f"{point.subject.name} lies outside its validity {route[0].validity}"), math.nan
        # The field at 0 K is the measured one stretched: a density over the one is that over the other, stretched.
        stretched = np.log(np.where(inside, value, point.measured.value) / point.measured.value)
        log = log + _log_likelihood(value - y, np.hypot(u, scatter), stretched, inside)
        middle = {name: np.array([point.subject.values.get(name, math.nan)]) for name in given}
        at_middle, scatter_there = point.evaluate(route, middle)
        value_there, u_there = point.at_zero(route, middle)
        own = _own_spread(y, inside)
        sigma = math.sqrt(u_there[0] ** 2 + (rest * scatter_there[0]) ** 2 + own**2)
        central.append((float(at_middle[0]), float(value_there[0]), sigma))
        with np.errstate(invalid="ignore"):
            movement.append(np.asarray(y[len(_NODES) // 2] - at_middle[0]))
    usable = log[np.isfinite(log)]
    if usable.size < LEAST_SHARE * shared.n:
        return Agreement(route, "no common state of all samples lies inside its validity"), math.nan
    likelihood = float(np.logaddexp.reduce(usable) - math.log(usable.size))
    samples = tuple(point.subject.name for point in points)
    criteria = tuple(point.measured.criterion for point in points)
    return replace(_fitted(route, samples, central, movement), criteria=criteria), likelihood


def _inputs(route: Route, point: _Point, shared: _Shared) -> dict[str, Array]:
    """Possible inputs, shape (nodes, n): what is shared along the draws, the sample's own along the nodes."""
    firsts = [route[0]]
    if point.measured.quantity == "Bc2_T" and point.tc is None:
        firsts += [tc[0] for tc in point.tc_routes]
    # where Tc was measured and nothing else is asked for, any quantity will do to give the shape
    names = [point.input_of(entry) for entry in firsts if entry.kind != "bc2-0-from-tc"] or ["tin_fraction"]
    given = {}
    for name in dict.fromkeys(names):
        draws, own = shared.of(point.subject, name)
        given[name] = draws[None, :] + own * _NODES[:, None]
    return given


def _log_likelihood(residual: Array, sigma: Array, stretched: Array, inside: NDArray[np.bool_]) -> Array:
    """Logarithm of the likelihood for each draw, the sample's own part averaged over its nodes, shape (n,)."""
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = np.where(inside, stretched - 0.5 * (residual / sigma) ** 2 - np.log(sigma), -np.inf)
        weights = np.where(inside, _WEIGHTS[:, None], 0.0)
        total = weights.sum(axis=0)
        top = logs.max(axis=0)
        mean = (weights * np.exp(logs - top)).sum(axis=0) / total
        return np.asarray(np.where(total > 0.0, top + np.log(mean), np.nan))


def _own_spread(y: Array, inside: NDArray[np.bool_]) -> float:
    """Standard deviation of the prediction by what the sample has for itself: the typical one over all draws."""
    weights = np.where(inside, _WEIGHTS[:, None], 0.0)
    total = weights.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(inside, weights * y, 0.0).sum(axis=0) / total
        square = np.where(inside, weights * (y - mean) ** 2, 0.0).sum(axis=0) / total
    return float(math.sqrt(np.nanmedian(square)))


def _fitted(
    route: Route, samples: tuple[str, ...], central: Sequence[tuple[float, float, float]], movement: Sequence[Array]
) -> Agreement:
    """Mean difference and lines; without them where a central input lies outside the validity."""
    predicted, measured, sigma = (np.array(column) for column in zip(*central, strict=True))
    bare = Agreement(route, samples=samples, predicted=tuple(predicted.tolist()), measured=tuple(measured.tolist()))
    if not (np.all(np.isfinite(predicted)) and np.all(np.isfinite(measured))):
        return bare
    weights = sigma**-2 / np.sum(sigma**-2)
    difference = float(weights @ (measured - predicted))
    residual = measured - predicted - difference
    # A draw in which one sample leaves the validity says nothing about the mean of all.
    moved = np.array(movement).T @ weights
    moved = moved[np.isfinite(moved)]
    common = float(np.std(moved)) if moved.size else math.nan
    shifted = straight_line(predicted, measured, sigma, slope=False)
    tilted = None
    if len(samples) >= LEAST_FOR_SLOPE and np.ptp(predicted) > 0.0:
        tilted = straight_line(predicted, measured, sigma, slope=True)
    return replace(
        bare,
        difference=difference,
        u_own=shifted.u,
        u_common=common,
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
