"""Least-squares engines of one signature: weighted residuals and Jacobian in, minimum out.

``own`` is a bounded Levenberg-Marquardt on the normal equations, damped by the largest curvature met so far (J. J.
Moré, Lecture Notes in Mathematics 630 (1978) 105, from memory); ``scipy`` is `scipy.optimize.least_squares`. Tests hold
them to the same answer and to certified ones. The normal equations square the condition number; with Chebyshev terms
and this scaling that cost nothing in trials, and saved the third of the time that a decomposition of the tall Jacobian
takes.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv
from scipy.optimize import least_squares

from xrdorder.exceptions import FitError, UnknownNameError

Array = NDArray[np.float64]
# Damping in units of the largest curvature met: to begin with, none where `reach` keeps steps short; there, after a
# step that was refused all the same. It is taken off step by step: at once would mean one refusal after another.
_EARLY_DAMPING, _REFUSED_DAMPING = 1e-3, 1e-2
_LEAST_DAMPING, _MOST_DAMPING = 1e-12, 1e10
_FELT = 1e-12  # share of the steepest slope met, below which rounding hides what a parameter does

Residuals = Callable[[Array], tuple[Array, Array]]
"""Parameters (n,) to weighted residuals (points,) and their Jacobian (points, n)."""


class Following(Protocol):
    """Residuals whose weights, and what else follows the point, are taken anew from every point that is accepted."""

    def alone(self, point: Array) -> Array:
        """Weighted residuals without their Jacobian, as at a trial, which nothing follows."""

    def renewed(self, point: Array) -> tuple[Array, Array]:
        """Residuals and Jacobian at a point that was accepted, after all that follows it has done so."""


_SETTLED_ROUNDS = 10


@dataclass(frozen=True)
class Minimum:
    """Where an engine ended.

    Attributes
    ----------
    point
        Parameters, shape (n,).
    chi2
        Sum of squared residuals.
    converged
        False when the iterations ran out first, or when it ended where there is no minimum.
    credit
        What a last step promises of the sum of squares that was taken without evaluating it.
    """

    point: Array
    chi2: float
    converged: bool
    credit: float = 0.0


class Engine(Protocol):
    """Signature of all engines."""

    def __call__(
        self,
        residuals: Residuals,
        start: Array,
        lower: Array,
        upper: Array,
        *,
        tolerance: float,
        most_iterations: int,
        reach: Array | None = None,
        following: Following | None = None,
    ) -> Minimum:
        """Minimise the sum of squares.

        Parameters
        ----------
        residuals, start, lower, upper
            What is minimised, where to begin, and bounds.
        tolerance
            Drop of the sum of squares below which a step is the last.
        most_iterations
            Evaluations of the Jacobian.
        reach
            Farthest that each parameter may go in one step, shape (n,).
        following
            The same, weights and constants following from step to step: the end is then the minimum by its own weights.
        """


def own(
    residuals: Residuals,
    start: Array,
    lower: Array,
    upper: Array,
    *,
    tolerance: float = 1e-4,
    most_iterations: int = 60,
    reach: Array | None = None,
    following: Following | None = None,
) -> Minimum:
    """Bounded Levenberg-Marquardt with analytic Jacobian (see `Engine`).

    A parameter at its bound whose gradient points outward rests for the step; one that would pass its bound stops there
    and the others are solved for anew, for a step that is merely cut off may lead uphill. A change of chi2 by one is a
    shift by one standard uncertainty, so the tolerance is a statement about the answer, not about the machine. A step
    that promises less is taken on credit where `reach` is given: the linear model keeps so small a promise.
    """
    point = np.clip(start, lower, upper)
    accepted = residuals if following is None else following.renewed
    r, jacobian = accepted(point)
    chi2 = float(r @ r)
    if not np.isfinite(chi2):
        raise FitError("fit: the start values give no finite pattern; check wavelength, phases and angle range")
    steepest = np.zeros_like(point)
    farthest = np.full_like(point, np.inf) if reach is None else reach
    limited = 0.0, _REFUSED_DAMPING, tolerance
    damping, refused, credit = (_EARLY_DAMPING, 0.0, 0.0) if reach is None else limited
    for _ in range(most_iterations):
        slope = _Slope(r, jacobian, point, lower, upper, farthest)
        steepest = np.maximum(steepest, slope.curvature)
        lost = slope.lost(steepest)
        if slope.resting.all():
            return Minimum(point, chi2, not lost)
        moved = following is not None  # constants followed the last step, and the sum here with them
        while True:
            step, promised = slope.step(damping * steepest)
            # a short step promises little wherever it is: what an undamped one would gain decides
            if 0.0 <= promised < credit and slope.ends(tolerance):
                return Minimum(_moved(point, step, lower, upper), chi2 - promised, not lost, promised)
            if promised > 0.0:
                trial = _moved(point, step, lower, upper)
                trial_r = residuals(trial)[0] if following is None else following.alone(trial)
                gained = chi2 - float(trial_r @ trial_r)
                if gained > 0.0 and gained > 1e-4 * promised:
                    break
            if moved:
                moved = False
                r, jacobian = accepted(point)
                chi2, slope = float(r @ r), _Slope(r, jacobian, point, lower, upper, farthest)
            elif damping > _MOST_DAMPING or 0.0 <= promised < tolerance:
                return Minimum(point, chi2, slope.ends(tolerance) and not lost)
            else:
                damping = max(8.0 * damping, refused)
        point = trial
        r, jacobian = accepted(point)
        chi2 = float(r @ r)
        if gained < tolerance and promised < tolerance and slope.ends(tolerance):
            return Minimum(point, chi2, not lost)
        damping = max(damping * (0.1 if gained > 0.5 * promised else 0.7), _LEAST_DAMPING)
    return Minimum(point, chi2, False)


def _moved(point: Array, step: Array, lower: Array, upper: Array) -> Array:
    """Where a step leads: one that ends at a bound to the bound itself, which rounding would miss by a digit."""
    there = np.where(step <= lower - point, lower, point + step)
    return np.where(step >= upper - point, upper, there)


class _Slope:
    """Gradient and curvature of chi2 at one point, and the way down from it inside a box.

    Parameters
    ----------
    r, jacobian
        Residuals and Jacobian.
    point, lower, upper
        Where they are, and bounds, shape (n,).
    farthest
        Longest step of each parameter, shape (n,).
    """

    def __init__(
        self, r: Array, jacobian: Array, point: Array, lower: Array, upper: Array, farthest: Array | float
    ) -> None:
        # half of those of chi2, shapes (n,) and (n, n); the box of steps that are allowed
        self._farthest = farthest
        self.gradient, self.hessian = jacobian.T @ r, jacobian.T @ jacobian
        self.lowest, self.highest = np.maximum(lower - point, -farthest), np.minimum(upper - point, farthest)
        self.curvature = np.diag(self.hessian)
        outward = ((self.lowest >= 0.0) & (self.gradient > 0.0)) | ((self.highest <= 0.0) & (self.gradient < 0.0))
        self._at_bound = outward
        self._undamped: tuple[Array, float] | None = None
        self.resting = self._at_bound | (self.curvature <= 0.0)

    def lost(self, steepest: Array) -> bool:
        """Tell whether a parameter has run off to where nothing is felt of it any more: an end, but no minimum.

        Where another rests at its bound it may have reason to: lines have no place once their amount is zero.
        """
        return bool(np.any(self.curvature < _FELT**2 * steepest)) and not np.any(self._at_bound)

    def step(self, ridge: Array) -> tuple[Array, float]:
        """Gauss-Newton step, its curvature raised by a ridge (n,), and by how much chi2 should drop."""
        undamped = not ridge.any()
        if undamped and self._undamped is not None:
            return self._undamped
        step = np.zeros_like(self.gradient)
        moving = ~self.resting
        while moving.any():
            index = np.flatnonzero(moving)
            scale = np.sqrt(self.curvature[index])
            scaled = self.hessian[np.ix_(index, index)] / np.outer(scale, scale)
            scaled[np.diag_indices(len(index))] += ridge[index] / self.curvature[index]
            pull = self.gradient[index] + self.hessian[index] @ np.where(moving, 0.0, step)
            solved = -_solved(scaled, pull / scale) / scale
            beyond = (solved < self.lowest[index]) | (solved > self.highest[index])
            step[index] = np.clip(solved, self.lowest[index], self.highest[index])
            if not beyond.any():
                break
            moving[index[beyond]] = False
        promised = -float(2.0 * self.gradient @ step + step @ self.hessian @ step)
        if undamped:
            self._undamped = step, promised
        return step, promised

    def ends(self, tolerance: float) -> bool:
        """Tell whether an undamped step, no part of it cut short, promises less than this."""
        step, promised = self.step(np.zeros_like(self.gradient))
        return bool(0.0 <= promised < tolerance and np.all(np.abs(step) < self._farthest))


def compressed(r: Array, jacobian: Array) -> tuple[Array, Array]:
    """Residuals and Jacobian as few as there are parameters, of the same gradient and curvature.

    What no parameter can change of the sum of squares is left out.
    """
    normal, pull = jacobian.T @ jacobian, jacobian.T @ r
    norms = np.sqrt(np.diag(normal))
    norms[norms == 0.0] = 1.0
    size, direction = np.linalg.eigh(normal / np.outer(norms, norms))
    felt = size > _FELT * size[-1]
    root, direction = np.sqrt(size[felt]), direction[:, felt]
    return direction.T @ (pull / norms) / root, root[:, None] * direction.T * norms


def _solved(matrix: Array, right: Array) -> Array:
    """Solve a system of unit diagonal; where columns cannot be told apart, the shortest solution."""
    _, solved, failed = dposv(matrix, right)
    return np.asarray(np.linalg.lstsq(matrix, right, rcond=None)[0] if failed else solved)


def scipy_trf(
    residuals: Residuals,
    start: Array,
    lower: Array,
    upper: Array,
    *,
    tolerance: float = 1e-4,
    most_iterations: int = 60,
    reach: Array | None = None,
    following: Following | None = None,
) -> Minimum:
    """`scipy.optimize.least_squares`, trust region reflective (see `Engine`).

    Its steps have a region of trust of their own, so `reach` is left alone; weights follow the point from one run of it
    to the next until nothing is left to gain.
    """
    for _ in range(_SETTLED_ROUNDS):
        if following is not None:
            following.renewed(start)
        minimum = _trf(residuals, start, lower, upper, tolerance, most_iterations)
        start = minimum.point
        if following is None:
            break
        r, jacobian = following.renewed(start)
        if _Slope(r, jacobian, start, lower, upper, np.inf).ends(tolerance):
            break
    return minimum


def _trf(
    residuals: Residuals, start: Array, lower: Array, upper: Array, tolerance: float, most_iterations: int
) -> Minimum:
    # scipy starts strictly inside the bounds only
    inside = np.minimum(np.maximum(start, np.nextafter(lower, np.inf)), np.nextafter(upper, -np.inf))
    last: list[tuple[bytes, tuple[Array, Array]]] = [(inside.tobytes(), residuals(inside))]

    def evaluated(p: Array) -> tuple[Array, Array]:
        if last[0][0] != p.tobytes():
            last[0] = p.tobytes(), residuals(p)
        return last[0][1]

    solution = least_squares(
        lambda p: evaluated(p)[0],
        inside,
        jac=lambda p: evaluated(p)[1],
        bounds=(lower, upper),
        x_scale="jac",
        ftol=max(tolerance / max(float(np.sum(last[0][1][0] ** 2)), 1.0), 1e-15),
        xtol=1e-15,
        gtol=1e-15,
        max_nfev=4 * most_iterations,
    )
    return Minimum(solution.x, float(2.0 * solution.cost), bool(solution.status > 0))


ENGINES: dict[str, Engine] = {"own": own, "scipy": scipy_trf}


def engine(name: str) -> Engine:
    """Return an engine by name.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    if name not in ENGINES:
        raise UnknownNameError(f"engine '{name}' is not known; choose one of {', '.join(ENGINES)}")
    return ENGINES[name]
