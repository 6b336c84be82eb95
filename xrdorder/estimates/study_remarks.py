"""What draws say of a study as a whole, in sentences: what anchors them, and what differences of tin hang on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from scipy.special import fdtrc

from xrdorder.estimates.evidence import PM
from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.model import JointDraws
from xrdorder.estimates.properties import critical_temperature
from xrdorder.estimates.wires import LATTICE, ORDER, Wire
from xrdorder.quantities.caveats import NOT_WIDENED
from xrdorder.quantities.formatting import rounded, with_sign
from xrdorder.uncertainty import PRIVATE, Array

SIGNIFICANT = 0.05
"""Level of the test whether the gap between the two routes to tin follows order."""

_WIDER = 1.1
_APART = 2.0
_STEEPEST = 100.0
_LEAST_FREEDOM = 2
_MOST_LOTS = 3


def remarks_of(drawn: JointDraws, bare: JointDraws | None, wires: Sequence[Wire], hyper: Hyperparameters) -> list[str]:
    """Say what a reader of differences must know.

    Parameters
    ----------
    drawn : JointDraws
    bare : JointDraws or None
        As if nothing had been measured by other means; None where nothing was.
    wires : sequence of Wire
        Those that were drawn.
    hyper : Hyperparameters
    """
    lots: dict[tuple[str, str], list[Wire]] = {}
    for wire in wires:
        lots.setdefault(wire.lot_key, []).append(wire)
    several = {key[0]: [member.name for member in members] for key, members in lots.items() if len(members) > 1}
    remarks = list(_widened(drawn, bare, several)) if bare else []
    remarks += _by_widening(drawn, several)
    return remarks + _gap(list(lots.values()), hyper)


def _widened(drawn: JointDraws, bare: JointDraws, lots: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """Say why differences of Tc are less sure with a measured value than without."""
    for lot, names in lots.items():
        after, before = (_u_of_differences(draws, names) for draws in (drawn, bare))
        steep, usual = (_steepness(draws, lot, names) for draws in (drawn, bare))
        if after > _WIDER * before and steep > usual:
            yield (
                f"Differences of Tc in lot {lot} are known to {after:.2g} K with what was measured, to {before:.2g} K "
                f"without: it shows that the lot lies where Tc is steeper, {steep:.2g} K per at.% of tin in place of "
                f"{usual:.2g}"
            )


def _u_of_differences(drawn: JointDraws, names: Sequence[str]) -> float:
    """Root mean square of the standard uncertainties of differences of Tc of neighbours, K."""
    tc = np.array([drawn.of(name, "Tc_K") for name in names])
    return float(np.sqrt(np.mean(np.var(np.diff(tc, axis=0), axis=1))))


def _steepness(drawn: JointDraws, lot: str, names: Sequence[str]) -> float:
    tin = np.array([100.0 * drawn.of(name, "tin_fraction") for name in names])
    by_lot = drawn.by_lot[next(name for name in drawn.by_lot if name.split(" (")[0] == lot)]
    return float(np.mean(critical_temperature(tin, by_lot["tin offset of Tc"], np.zeros(1))[1]))


def _by_widening(drawn: JointDraws, lots: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """Where order changes in a lot: what a difference of tin would be if disorder did not widen the lattice.

    Draws of the difference are regressed on those of the widening.
    """
    widening = drawn.shared["widening by disorder"]
    told = 0
    for lot, names in lots.items():
        order = np.array([drawn.of(name, "S_a") for name in names])
        low, high = int(np.argmin(order.mean(axis=1))), int(np.argmax(order.mean(axis=1)))
        change = order[low] - order[high]
        if abs(change.mean()) < _APART * change.std() or told == _MOST_LOTS:
            continue
        told += 1
        tin = 100.0 * (drawn.of(names[low], "tin_fraction") - drawn.of(names[high], "tin_fraction"))
        slope = float(np.cov(tin, widening)[0, 1] / np.var(widening, ddof=1))
        off = float(tin.mean()) - slope * float(widening.mean())
        yield (
            f"S_a of {names[low]} is {rounded(-float(change.mean()), float(change.std()))} below that of {names[high]} "
            f"(lot {lot}): their tin differs by {rounded(float(tin.mean()), float(tin.std()), signed=True)} at.%, and "
            f"by {with_sign(off, '.2f')} {NOT_WIDENED}"
        )


def _gap(lots: Sequence[Sequence[Wire]], hyper: Hyperparameters) -> list[str]:
    """Test whether the gap between tin by the lattice and by the order of the lines follows order within lots.

    Where all wires of a lot have one S_a, tin by the lattice rises with the order of the lines by 1 / (0.04 S_a), and
    the gap stays. A straight line through each lot, one slope for all, errors in both (weighted by
    u_tin² + slope² u_order²), is compared with that slope by the ratio of variances.
    """
    groups = [np.array([_routes(wire, hyper) for wire in lot if _both(wire)]) for lot in lots]
    groups = [group for group in groups if len(group) > 1]
    freedom = sum(len(group) - 1 for group in groups) - 1
    if freedom < _LEAST_FREEDOM:
        return []
    from scipy.optimize import minimize_scalar

    expected = 1.0 / (0.04 * hyper["order_of_lines"])
    best = minimize_scalar(_misfit, bounds=(-_STEEPEST, _STEEPEST), args=(groups,), method="bounded")
    ratio = (_misfit(expected, groups) - best.fun) / max(1.0, best.fun / freedom)
    p = float(fdtrc(1, freedom, max(ratio, 0.0)))
    count = sum(len(group) for group in groups)
    test = f"(p = {p:.2g}, {count} samples in {len(groups)} lot{'s' * (len(groups) > 1)})"
    if p >= SIGNIFICANT:
        return [f"The gap between tin by the lattice and by order does not follow order within lots {test}"]
    change = 0.01 * (best.x - expected)
    return [
        f"The gap between tin by the lattice and by order follows order within lots, "
        f"{with_sign(change, '.2g')} at.% for 0.01 {test}: samples differ in S_a, "
        "and not every difference in order is one in tin"
    ]


def _both(wire: Wire) -> bool:
    return math.isfinite(wire.a_nm) and math.isfinite(wire.site_order)


def _routes(wire: Wire, hyper: Hyperparameters) -> tuple[float, float, float, float, float]:
    """Tin by the lattice (at.%), order of the lines, variances of both and covariance that are the wire's own."""
    table = wire.contributions
    own = np.array([group == PRIVATE for group in table.groups], dtype=bool)
    by_tin, order = PM / hyper["slope_pm"] * table.row(LATTICE)[own], table.row(ORDER)[own]
    scatter = hyper["wire_scatter_pm"] / hyper["slope_pm"]
    tin = hyper["pivot_tin"] + (PM * wire.a_nm - hyper["lattice_at_pivot_pm"]) / hyper["slope_pm"]
    return tin, wire.site_order, float(by_tin @ by_tin) + scatter**2, float(order @ order), float(by_tin @ order)


def _misfit(slope: float, groups: Sequence[Array]) -> float:
    """Chi square of straight lines of one slope, each lot with its own offset."""
    total = 0.0
    for tin, order, by_tin, by_order, both in (group.T for group in groups):
        weight = 1.0 / (by_tin + slope**2 * by_order - 2.0 * slope * both)
        rest = tin - slope * order
        total += float(weight @ (rest - np.average(rest, weights=weight)) ** 2)
    return total
