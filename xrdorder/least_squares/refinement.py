"""One pattern being fitted: data, model, parameters, weights, and rounds of least squares."""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.ndimage import uniform_filter1d

from xrdorder.exceptions import FitError
from xrdorder.forward_model.parameter_map import ParameterMap
from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.least_squares.engines import Engine
from xrdorder.patterns.angle_step import angle_step
from xrdorder.profiles.instrument import INSTRUMENT_NAMES

if TYPE_CHECKING:
    import lmfit

Array = NDArray[np.float64]
Values = Mapping[str, float]

MOST_EVALUATIONS = 1000
"""Evaluations of the model that a fit may take. Fits of wires take 6 to 15, of two populations 40, smoothed 100."""

_LEAST_VARIANCE = 0.5  # counts; a point where the model expects nothing still scatters
_OUTLIER_SIGMAS = 6.0
_MASK_ROUNDS = 3
_TRIAL_ROUNDS = 40
_CREDIT = 3.0  # of chi squared: so near a minimum the derivatives where the last step began are those at its end
# Times the root of a tolerance: a step that promises less is the last one, as what is left falls with its square.
_NEAR = 60.0
_REFROZEN = 1e-3  # of what a step does to the counts, what the lines treat as constant does when it follows
_LARGEST_MASKED_SHARE = 0.01  # beyond one point in a hundred it is misfit, not hot pixels


@dataclass(frozen=True)
class Solution:
    """Free parameters at the minimum, their covariance for white noise of the stated variance, and the Jacobian."""

    free: tuple[str, ...]
    point: Array
    covariance: Array
    weighted_jacobian: Array
    idle: tuple[str, ...]

    def value(self, name: str) -> float:
        """Value of a free parameter."""
        return float(self.point[self.free.index(name)])

    def u(self, name: str) -> float:
        """Standard uncertainty of a parameter from counting; NaN where it was not free."""
        if name not in self.free:
            return float("nan")
        k = self.free.index(name)
        return float(np.sqrt(self.covariance[k, k]))

    def block(self, names: Sequence[str]) -> Array:
        """Covariance of some of the free parameters."""
        rows = [self.free.index(name) for name in names]
        return self.covariance[np.ix_(rows, rows)]


class Known(NamedTuple):
    """Counts and derivatives at one point: what was asked for once is not computed again.

    Attributes
    ----------
    here
        All that they hang on.
    names, counts, jacobian
        Parameters, counts (n,) and derivatives (n, names), not weighted.
    credit
        Chi squared promised by the steps over which counts were carried on by the derivatives; zero where computed.
    """

    here: Hashable
    names: tuple[str, ...]
    counts: Array
    jacobian: Array
    credit: float = 0.0

    def tells(self, here: Hashable, names: Iterable[str]) -> bool:
        """Tell whether these derivatives are known there."""
        return self.here == here and set(names) <= set(self.names)

    def by(self, names: Sequence[str]) -> Array:
        """Derivatives by some of the parameters, (n, names)."""
        if tuple(names) == self.names:
            return self.jacobian
        place = {name: k for k, name in enumerate(self.names)}
        return np.asarray(self.jacobian.T[[place[name] for name in names]].T)


