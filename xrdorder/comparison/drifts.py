"""Did something drift along a spool, or over dates, inside variants that should be alike?

A drift is looked for by the scatter that its own line leaves: what replicates show holds the drift itself and would
hide it. Every quantity is tried over every order the samples have, so Holm's rule corrects for all lines of a study
together: without any drift at most 5 studies in 100 tell one (`tests/benchmarks/false_verdicts.py`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from xrdorder.comparison.differences import LEVEL, scatter_of
from xrdorder.comparison.quantity_draws import Values, in_order
from xrdorder.comparison.replicates import NONE, Repeatability, holm, indicator
from xrdorder.comparison.trends import slope_test
from xrdorder.comparison.variants import Wires

Array = NDArray[np.float64]

ORDERS = ("position", "date")
"""Variables of the results over which a drift is looked for."""


@dataclass(frozen=True)
class Drift:
    """A course over an ordering variable inside variants: along a spool, over dates.

    Attributes
    ----------
    quantity, variable : str
    change, u_change : float
        Over the whole span of the variable.
    p, p_adjusted : float
        Probability of such a slope by chance; after correction for all lines that were tried.
    """

    quantity: str
    variable: str
    change: float
    u_change: float
    p: float
    p_adjusted: float

    @property
    def distinguishable(self) -> bool:
        """Whether it is significant."""
        return self.p_adjusted < LEVEL


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
    return Drift(values.quantity, variable, change, u, p, p)


def drifts(results: xr.Dataset, wires: Iterable[Wires]) -> list[Drift]:
    """Look for drifts of all quantities along the spool and over dates, corrected for their number.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    wires : iterable of Wires
        Quantities; wires of one lot and treatment are held to be equal.

    Returns
    -------
    list of Drift
        All that could be tried.
    """
    there = {name: in_order(results[name].values) for name in ORDERS if name in results}
    place = {str(name): k for k, name in enumerate(results["sample"].values)}
    possible: list[Drift] = []
    for wire in wires if there else ():
        known = [bool(label) for label in wire.treatments]
        telling = None if wire.telling is None else np.asarray(wire.telling)[known]
        values, labels = wire.values.select(known), [label for label in wire.treatments if label]
        if labels:
            scatter = scatter_of(values.on_scale(), labels, labels, wire.course, telling)
            rows = [place[name] for name in values.samples]
            tried = (drift(values, numbers[rows], labels, name, scatter) for name, numbers in there.items())
            possible += [trial for trial in tried if trial is not None]
    adjusted = holm([drift.p for drift in possible]).tolist()
    return [replace(drift, p_adjusted=p) for drift, p in zip(possible, adjusted, strict=True)]
