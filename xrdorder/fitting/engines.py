"""Least-squares engines of one signature: weighted residuals and Jacobian in, minimum out.

``own`` is a bounded Levenberg-Marquardt on the normal equations, ``scipy`` is `scipy.optimize.least_squares`; a test
holds them to the same answer. The normal equations square the condition number; with Chebyshev terms and Marquardt's
scaling that cost nothing in trials, and saved the third of the time that a decomposition of the tall Jacobian takes.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import least_squares

from xrdorder.exceptions import FitError, UnknownNameError

Array = NDArray[np.float64]
Residuals = Callable[[Array], tuple[Array, Array]]
"""Parameters (n,) to weighted residuals (points,) and their Jacobian (points, n)."""


@dataclass(frozen=True)
class Minimum:
    """Where an engine ended.

    Attributes
    ----------
    point
        Parameters, shape (n,).
    chi2
        Sum of squared residuals.
    iterations
        Evaluations of the Jacobian.
    converged
        False when the iterations ran out first.
    """

    point: Array
    chi2: float
    iterations: int
    converged: bool


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
    ) -> Minimum:
        """Minimise the sum of squares; `tolerance` is the drop of chi2 below which a step counts as none."""


def own(
    residuals: Residuals,
    start: Array,
    lower: Array,
    upper: Array,
    *,
    tolerance: float = 1e-4,
    most_iterations: int = 60,
) -> Minimum:
    """Bounded Levenberg-Marquardt with analytic Jacobian (see `Engine`).

    A parameter at its bound whose gradient points outward rests for the step; one that would pass its bound stops there
    and the others are solved for anew, for a step that is merely cut off may lead uphill. A change of chi2 by one is a
    shift by one standard uncertainty, so the tolerance is a statement about the answer, not about the machine.
    """
    point = np.clip(start, lower, upper)
    r, jacobian = residuals(point)
    chi2 = float(r @ r)
    if not np.isfinite(chi2):
        raise FitError(
            "fit: the start values give no finite pattern; check wavelength, phases and angle range"
        )
    damping = 1e-3
    for iteration in range(1, most_iterations + 1):
        gradient, hessian = jacobian.T @ r, jacobian.T @ jacobian
        resting = ((point <= lower) & (gradient > 0.0)) | ((point >= upper) & (gradient < 0.0))
        resting |= np.diag(hessian) <= 0.0
        if resting.all():
            return Minimum(point, chi2, iteration, True)
        while True:
            step = _boxed_step(hessian, gradient, damping, lower - point, upper - point, ~resting)
            trial = np.clip(point + step, lower, upper)
            promised = -float(2.0 * gradient @ step + step @ hessian @ step)
            # nearly every trial is accepted: its Jacobian is asked for at once, which costs less than residuals twice
            trial_r, trial_jacobian = residuals(trial)
            gained = chi2 - float(trial_r @ trial_r)
            if gained > 0.0 and gained > 1e-4 * promised:
                break
            if promised < tolerance or damping > 1e10:
                return Minimum(point, chi2, iteration, bool(promised < tolerance))
            damping *= 8.0
        point, r, jacobian = trial, trial_r, trial_jacobian
        chi2 -= gained
        done = gained < tolerance and promised < tolerance
        damping = max(damping * (0.1 if gained > 0.5 * promised else 0.7), 1e-12)
        if done:
            return Minimum(point, chi2, iteration, True)
    return Minimum(point, chi2, most_iterations, False)


def _boxed_step(
    hessian: Array, gradient: Array, damping: float, lowest: Array, highest: Array, moving: NDArray[np.bool_]
) -> Array:
    """Damped Gauss-Newton step inside the box lowest <= step <= highest for the parameters that move."""
    step = np.zeros_like(gradient)
    moving = moving.copy()
    while moving.any():
        index = np.flatnonzero(moving)
        scale = np.sqrt(np.diag(hessian)[index])
        scaled = hessian[np.ix_(index, index)] / np.outer(scale, scale) + damping * np.eye(len(index))
        pull = gradient[index] + hessian[index] @ np.where(moving, 0.0, step)
        solved = -cho_solve(cho_factor(scaled, check_finite=False), pull / scale, check_finite=False) / scale
        beyond = (solved < lowest[index]) | (solved > highest[index])
        step[index] = np.clip(solved, lowest[index], highest[index])
        if not beyond.any():
            break
        moving[index[beyond]] = False
    return step


def scipy_trf(
    residuals: Residuals,
    start: Array,
    lower: Array,
    upper: Array,
    *,
    tolerance: float = 1e-4,
    most_iterations: int = 60,
) -> Minimum:
    """`scipy.optimize.least_squares`, trust region reflective (see `Engine`)."""
    # scipy starts strictly inside the bounds only
    inside = np.minimum(np.maximum(start, np.nextafter(lower, np.inf)), np.nextafter(upper, -np.inf))
    last: list[tuple[bytes, tuple[Array, Array]]] = [(b"", residuals(inside))]

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
    return Minimum(solution.x, float(2.0 * solution.cost), int(solution.njev), bool(solution.status > 0))


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
