"""What a treatment must also keep: copper that still conducts, niobium that is used up or left as a barrier.

Either a bound on temperature and time, from experience, or a limit on something measured on the samples that were
reacted; the response surface of the latter then tells how probably a treatment keeps it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from xrdorder.comparison import Values
from xrdorder.exceptions import StudyError
from xrdorder.planning.furnace import Space
from xrdorder.planning.gaussian_process import Process, fit
from xrdorder.quantities.formatting import digits
from xrdorder.treatments import History

Array = NDArray[np.float64]

LEAST_TREATMENTS = 3


class Constraint(Protocol):
    """Anything that tells how probably treatments are allowed."""

    def probability(self, treatments: Sequence[History]) -> Array:
        """Probability for each, shape (n,)."""

    @property
    def words(self) -> str:
        """The constraint in a few words."""


@dataclass(frozen=True)
class HoldBound:
    """No longer than so many hours at or above a temperature (copper takes up tin through the barrier).

    >>> from xrdorder.treatments import Schedule, Step
    >>> HoldBound(680, 50).probability([Schedule((Step(675, 100),)), Schedule((Step(700, 60),))]).tolist()
    [1.0, 0.0]
    """

    temperature_c: float
    hours: float

    def probability(self, treatments: Sequence[History]) -> Array:
        """One where the bound is kept, else zero."""
        return np.array([float(over <= 0.0) for over in self.excess_h(treatments)])

    def excess_h(self, treatments: Sequence[History]) -> Array:
        """Hours by which the bound is exceeded, negative where it is kept; ramps above the temperature count.

        >>> from xrdorder.treatments import Schedule, Step
        >>> HoldBound(680, 50).excess_h([Schedule((Step(700, 50, 100),))]).round(2).tolist()
        [0.2]
        """
        return np.array([one.time_above_h(self.temperature_c) - self.hours for one in treatments])

    @property
    def words(self) -> str:
        """The bound in a few words."""
        return f"at most {self.hours:g} h at or above {self.temperature_c:g} °C"


@dataclass(frozen=True, eq=False)
class MeasuredLimit:
    """A limit on a measured quantity, by its response surface.

    Attributes
    ----------
    name : str
    at_least, at_most : float or None
        The limits, in the unit of the quantity.
    space : Space
    process : Process
        Of the quantity, or of its logarithm.
    logarithmic : bool
    """

    name: str
    at_least: float | None
    at_most: float | None
    space: Space
    process: Process
    logarithmic: bool

    def probability(self, treatments: Sequence[History]) -> Array:
        """Probability that the limit is kept."""
        mean, variance = self.process.predict_each(self.space.coordinates(treatments))
        u = np.sqrt(np.maximum(variance, 1e-300))
        inside = np.ones(len(mean))
        for limit, sign in ((self.at_least, 1.0), (self.at_most, -1.0)):
            if limit is not None:
                at = np.log(limit) if self.logarithmic else limit
                inside -= norm.cdf(sign * (at - mean) / u)
        return np.clip(inside, 0.0, 1.0)

    @property
    def words(self) -> str:
        """The limit in a few words."""
        parts = [("at least", self.at_least), ("at most", self.at_most)]
        return f"{self.name} " + " and ".join(f"{word} {x:g}" for word, x in parts if x is not None)


def measured_limit(
    name: str,
    values: Values,
    treatments: Sequence[History],
    space: Space,
    *,
    at_least: float | None = None,
    at_most: float | None = None,
    repeatability: float = 0.0,
    logarithmic: bool = False,
    seed: int = 0,
) -> MeasuredLimit:
    """Make a constraint of measured values.

    Parameters
    ----------
    name : str
        For words: "residual resistivity ratio of the copper".
    values : Values
    treatments : sequence of History
        Of the samples of `values`.
    space : Space
    at_least, at_most : float, optional
    repeatability : float
        Scatter between equal wires, in the unit of the quantity.
    logarithmic : bool
        Work on the logarithm, as for a resistivity ratio, which falls by factors.
    seed : int

    Raises
    ------
    StudyError
        No limit, too few treatments to draw a surface, or a logarithm of what is not above zero.
    """
    if at_least is None and at_most is None:
        raise StudyError(f"{name}: has no limit; give at_least or at_most")
    x = space.coordinates(treatments)
    distinct = len(np.unique(np.round(x, 9), axis=0)) if len(x) else 0
    if distinct < LEAST_TREATMENTS:
        raise StudyError(
            f"{name}: was measured after {distinct} different treatment(s), too few to tell others; measure "
            f"{LEAST_TREATMENTS} or more, or give a bound on temperature and time"
        )
    value, covariance = values.value, values.covariance(repeatability)
    if logarithmic:
        if np.any(value <= 0.0) or min(x for x in (at_least, at_most) if x is not None) <= 0.0:
            raise StudyError(f"{name}: a value or limit is not above zero, its logarithm does not exist")
        covariance = covariance / np.outer(value, value)
        value = np.log(value)
    process = fit(x, value, covariance, seed, widths=space.widths(treatments))
    return MeasuredLimit(name, at_least, at_most, space, process, logarithmic)


def nearest_miss(constraint: Constraint, treatments: Sequence[History], label: Callable[[History], str]) -> str:
    """Say which treatment misses a bound by least; nothing where one keeps it or it is no bound on hours."""
    if not isinstance(constraint, HoldBound):
        return ""
    over = constraint.excess_h(treatments)
    k = int(np.argmin(over))
    if over[k] <= 0.0:
        return ""
    return f"; {label(treatments[k])} misses it by least, {digits(over[k], 2)} h, ramps counted"


def allowed(constraints: Sequence[Constraint], treatments: Sequence[History]) -> Array:
    """Probability that all constraints are kept, taken as independent, shape (n,)."""
    found = np.ones(len(treatments))
    for one in constraints:
        found = found * one.probability(treatments)
    return found
