"""One pattern being fitted: data, model, parameters, weights, and rounds of least squares."""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

import lmfit
import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.ndimage import uniform_filter1d

from xrdorder.exceptions import FitError
from xrdorder.forward_model.parameter_map import ParameterMap
from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.least_squares.engines import Engine

Array = NDArray[np.float64]

MOST_EVALUATIONS = 1000
"""Evaluations of the model that a fit may take. Fits of wires take 30 to 60, two populations of A15 255 (trials)."""

_LEAST_VARIANCE = 0.5  # counts; a point where the model expects nothing still scatters
_OUTLIER_SIGMAS = 6.0
_MASK_ROUNDS = 3
_TRIAL_ROUNDS = 40
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
    """

    def __init__(
        self, pattern: xr.DataArray, model: PatternModel, parameters: lmfit.Parameters, engine: Engine
    ) -> None:
        self.model, self.parameters, self.engine = model, parameters, engine
        self.two_theta = np.asarray(pattern["two_theta"].values, dtype=np.float64)
        self.observed = np.asarray(pattern.values, dtype=np.float64)
        self._counted = pattern.attrs.get("intensity_kind", "counts") == "counts"
        self._file_variance = np.asarray(pattern["variance"].values, dtype=np.float64)
        self.variance = (
            initial_variance(self.observed, model.time_factor) if self._counted else self._file_variance.copy()
        )
        self.used = np.ones(len(self.observed), dtype=bool)
        self.iterations = self.evaluations = 0
        self._counted_at: tuple[Hashable, Array] | None = None
        self._solved_at: tuple[Hashable, Array, NDArray[np.bool_], Solution] | None = None

    def values(self) -> dict[str, float]:
        """All parameter values as they stand."""
        return {name: float(p.value) for name, p in self.parameters.items()}

    def run(self, vary: Iterable[str], *, most_iterations: int = 40, tolerance: float = 1e-4) -> bool:
        """Fit the named parameters, hold all others; return whether the engine converged.

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
        root = np.where(self.used, 1.0 / np.sqrt(self.variance), 0.0)

        def residuals(point: Array) -> tuple[Array, Array]:
            self._spend()
            counts, jacobian = self.model.counts_with_jacobian(translation.values(point), translation.wanted)
            jacobian = translation.to_free(jacobian, point)
            return (counts - self.observed) * root, jacobian * root[:, None]

        minimum = self.engine(
            residuals,
            translation.start,
            translation.lower,
            translation.upper,
            tolerance=tolerance,
            most_iterations=most_iterations,
        )
        translation.store(minimum.point)
        self.iterations += minimum.iterations
        return minimum.converged

    def _spend(self) -> None:
        """Count an evaluation of the model against the budget."""
        self.evaluations += 1
        if self.evaluations > MOST_EVALUATIONS:
            raise FitError(
                f"fit: no minimum after {MOST_EVALUATIONS} evaluations of the model, so the phases asked for hardly "
                "describe this pattern; name those that are in it, or take a shorter range"
            )

    def trial(self, vary: Sequence[str]) -> tuple[dict[str, float], Solution, float]:
        """Values, solution and chi squared of a fit of other parameters; everything is put back afterwards."""
        before, iterations = self.values(), self.iterations
        free = [name for name, parameter in self.parameters.items() if parameter.vary]
        try:
            self.run(vary, most_iterations=_TRIAL_ROUNDS, tolerance=1e-3)
            return self.values(), self.solution()[0], self.chi_squared()
        finally:
            for name, parameter in self.parameters.items():
                if not parameter.expr:
                    parameter.set(value=before[name], vary=name in free)
            self.iterations = iterations

    def weighted_residual(self) -> Array:
        """Observed less calculated counts over their standard uncertainty, at all points."""
        return np.asarray((self.observed - self.counts()) / np.sqrt(self.variance))

    def counts(self) -> Array:
        """Calculated counts at the parameters as they stand; many questions are asked at one minimum."""
        here = self._here()
        if self._counted_at is None or self._counted_at[0] != here:
            self._counted_at = here, self.model.counts(self.values())
        return self._counted_at[1]

    def _here(self) -> Hashable:
        """Everything that the calculated counts hang on."""
        return tuple(self.values().items()), tuple((id(lines), lines.freezes) for lines in self.model.phases)

    def chi_squared(self) -> float:
        """Weighted sum of squared residuals over the points used."""
        return float(np.sum(self.weighted_residual()[self.used] ** 2))

    def mean_square(self) -> float:
        """Mean squared weighted residual of the points used: one for noise alone."""
        return self.chi_squared() / max(int(self.used.sum()), 1)

    def freeze(self) -> None:
        """Evaluate anew at the present lattices what the lines treat as constant."""
        values = self.values()
        for phase in self.model.phases:
            phase.freeze(tuple(values[name] for name in phase.length_names))

    def reweight(self) -> None:
        """Take the variance of counts from the fitted model instead of the observed counts."""
        if self._counted:
            self.variance = np.maximum(self.counts(), _LEAST_VARIANCE)

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
        if alone.sum() <= _LARGEST_MASKED_SHARE * len(alone):
            self.used = ~alone
        return int((~self.used).sum())

    def settle(self, vary: Sequence[str], *, tolerance: float = 1e-6) -> bool:
        """Last rounds: model weights, outliers out, constants at the final lattice, and the fit to its minimum."""
        converged = True
        masked = -1
        for _ in range(_MASK_ROUNDS):
            self.reweight()
            self.freeze()
            left_out = self.mask_outliers()
            if left_out == masked:
                break
            masked = left_out
            converged = self.run(vary, most_iterations=40, tolerance=tolerance)
        return converged

    def solution(self, held: Sequence[str] = ()) -> tuple[Solution, Array]:
        """Covariance at the minimum and weighted derivatives by some held parameters, shape (points used, held).

        A parameter that moves nothing, or rests at its bound, has no say: it is left out and listed in `idle`. The last
        solution is kept, as several ask for it at one minimum.
        """
        translation = ParameterMap(self.parameters)
        here = self._here(), translation.free, tuple(translation.lower), tuple(translation.upper)
        if not held and self._solved_at is not None:
            there, variance, used, solved = self._solved_at
            if there == here and variance is self.variance and used is self.used:
                return solved, np.zeros((len(solved.weighted_jacobian), 0))
        point = translation.start
        values = translation.values(point)
        wanted = (*translation.wanted, *held)
        _, jacobian = self.model.counts_with_jacobian(values, wanted)
        root = 1.0 / np.sqrt(self.variance)
        jacobian = (jacobian * root[:, None])[self.used]
        n = len(translation.wanted)
        by_free = translation.to_free(jacobian[:, :n], point)
        by_held = jacobian[:, n:]
        norms = np.linalg.norm(by_free, axis=0)
        span = np.where(
            np.isfinite(translation.upper - translation.lower), translation.upper - translation.lower, np.inf
        )
        margin = np.where(np.isfinite(span), 1e-9 * span, 0.0)
        at_bound = (point <= translation.lower + margin) | (point >= translation.upper - margin)
        lively = (norms > 0.0) & ~at_bound
        index = np.flatnonzero(lively)
        free = tuple(translation.free[k] for k in index)
        scaled = by_free[:, index] / norms[index]
        normal = scaled.T @ scaled
        try:
            inverse = cho_solve(cho_factor(normal), np.eye(len(index)))
        except np.linalg.LinAlgError as error:
            raise FitError(
                "fit: parameters cannot be told apart (singular covariance); ask for fewer phases or a longer range"
            ) from error
        covariance = inverse / np.outer(norms[index], norms[index])
        idle = tuple(name for name, ok in zip(translation.free, lively, strict=True) if not ok)
        solved = Solution(free, point[index], covariance, by_free[:, index], idle)
        self._solved_at = here, self.variance, self.used, solved
        return solved, by_held


def initial_variance(counts: Array, time_factor: Array) -> Array:
    """Variance to begin with: counts smoothed over five points, at least one.

    The observed counts themselves would pull the background down (points that happen to be low would weigh more).
    """
    rate = uniform_filter1d(counts / time_factor, 5, mode="nearest")
    return np.asarray(np.maximum(rate * time_factor, 1.0))