class Refinement:
    """Least squares on one pattern.

    Parameters
    ----------
    pattern
        As `xrdorder.patterns.read_pattern` gives it.
    model
        Forward model on the same points.
    parameters
        All parameters of the model.
    engine
        Least-squares engine.

    Attributes
    ----------
    step
        Of the scan, degrees.
    reached
        Chi squared where the last run ended, by its weights.
    """

    def __init__(
        self, pattern: xr.DataArray, model: PatternModel, parameters: "lmfit.Parameters", engine: Engine
    ) -> None:
        self.model, self.parameters, self.engine = model, parameters, engine
        self.two_theta = np.asarray(pattern["two_theta"].values, dtype=np.float64)
        self.step = angle_step(self.two_theta)
        self.observed = np.asarray(pattern.values, dtype=np.float64)
        self._counted = pattern.attrs.get("intensity_kind", "counts") == "counts"
        self.variance = np.array(pattern["variance"].values, dtype=np.float64)
        if self._counted:
            self.variance = initial_variance(self.observed, model.time_factor)
        self.used = np.ones(len(self.observed), dtype=bool)
        self.evaluations = 0
        self.reached = np.inf
        self._known: Known | None = None
        self._residual: tuple[Array, Array, Array, Array] | None = None
        self._solved_at: tuple[Hashable, Array, NDArray[np.bool_], Solution] | None = None

    def observe(self, pattern: xr.DataArray) -> None:
        """Take over the counts of another pattern like this one; what is known at the parameters is taken as exact.

        Raises
        ------
        FitError
            It was measured at other angles.
        """
        if not np.array_equal(pattern["two_theta"].values, self.two_theta):
            raise FitError("fit: the angles are not those of the neighbouring pattern; fit it by itself")
        self.observed = np.asarray(pattern.values, dtype=np.float64)
        if not self._counted:
            self.variance = np.array(pattern["variance"].values, dtype=np.float64)
        if self._known is not None:
            self._known = self._known._replace(credit=0.0)

    def carry(self, values: Values) -> None:
        """Move parameters a little; what is known is carried along by the derivatives, and taken as exact there."""
        before, known = self.values(), self._known
        for name, value in values.items():
            self.parameters[name].value = value
        moved = {name: away for name, x in self.values().items() if (away := x - before[name])}
        if known is not None and known.tells(self.here(before), moved):
            counts = known.counts + known.by(tuple(moved)) @ np.array(list(moved.values()))
            self._known = Known(self.here(self.values()), known.names, counts, known.jacobian)

    def values(self) -> dict[str, float]:
        """All parameter values as they stand."""
        return {name: float(p.value) for name, p in self.parameters.items()}

    def run(
        self,
        vary: Iterable[str],
        *,
        most_iterations: int = 40,
        tolerance: float = 1e-4,
        follow: bool = False,
        from_afar: bool = False,
        along: Sequence[str] = (),
    ) -> bool:
        """Fit the named parameters, hold all others; return whether the engine converged.

        Parameters
        ----------
        vary
            Names.
        most_iterations, tolerance
            Evaluations of the model, and the drop of chi squared below which a step is the last.
        follow
            Weights, and what the lines treat as constant, follow the model from step to step: the end is the minimum by
            its own weights. Otherwise both stay, so that chi squared before and after compare.
        from_afar
            The start is a guess, so that steps begin short; otherwise as long as no line moves by more than half its
            width.
        along
            Held parameters whose derivatives are asked for at the end, beside all of the specimen.

        Raises
        ------
        FitError
            There are fewer points than parameters, or the budget of evaluations is spent.
        """
        names = set(vary)
        for name, parameter in self.parameters.items():
            if not parameter.expr:
                parameter.vary = name in names
        translation = ParameterMap(self.parameters)
        if len(translation.free) >= int(self.used.sum()):
            raise FitError(
                f"fit: {int(self.used.sum())} points cannot decide {len(translation.free)} parameters; "
                "measure a longer range or ask for fewer phases"
            )
        steps = _Steps(self, translation, tolerance, follow, along)
        start = translation.start
        minimum = self.engine(
            steps.residuals,
            start,
            translation.lower,
            translation.upper,
            tolerance=tolerance,
            most_iterations=most_iterations,
            reach=None if from_afar else self.model.reach(translation.values(start), translation.free),
            following=steps,
        )
        translation.store(minimum.point)
        if follow:
            self.freeze()
        self.reached = minimum.chi2
        self._known = steps.carried_to(minimum.point, minimum.credit) if tolerance <= _CREDIT else None
        return minimum.converged

    def evaluated(
        self, values: Values, names: Sequence[str], credit: float = 0.0, along: Iterable[str] = ()
    ) -> Known:
        """Counts and derivatives at some values; what is known there is not computed again.

        Parameters
        ----------
        values, names
            Where, and by which parameters.
        credit
            Chi squared that unevaluated steps may have promised since what is known was computed.
        along
            Parameters by which derivatives are computed, too, where it is not known.
        """
        known, here = self._known, self.here(values)
        if known is None or known.credit > credit or not known.tells(here, names):
            self.evaluations += 1
            if self.evaluations > MOST_EVALUATIONS:
                raise FitError(
                    f"fit: no minimum after {MOST_EVALUATIONS} evaluations of the model, so the phases asked for "
                    "hardly describe this pattern; name those that are in it, or take a shorter range"
                )
            every = tuple(dict.fromkeys((*names, *along)))
            self._known = known = Known(here, every, *self.model.counts_with_jacobian(values, every))
        return known

    def derivatives(self, names: Sequence[str]) -> Array:
        """Derivatives of the counts at the parameters as they stand, shape (n, names).

        Many ask at one minimum: they all are answered by one evaluation, by every parameter of what is in the pattern.
        """
        values = self.values()
        return self.evaluated(values, names, np.inf, self.model.names_at(values)).by(names)

    def known_at(self, values: Values) -> bool:
        """Tell whether counts and derivatives are known at some values, be it on credit."""
        return self._known is not None and self._known.here == self.here(values)

    def trial(self, vary: Sequence[str]) -> tuple[dict[str, float], Solution, float]:
        """Values, solution and chi squared of a fit of other parameters; everything is put back afterwards."""
        before, known = self.values(), self._known
        free = [name for name, parameter in self.parameters.items() if parameter.vary]
        try:
            self.run(vary, most_iterations=_TRIAL_ROUNDS, tolerance=1e-3)
            return self.values(), self.solution()[0], self.chi_squared()
        finally:
            for name, parameter in self.parameters.items():
                if not parameter.expr:
                    parameter.set(value=before[name], vary=name in free)
            self._known = known

    def weighted(self, slopes: Array) -> Array:
        """Derivatives of the counts, shape (n, k), over the standard uncertainty of the points used."""
        if self.used.all():
            return np.asarray((slopes.T / np.sqrt(self.variance)).T)
        return np.asarray((slopes.T[:, self.used] / np.sqrt(self.variance[self.used])).T)

    def weighted_residual(self) -> Array:
        """Observed less calculated counts over their standard uncertainty, at all points."""
        of = self.observed, self.counts(), self.variance
        if self._residual is None or any(a is not b for a, b in zip(of, self._residual[1:], strict=True)):
            self._residual = (of[0] - of[1]) / np.sqrt(of[2]), *of
        return self._residual[0]

    def counts(self) -> Array:
        """Calculated counts at the parameters as they stand; many questions are asked at one minimum."""
        values = self.values()
        return self._known.counts if self._known is not None and self.known_at(values) else self.model.counts(values)

    def here(self, values: Values) -> Hashable:
        """Everything that the calculated counts hang on."""
        return tuple(values.items()), tuple((id(lines), lines.freezes) for lines in self.model.phases)

    def chi_squared(self) -> float:
        """Weighted sum of squared residuals over the points used."""
        return float(np.sum(self.weighted_residual()[self.used] ** 2))

    def mean_square(self) -> float:
        """Mean squared weighted residual of the points used: one for noise alone."""
        return self.chi_squared() / max(int(self.used.sum()), 1)

    def freeze(self, values: Values | None = None) -> None:
        """Evaluate anew at these lattices, or the present ones, what the lines treat as constant."""
        values = self.values() if values is None else values
        for phase in self.model.phases:
            phase.freeze(tuple(values[name] for name in phase.length_names))

    def reweight(self, counts: Array | None = None) -> None:
        """Take the variance of counts from those of the model, as they stand or given, instead of the observed ones."""
        if self._counted:
            self.variance = np.maximum(self.counts() if counts is None else counts, _LEAST_VARIANCE)

    def mask_outliers(self) -> int:
        """Leave out single points beyond six standard deviations of the scatter; return how many are left out now.

        The scatter is the robust one of the residuals: where the model does not fit, whole flanks deviate and
        nothing is masked. A line is many points wide; only a point whose neighbours both agree with the model is taken
        for a hot pixel or a glitch.
        """
        residual = self.weighted_residual()
        scatter = max(1.0, 1.4826 * float(np.median(np.abs(residual[self.used]))))
        large = np.abs(residual) > _OUTLIER_SIGMAS * scatter
        half = np.abs(residual) > 0.5 * _OUTLIER_SIGMAS * scatter
        neighbours = np.zeros(len(large), dtype=bool)
        neighbours[1:] |= half[:-1]
        neighbours[:-1] |= half[1:]
        alone = large & ~neighbours
        if alone.sum() <= _LARGEST_MASKED_SHARE * len(alone) and not np.array_equal(self.used, ~alone):
            self.used = ~alone
        return int((~self.used).sum())

    def settle(self, vary: Sequence[str], *, tolerance: float = 1e-4, most_iterations: int = 40) -> bool:
        """Last rounds: outliers out, and the fit to the minimum by its own weights."""
        for _ in range(_MASK_ROUNDS):
            self.mask_outliers()
            used = self.used
            # who tells uncertainties asks for the instrument's, too
            converged = self.run(
                vary, tolerance=tolerance, most_iterations=most_iterations, follow=True, along=INSTRUMENT_NAMES
            )
            self.mask_outliers()
            if np.array_equal(used, self.used):
                break
        return converged

    def solution(self, held: Sequence[str] = ()) -> tuple[Solution, Array]:
        """Covariance at the minimum and weighted derivatives by some held parameters, shape (points used, held).

        A parameter that moves nothing, or rests at its bound, has no say: it is left out and listed in `idle`. The last
        solution is kept, as several ask for it at one minimum.
        """
        translation = ParameterMap(self.parameters)
        here = self.here(self.values()), translation.free, tuple(translation.lower), tuple(translation.upper)
        if not held and self._solved_at is not None:
            there, variance, used, solved = self._solved_at
            if there == here and variance is self.variance and used is self.used:
                return solved, np.zeros((len(solved.weighted_jacobian), 0))
        point = translation.start
        jacobian = self.derivatives((*translation.wanted, *held))
        jacobian = self.weighted(jacobian)
        n = len(translation.wanted)
        by_free = translation.to_free(jacobian[:, :n], point)
        by_held = jacobian[:, n:]
        norms = np.sqrt(np.einsum("ij,ij->j", by_free, by_free))
        span = np.where(
            np.isfinite(translation.upper - translation.lower), translation.upper - translation.lower, np.inf
        )
        margin = np.where(np.isfinite(span), 1e-9 * span, 0.0)
        at_bound = (point <= translation.lower + margin) | (point >= translation.upper - margin)
        lively = (norms > 0.0) & ~at_bound
        index = np.flatnonzero(lively)
        free = tuple(translation.free[k] for k in index)
        weighted = by_free if len(index) == by_free.shape[1] else by_free.T[index].T
        idle = tuple(name for name, ok in zip(translation.free, lively, strict=True) if not ok)
        solved = Solution(free, point[index], covariance(weighted), weighted, idle)
        self._solved_at = here, self.variance, self.used, solved
        return solved, by_held


