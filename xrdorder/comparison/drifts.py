"""Did something drift along a spool, or over dates, inside variants that should be alike?

A drift is looked for by the scatter that its own line leaves: what replicates show holds the drift itself and would
hide it. Every quantity is tried over every order the samples have, so Holm's rule corrects for all lines of a study
together: without any drift at most 5 studies in 100 tell one (`tests/benchmarks/false_verdicts.py`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from xrdorder.comparison.differences import LEVEL
from xrdorder.comparison.multiple_comparisons import holm
from xrdorder.comparison.quantity_draws import Values
from xrdorder.comparison.replicates import NONE, Repeatability, indicator
from xrdorder.comparison.trends import slope_test

Array = NDArray[np.float64]

ORDERS = ("position", "date")
"""Variables of the results over which a drift is looked for."""


@dataclass(frozen=True)
class Drift:
    """A course over an ordering variable inside variants: along a spool, over dates.

    Attributes
    ----------
    quantity, variable : str
    slope, u_slope : float
    change, u_change : float
        Over the whole span of the variable.
    p, p_adjusted : float
        Probability of such a slope by chance; after correction for all lines that were tried.
    distinguishable : bool
    """

    quantity: str
    variable: str
    slope: float
    u_slope: float
    change: float
    u_change: float
    p: float
    p_adjusted: float
    distinguishable: bool


def drift(
    values: Values, order: ArrayLike, variants: Sequence[str], variable: str, known: Repeatability = NONE
) -> Drift | None:
    """Ask for a common course over an ordering variable inside variants.

    Parameters
    ----------
    values : Values
    order : array, (n,)
        Position along a spool, or date as a number; NaN leaves the sample out.
    variants : sequence of str
        Samples with one label are equal but for the drift.
    variable : str
    known : Repeatability
        Scatter between wires from elsewhere, on the scale of `Values.on_scale`. It
        serves only where no degree of freedom is left about the line:
        replicates that drift contain the drift.

    Returns
    -------
    Drift or None
        None where the order does not vary inside any variant, or nothing is left to judge it by.
    """
    place = np.asarray(order, dtype=float)
    given = np.isfinite(place) & np.array([bool(variant) for variant in variants], dtype=bool)
    some, place = values.select(given).on_scale(), place[given]
    if not len(some):
        return None
    belongs = indicator([label for label, each in zip(variants, given, strict=True) if each])[1]
    span = float(np.ptp(place))
    means = (belongs / np.sum(belongs, axis=0)).T @ place
    inside = place - belongs @ means
    if span == 0.0 or np.max(np.abs(inside)) < 1e-9 * span:
        return None
    design = np.column_stack([belongs, inside / span])
    if len(some) <= design.shape[1] and known.degrees_of_freedom == 0 and not np.any(some.own > 0.0):
        return None
    parameters, shared, own, _, p = slope_test(some, design, known, about_first=True)
    # of a logarithm to first order: times the geometric mean
    of_one = float(np.exp(np.mean(some.value))) if values.by_logarithm else 1.0
    change = of_one * float(parameters[-1])
    u = of_one * float(np.sqrt(np.sum(shared[-1] ** 2) + own[-1, -1]))
    return Drift(values.quantity, variable, change / span, u / span, change, u, p, p, p < LEVEL)


def drifts(
    results: xr.Dataset, wires: Iterable[tuple[Values, Sequence[str], Repeatability]], orders: Sequence[str] = ORDERS
) -> list[Drift]:
    """Look for drifts of all quantities over all orders of a study, corrected for their number.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    wires : iterable of (Values, labels, Repeatability)
        For each quantity, as `drift` takes them.
    orders : sequence of str
        Variables of the results; those the results do not have are passed over.

    Returns
    -------
    list of Drift
        All that could be tried.
    """
    there = {name: in_order(results[name].values) for name in orders if name in results}
    place = {str(name): k for k, name in enumerate(results["sample"].values)}
    possible: list[Drift] = []
    for values, labels, known in wires:
        rows = [place[name] for name in values.samples]
        tried = [drift(values, numbers[rows], labels, name, known) for name, numbers in there.items()]
        possible += [trial for trial in tried if trial is not None]
    adjusted = holm([drift.p for drift in possible])
    return [
        replace(drift, p_adjusted=float(p), distinguishable=bool(p < LEVEL))
        for drift, p in zip(possible, adjusted, strict=True)
    ]


def in_order(values: Iterable[object]) -> Array:
    """Numbers as they are, dates (``2026-11-25``) as days, NaN for what is neither.

    >>> in_order(["2026-11-27", "", 3]).tolist()
    [739947.0, nan, 3.0]
    """
    numbers = []
    for value in values:
        try:
            numbers.append(float(str(value)))
        except ValueError:
            try:
                numbers.append(float(date.fromisoformat(str(value)[:10]).toordinal()))
            except ValueError:
                numbers.append(float("nan"))
    return np.array(numbers)
