"""Fit a pattern from where the fit of one much like it ended: the next frame of a series.

What is in the model, and which parameters are free, stays as it is; a first step is taken by the derivatives of the
neighbour and costs no evaluation of the model. Whoever calls this asks `Refitted.follows` whether the answer can be
used, and fits from the beginning where it cannot.
"""

from dataclasses import dataclass

import xarray as xr

from xrdorder.fitting.procedure import Procedure
from xrdorder.least_squares.refinement import Solution

_TOLERANCE = 3e-3  # of chi squared that a last step promises; it is taken, and a thirtieth is left: 0.01 u
_MOST_EVALUATIONS = 12
_WORSE = 1.5  # times the mean square of the neighbour's residuals: what was in the model then no longer describes it


@dataclass(frozen=True)
class Refitted:
    """A pattern fitted from its neighbour.

    Attributes
    ----------
    values, solution
        All parameters; free ones with their covariance from counting.
    mean_square
        Of the weighted residuals: one for noise alone.
    evaluations
        Of the model with its derivatives.
    follows
        Whether the minimum was reached and describes the pattern about as well as the neighbour's its own.
    """

    values: dict[str, float]
    solution: Solution
    mean_square: float
    evaluations: int
    follows: bool


def fit_from_neighbour(job: Procedure, pattern: xr.DataArray) -> Refitted:
    """Fit a pattern with the model, and from the minimum, of another one.

    Parameters
    ----------
    job
        At its minimum; it takes over the new pattern and ends at the new minimum.
    pattern
        At the same angles.

    Raises
    ------
    FitError
        The angles are others.
    """
    fit = job.fit
    before, evaluations = fit.reached / max(int(fit.used.sum()), 1), fit.evaluations
    fit.observe(pattern)
    job.pattern = pattern
    free = [name for name, parameter in fit.parameters.items() if parameter.vary]
    converged = fit.run(free, tolerance=_TOLERANCE, most_iterations=_MOST_EVALUATIONS, follow=True)
    mean_square = fit.reached / max(int(fit.used.sum()), 1)
    solution, _ = fit.solution()
    follows = converged and not mean_square > _WORSE * max(before, 1.0)
    return Refitted(fit.values(), solution, mean_square, fit.evaluations - evaluations, follows)
