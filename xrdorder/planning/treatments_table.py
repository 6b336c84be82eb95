"""Treatments reacted and suggested, side by side: what the surfaces say of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from xrdorder.planning.constraints import allowed
from xrdorder.planning.planner import Proposal
from xrdorder.planning.responses import Response
from xrdorder.planning.study import LotPlan
from xrdorder.treatments import History


class Cell(NamedTuple):
    """Predicted value of one quantity, and its difference to the reference treatment, where common doubt has gone.

    `direct` is the mean of the wires themselves and `direct_difference` theirs to the wires of the reference, without
    a surface; NaN where there are none.
    """

    value: float
    u: float
    difference: float
    u_difference: float
    direct: float
    u_direct: float
    direct_difference: float
    u_direct_difference: float


@dataclass(frozen=True)
class Row:
    """One treatment.

    Attributes
    ----------
    treatment : History
    wires : int
        Samples reacted so; 0 for one that is suggested.
    best_for, next_for : tuple of float
        Fields, T, at which it is the best so far, and for which it is suggested.
    proposals : mapping of float to Proposal
        By field.
    cells : mapping of str to Cell
        By key of the response; without those that have no surface.
    allowed : float
        Probability that the constraints are kept.
    """

    treatment: History
    wires: int
    best_for: tuple[float, ...]
    next_for: tuple[float, ...]
    proposals: Mapping[float, Proposal]
    cells: Mapping[str, Cell]
    allowed: float


def reference(found: LotPlan) -> History:
    """The treatment that others are compared with: the best so far at the first field that has one, else the first."""
    for one in found.currents:
        if one.key in found.plans and (best := found.plans[one.key].best) is not None:
            return best.schedule
    return found.distinct[0]


LEAST_BASE = 0.1
"""Least current of the reference treatment, of the mean of all wires, that others are told in per cent of (a choice):
of one that is hardly superconducting any other is any number of times as much."""


class Basis(NamedTuple):
    """How differences of a quantity are told: times a factor, in a unit."""

    factor: float
    unit: str

    @property
    def of_mean(self) -> bool:
        """Whether a current is told in per cent of the mean, as the reference treatment may be above its Bc2."""
        return self.unit == OF_MEAN


OF_MEAN = "% of mean"


def basis(found: LotPlan, one: Response, base: float) -> Basis:
    """Say how differences of a quantity to the reference treatment are told.

    Parameters
    ----------
    found : LotPlan
    one : Response
    base : float
        Value of the reference treatment: of a current, over the mean of all wires.
    """
    if not np.isfinite(one.field_t):
        return Basis(1.0, one.unit)
    if base >= LEAST_BASE and one.surely_carries(wires_of(found, reference(found))):
        return Basis(100.0 / base, "%")
    return Basis(100.0, OF_MEAN)


def wires_of(found: LotPlan, treatment: History) -> list[str]:
    """Samples of a treatment."""
    place = _place(found, treatment)
    return [name for name, one in found.treatments.items() if _place(found, one) == place]


def rows(found: LotPlan) -> tuple[Row, ...]:
    """Treatments reacted, by temperature and time, then those suggested."""
    reacted = found.distinct
    suggested: dict[tuple[float, ...], History] = {}
    places = {_place(found, one) for one in reacted}
    for one in found.currents:
        for proposal in found.plans[one.key].proposals if one.key in found.plans else ():
            place = _place(found, proposal.schedule)
            if place not in places:
                suggested.setdefault(place, proposal.schedule)
    every = [*reacted, *suggested.values()]
    against = reference(found)
    cells: dict[str, list[Cell]] = {}
    for key, plan in found.plans.items():
        if plan.process is not None:
            columns = (*plan.surface(every), *plan.differences(every, against), *plan.direct(every, against))
            cells[key] = [Cell(*(float(x) for x in numbers)) for numbers in zip(*columns, strict=True)]
    keeps = allowed(found.constraints, every)
    counts = [_place(found, one) for one in found.treatments.values()]
    return tuple(_row(found, one, k, counts, cells, float(keeps[k])) for k, one in enumerate(every))


def _row(
    found: LotPlan,
    one: History,
    k: int,
    counts: list[tuple[float, ...]],
    cells: Mapping[str, list[Cell]],
    keeps: float,
) -> Row:
    place = _place(found, one)
    best, proposals = [], {}
    for response in found.currents:
        plan = found.plans.get(response.key)
        if plan is None:
            continue
        if plan.best is not None and _place(found, plan.best.schedule) == place:
            best.append(response.field_t)
        for proposal in plan.proposals:
            if _place(found, proposal.schedule) == place:
                proposals[response.field_t] = proposal
    return Row(
        one,
        counts.count(place),
        tuple(best),
        tuple(proposals),
        proposals,
        {key: column[k] for key, column in cells.items()},
        keeps,
    )


def _place(found: LotPlan, one: History) -> tuple[float, ...]:
    return tuple(np.round(found.space.coordinates([one])[0], 9))