class _Steps:
    """What an engine asks on its way: weighted residuals, and weights and constants that follow the model or stay.

    Parameters
    ----------
    fit
        Whose counts they are.
    translation
        Of its parameters to vectors.
    tolerance, follow, along
        As of `Refinement.run`.
    """

    def __init__(
        self, fit: Refinement, translation: ParameterMap, tolerance: float, follow: bool, along: Sequence[str]
    ) -> None:
        self._fit, self._translation, self._follow, self._along = fit, translation, follow, along
        self._credit, self._near = tolerance, _NEAR * tolerance**0.5
        self._at: tuple[Array, Known] | None = None  # last point
        self._base: tuple[Array, Known] | None = None  # last point that was accepted
        self._linear = np.zeros(0), np.zeros((0, 0))
        self._promised = 0.0

    def residuals(self, point: Array) -> tuple[Array, Array]:
        """Weighted residuals and Jacobian."""
        known = self._evaluated(point)
        return self._residuals(known), self._jacobian(point, known)

    def alone(self, point: Array) -> Array:
        """Weighted residuals; nearly every trial is accepted, so that derivatives are evaluated along."""
        return self._residuals(self._evaluated(point))

    def renewed(self, point: Array) -> tuple[Array, Array]:
        """Weighted residuals and Jacobian at a point that was accepted, after weights and constants have followed."""
        known = self._evaluated(point)
        if self._follow:
            self._fit.reweight(known.counts)
            self._fit.freeze(self._translation.values(point))
        self._base = point.copy(), known
        self._linear = self._residuals(known), self._jacobian(point, known)
        return self._linear

    def _evaluated(self, point: Array) -> Known:
        values, wanted = self._translation.values(point), self._translation.wanted
        for at in (self._base, self._at):
            if at is not None and at[1].tells(self._fit.here(values), wanted):
                return at[1]
        known = self._fit.evaluated(values, wanted, self._credit, self._asked_along(point, values))
        self._at = point.copy(), known
        return known

    def _asked_along(self, point: Array, values: Values) -> tuple[str, ...]:
        """All that will be asked for where the fit ends, if that is likely to be here."""
        if self._base is None:
            near = self._fit.known_at(values)
        else:
            r, jacobian = self._linear
            there = r + jacobian @ (point - self._base[0])
            self._promised = float(r @ r - there @ there)
            near = self._promised < self._near
        return (*self._along, *self._fit.model.names_at(values)) if near and self._follow else ()

    def _residuals(self, known: Known) -> Array:
        return np.asarray((known.counts - self._fit.observed) * self._root())

    def _jacobian(self, point: Array, known: Known) -> Array:
        jacobian = self._translation.to_free(known.by(self._translation.wanted), point)
        return np.asarray((jacobian.T * self._root()).T)

    def _root(self) -> Array:
        return np.where(self._fit.used, 1.0 / np.sqrt(self._fit.variance), 0.0)

    def carried_to(self, point: Array, credit: float) -> Known:
        """What is known where the last point was accepted, carried to where the fit ended by a step on credit."""
        assert self._base is not None
        start, known = self._base
        here = self._fit.here(self._translation.values(point))
        jacobian = self._translation.to_free(known.by(self._translation.wanted), start)
        credit += known.credit + _REFROZEN * self._promised
        return Known(here, known.names, known.counts + jacobian @ (point - start), known.jacobian, credit)


def covariance(weighted_jacobian: Array) -> Array:
    """Covariance of parameters from counting: the inverse of the normal matrix, shape (n, n).

    Raises
    ------
    FitError
        Parameters cannot be told apart.
    """
    normal = weighted_jacobian.T @ weighted_jacobian
    norms = np.sqrt(np.diag(normal))
    try:
        inverse = cho_solve(cho_factor(normal / np.outer(norms, norms)), np.eye(len(norms)))
    except np.linalg.LinAlgError as error:
        raise FitError(
            "fit: parameters cannot be told apart (singular covariance); ask for fewer phases or a longer range"
        ) from error
    return np.asarray(inverse / np.outer(norms, norms))


def initial_variance(counts: Array, time_factor: Array) -> Array:
    """Variance to begin with: counts smoothed over five points, at least one.

    The observed counts themselves would pull the background down (points that happen to be low would weigh more).
    """
    rate = uniform_filter1d(counts / time_factor, 5, mode="nearest")
    return np.asarray(np.maximum(rate * time_factor, 1.0))
