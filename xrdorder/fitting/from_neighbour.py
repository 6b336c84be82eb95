"""Fit a pattern from where the fit of one much like it ended: the next frame of a series.

What is in the model stays as it is; a first step is taken by the derivatives of the neighbour and costs no evaluation
of the model. Whoever calls this asks `Refitted.follows` whether the answer can be used, and fits from the beginning
where it cannot.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import xarray as xr

from xrdorder.fitting.procedure import Procedure

_TOLERANCE = 3e-3  # of what a last step promises; it is taken, and 95 of 100 frames end within 0.01 u of their minimum
_MOST_EVALUATIONS = 12  # what needs more has another minimum to look for
_WORSE_SIGMAS = 5.0  # standard deviations of a mean square by which a pattern may be worse described than its neighbour


@dataclass(frozen=True)
class Refitted:
    """A pattern fitted from its neighbour.

    Attributes
    ----------
    mean_square
        Of the weighted residuals: one for noise alone.
    evaluations
        Of the model with its derivatives, the last by every parameter of what is in the pattern.
    follows
        Whether the minimum was reached and describes the pattern as well as the neighbour's its own, within what
        chance does to it.
    """

    mean_square: float
    evaluations: int
    follows: bool


def fit_from_neighbour(
    job: Procedure,
    pattern: xr.DataArray,
    *,
    start: Mapping[str, float] | None = None,
    held: Mapping[str, float] | None = None,
) -> Refitted:
    """Fit a pattern with the model, and from the minimum, of another one.

    Parameters
    ----------
    job
        At its minimum; it takes over the new pattern and ends at the new minimum.
    pattern
        At the same angles.
    start
        Values from which to begin, where they are not those of the neighbour.
    held
        Values at which parameters rest that this pattern cannot decide; those of the neighbour unless told.

    Raises
    ------
    FitError
        The angles are others, or no minimum is found with the evaluations a fit may take.
    """
    fit = job.fit
    before, evaluations = fit.reached / max(int(fit.used.sum()), 1), fit.evaluations
    fit.observe(pattern)
    job.pattern = pattern
    fit.carry(start or {})
    free = job.decidable()
    fit.carry({name: value for name, value in (held or {}).items() if name not in free})
    job.converged = fit.settle(free, tolerance=_TOLERANCE, most_iterations=_MOST_EVALUATIONS)
    points = max(int(fit.used.sum()), 1)
    mean_square = fit.reached / points
    limit = before * (1.0 + _WORSE_SIGMAS * math.sqrt(2.0 / points))
    return Refitted(mean_square, fit.evaluations - evaluations, job.converged and not mean_square > limit)
