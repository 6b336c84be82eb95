"""How many wires, counted how long, to see a difference between two treatments?

Means of n wires of each treatment are compared by Student's t. The scatter of a wire about its treatment is s, what
counting and measuring leave of each wire is u; the mean of a difference scatters by sqrt(2 (s² + u²) / n). The power
is that of the noncentral t distribution with 2 (n - 1) degrees of freedom, and those that replicates so far
add (J. Cohen, Statistical Power Analysis for the Behavioral Sciences (1988), ch. 2; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from xrdorder.exceptions import ValidityError
from xrdorder.scan_planning.forecast import Course

MOST_WIRES = 60
"""Of each treatment; beyond it nobody plans (judged)."""

_TIMES = np.geomspace(1.0 / 64.0, 64.0, 49)
"""Lengths of scans that are tried, over that of the plan: factors of 2 to the quarter."""

MEASURABLE = ("Tc_K", "Bc2_0K_T", "Ic")
BY_X_RAYS = ("a_nm", "site_order", "tin_fraction", "domain_size_nm", "Tc_K", "Bc2_0K_T")


@dataclass(frozen=True)
class Costs:
    """What things cost, in any one unit.

    Attributes
    ----------
    wire : float
        Of a reacted and prepared wire.
    hour : float
        Of an hour of scanning.
    measured : float
        Of measuring Tc, Bc2 or Ic of a wire.
    """

    wire: float = 1.0
    hour: float = 1.0
    measured: float = 1.0

    def __post_init__(self) -> None:
        for name in ("wire", "hour", "measured"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValidityError(f"cost of {name} is {getattr(self, name):g}; give a number of zero or more")


@dataclass(frozen=True)
class Mix:
    """A way to see the difference.

    Attributes
    ----------
    by : str
        "scans", "measured" or "scans and measured".
    wires : int
        Of each treatment.
    seconds : float
        Of a scan of each wire; 0 without.
    cost, power : float
    u : float
        Standard uncertainty of the difference of the means.
    """

    by: str
    wires: int
    seconds: float
    cost: float
    power: float
    u: float


def power_of(difference: float, u_wire: float, wires: int, *, alpha: float = 0.05, known: int = 0) -> float:
    """Probability that a two-sided test finds a difference.

    Parameters
    ----------
    difference
        True difference of the two treatments.
    u_wire
        Standard deviation of what is found for a wire about the mean of its treatment.
    wires
        Of each treatment.
    alpha
        Probability of a false finding.
    known
        Degrees of freedom by which the scatter is known beside.

    Examples
    --------
    The textbook's: an effect of 0.8 standard deviations takes 26 of each for a power of 0.8.

    >>> round(power_of(0.8, 1.0, 26), 3), round(power_of(0.8, 1.0, 25), 3)
    (0.807, 0.791)
    """
    from scipy.stats import nct, t

    freedom = 2 * (wires - 1) + known
    if freedom < 1:
        return 0.0
    if u_wire <= 0.0:
        return 1.0 if difference else alpha
    away = abs(difference) / (u_wire * math.sqrt(2.0 / wires))
    critical = float(t.isf(alpha / 2.0, freedom))
    beyond = float(nct.sf(critical, freedom, away))
    below = float(nct.cdf(-critical, freedom, away))
    # far out the noncentral t of scipy gives NaN where it is one
    return min(beyond + (below if math.isfinite(below) else 0.0), 1.0) if math.isfinite(beyond) else 1.0


def wires_for(
    difference: float, u_wire: float, *, power: float = 0.8, alpha: float = 0.05, known: int = 0
) -> int | None:
    """Least number of wires of each treatment; None beyond `MOST_WIRES`.

    >>> wires_for(0.8, 1.0)
    26
    """
    if power_of(difference, u_wire, MOST_WIRES, alpha=alpha, known=known) < power:
        return None
    return next(n for n in range(1, MOST_WIRES + 1)
                if power_of(difference, u_wire, n, alpha=alpha, known=known) >= power)  # fmt: skip


def cheapest(
    difference: float,
    scatter: float,
    course: Course | None,
    seconds: float,
    costs: Costs,
    *,
    u_measured: float | None = None,
    power: float = 0.8,
    alpha: float = 0.05,
    known: int = 0,
) -> list[Mix]:
    """Ways to see a difference, cheapest first; each the cheapest of its kind.

    Parameters
    ----------
    difference
        Between the means of two treatments.
    scatter
        Standard deviation of wires about their treatment.
    course
        Of the difference of two wires by scans (`Forecast.difference`); None where X-rays do not tell the quantity.
    seconds
        Length of the scan that was planned; from a 64th of it to 64 times it is tried.
    costs
    u_measured
        Standard uncertainty of a measured value; None where nothing is measured.
    power, alpha, known
        As for `power_of`.
    """
    designs = []
    times: Mapping[str, Sequence[float]] = {
        "scans": [seconds * float(x) for x in _TIMES] if course is not None else [],
        "measured": [0.0] if u_measured is not None else [],
        "scans and measured": [seconds * float(x) for x in _TIMES] if course is not None and u_measured else [],
    }
    for by, tried in times.items():
        mixes = [
            mix
            for long in tried
            if (mix := _mix(by, long, difference, scatter, course, costs, u_measured, power, alpha, known)) is not None
        ]
        if mixes:
            designs.append(min(mixes, key=lambda mix: (mix.cost, mix.wires)))
    return sorted(designs, key=lambda mix: mix.cost)


def _mix(
    by: str, seconds: float, difference: float, scatter: float, course: Course | None, costs: Costs,
    u_measured: float | None, power: float, alpha: float, known: int,
) -> Mix | None:  # fmt: skip
    weights = []
    if by != "measured" and course is not None:
        weights.append(2.0 / max(course.u(seconds) ** 2, 1e-300))  # of one wire: half of the difference
    if by != "scans" and u_measured is not None:
        weights.append(1.0 / max(u_measured**2, 1e-300))
    u_wire = math.sqrt(scatter**2 + 1.0 / sum(weights))
    wires = wires_for(difference, u_wire, power=power, alpha=alpha, known=known)
    if wires is None:
        return None
    each = costs.wire + costs.hour * seconds / 3600.0 + (costs.measured if by != "scans" else 0.0)
    reached = power_of(difference, u_wire, wires, alpha=alpha, known=known)
    return Mix(by, wires, seconds, 2.0 * wires * each, reached, u_wire * math.sqrt(2.0 / wires))
