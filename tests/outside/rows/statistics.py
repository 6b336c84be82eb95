"""Least squares against certified answers, propagation of uncertainty against a library."""

from functools import cache

import numpy as np
from uncertainties import correlated_values
from uncertainties.umath import exp, sin

from tests.outside.reference_sets import MODELS, reference_set
from tests.outside.rows import Row
from xrdorder.least_squares.engines import engine
from xrdorder.uncertainty import Contributions

_NIST = "NIST/ITL, Statistical Reference Datasets, nonlinear regression, near start; certified in 500-bit arithmetic"
_LONG = (
    "MGH10",
    "MGH17",
    "Bennett5",
)  # hundreds of steps along bent valleys: tests/outside/test_reference_sets.py has them


@cache
def largest_distance(name: str) -> float:
    """Largest distance of a parameter of a NIST set from its certified value, in certified standard deviations."""
    data = reference_set(name)
    bound = np.full(len(data.certified), np.inf)
    tolerance = max(1e-10, rounding(name))
    with np.errstate(all="ignore"):
        found = engine("own")(
            data.residuals, data.starts[1], -bound, bound, tolerance=tolerance, most_iterations=2000
        )
    return float(np.max(np.abs(found.point - data.certified) / data.u_certified))


def rounding(name: str) -> float:
    """What rounding of the model values does to chi squared at the minimum: twice the sum of |residual| times it."""
    data = reference_set(name)
    return 2.0 * len(data.y) * float(np.abs(data.y).max()) * np.finfo(float).eps / data.scatter


@cache
def largest_difference_of_propagation(cases: int = 200) -> float:
    """Largest relative difference of u of a function of three correlated quantities from the library's."""
    rng, worst = np.random.default_rng(5), 0.0
    for _ in range(cases):
        values, factor = rng.uniform(0.5, 2.0, 3), rng.normal(0.0, 0.01, (3, 5))
        a, b, c = correlated_values(values, factor @ factor.T)
        theirs = (a * exp(-b) + sin(c) / a).std_dev
        x, y, z = values
        gradient = {"a": np.exp(-y) - np.sin(z) / x**2, "b": -x * np.exp(-y), "c": np.cos(z) / x}
        table = Contributions(tuple("abc"), tuple(f"source {k}" for k in range(5)), factor, ("",) * 5)
        worst = max(worst, abs(table.extend("f", gradient).total("f") / theirs - 1.0))
    return worst


ROWS = [
    *(
        Row(
            f"parameters of {name}, largest distance from the certified ones in their standard deviations",
            "",
            lambda name=name: largest_distance(name),
            0.0,
            np.sqrt(max(1e-10, rounding(name))),
            "steps end where chi squared would drop by 1e-10, which is 1e-5 standard deviations, or by its rounding",
            _NIST,
            "read",
        )
        for name in MODELS
        if name not in _LONG
    ),
    Row(
        "u of a function of three correlated quantities, largest relative difference in 200 cases",
        "",
        largest_difference_of_propagation,
        0.0,
        1e-8,
        "the library's eigenvalues of a covariance of rank three carry 1e-9",
        "uncertainties (E. O. Lebigot), correlated_values",
        "computed",
    ),
]
