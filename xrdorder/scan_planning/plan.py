"""One answer: how long to count for what is wanted, where, and what no counting gives."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from xrdorder.display import Displayed
from xrdorder.exceptions import ValidityError
from xrdorder.files import TableWriter
from xrdorder.files.atomic import write_text
from xrdorder.quantities.registry import quantity
from xrdorder.scan_planning.allocation import LEAST, Allocation, allocate
from xrdorder.scan_planning.forecast import ESTIMATED, MEASURED, Course, Forecast, forecast, remedy
from xrdorder.scan_planning.prospect import Prospect

WANTED = (*MEASURED, *ESTIMATED)
USUAL = ("a_nm", "site_order", "tin_fraction")
"""What is told where nothing is wanted."""

_FAR = 4.0
"""A needed time that differs by more of a factor is worked out anew: a fit then frees other parameters."""
_TO_COUNT_FOR = dict.fromkeys(ESTIMATED, "site_order")
"""Quantities of which counting decides through another. The lattice parameter is known soon; what is left of tin is how
far disorder has widened the lattice, and that is told by the order lines."""
_BY_RELATIONS = "relations to Tc and Bc2, and the scatter of wires about them"
_MEASURE = "measuring Tc, or Bc2, of the wires"
_HARDLY_SMALLER = 0.7


@dataclass(frozen=True)
class Target:
    """What is wanted of one quantity.

    Attributes
    ----------
    quantity : str
        One of `WANTED`.
    u : float
        Standard uncertainty, in the unit of the quantity; NaN where none is asked for.
    of_difference : bool
        Of the difference of two wires, not of one.

    Raises
    ------
    ValidityError
        There is no such quantity to plan for, or the uncertainty is not above zero.
    """

    quantity: str
    u: float = math.nan
    of_difference: bool = False

    def __post_init__(self) -> None:
        if self.quantity not in WANTED:
            raise ValidityError(f"no scan is planned for '{self.quantity}'; choose among {', '.join(WANTED)}")
        if self.u <= 0.0:
            raise ValidityError(f"target of {quantity(self.quantity).noun} is {self.u:g}; give a number above zero")


@dataclass(frozen=True)
class Need:
    """What a target takes.

    Attributes
    ----------
    target : Target
    course : Course
        Of the quantity, or of its difference between two wires.
    value : float
        Expected value of the quantity.
    other : Course
        The other of the two.
    blame : tuple of (family, standard uncertainty)
        What no counting takes away, largest first.
    """

    target: Target
    course: Course
    value: float
    other: Course
    blame: tuple[tuple[str, float], ...]

    @property
    def seconds(self) -> float:
        """Length of a uniform scan that reaches the target; infinite where none does, NaN without a target."""
        return math.nan if math.isnan(self.target.u) else self.course.seconds_for(self.target.u)

    @property
    def out_of_reach(self) -> bool:
        """Whether no counting reaches the target."""
        return math.isinf(self.seconds)

    @property
    def cause(self) -> str:
        """What dominates what counting leaves, in words; empty where nothing does."""
        return self.blame[0][0] if self.blame else _BY_RELATIONS

    @property
    def help(self) -> str:
        """What would help beyond counting, by the largest source, and the next where that is hardly smaller."""
        if not self.blame:
            return _MEASURE
        first = self.blame[0][1]
        large = [family for family, u in self.blame[:2] if u > _HARDLY_SMALLER * first]
        return "; ".join(dict.fromkeys(words for family in large if (words := remedy(family))))


@dataclass(frozen=True)
class ScanPlan(Displayed, view="scan"):
    """The answer.

    Attributes
    ----------
    prospect : Prospect
    forecast : Forecast
    needs : tuple of Need
    allocation : Allocation
    seconds : float
        Length of the best scan.
    uniform_seconds : float
        Length of a uniform one that reaches the same.
    """

    prospect: Prospect
    forecast: Forecast
    needs: tuple[Need, ...]
    allocation: Allocation
    seconds: float
    uniform_seconds: float


def plan_scan(
    prospect: Prospect,
    targets: tuple[Target, ...] = (),
    *,
    seconds: float | None = None,
    least: float = LEAST,
    anchor_tc_k: float | None = None,
    progress: Callable[[int, int, str], object] = lambda done, total, name: None,
) -> ScanPlan:
    """Plan a scan.

    Parameters
    ----------
    prospect
    targets
        What is wanted; without any, `USUAL` are told.
    seconds
        Length of the scan; left out, as long as the targets take, or as the scan of `prospect`.
    least
        Part of a uniform scan that is counted at least everywhere.
    anchor_tc_k
        Standard uncertainty (K) of a Tc that will be measured on each wire, too.
    progress
        Called with steps done, steps in all, and what was done.

    Raises
    ------
    ValidityError
        A quantity is not told by the scan.
    """
    wanted = targets or tuple(Target(name) for name in USUAL)
    estimates = any(target.quantity in ESTIMATED for target in wanted)
    progress(0, 3, "expected counts")
    expected = forecast(prospect, estimates=estimates, anchor_tc_k=anchor_tc_k)
    progress(1, 3, "what counting tells")
    needs = tuple(_need(expected, target) for target in wanted)
    longest = _longest(needs)
    if longest is not None and not 1.0 / _FAR < longest / prospect.seconds < _FAR:
        longer = forecast(prospect.counted(longest / prospect.seconds), estimates=False)
        # draws of the joint model would lose the part of counting where it is small: theirs stay
        expected = replace(
            expected, wire={**expected.wire, **longer.wire}, difference={**expected.difference, **longer.difference},
            sources=longer.sources, own_sources=longer.own_sources,
        )  # fmt: skip
        needs = tuple(_need(expected, target) for target in wanted)
        longest = _longest(needs)
    progress(2, 3, "what it takes")
    plan = allocate(prospect, _to_count_for(needs), seconds=seconds, least=least)
    uniform = seconds or longest or prospect.seconds
    best = _best_seconds(needs, plan) if seconds is None and longest is not None else uniform
    if best != plan.seconds:
        plan = allocate(prospect, _to_count_for(needs), seconds=best, least=least)
    progress(3, 3, "where to count")
    return ScanPlan(prospect, expected, needs, plan, best, uniform)


def _need(forecast: Forecast, target: Target) -> Need:
    name = target.quantity
    if name not in forecast.wire:
        raise ValidityError(
            f"the scan does not tell the {quantity(name).noun}; count longer, or over a wider range, before planning it"
        )
    both = (forecast.wire[name], forecast.difference[name])
    course, other = both[::-1] if target.of_difference else both
    sources = forecast.own_sources if target.of_difference else forecast.sources
    return Need(target, course, forecast.values[name], other, sources.get(name, ()))


def _longest(needs: tuple[Need, ...]) -> float | None:
    """Time of the most demanding target that counting reaches at all."""
    reached = [need.seconds for need in needs if math.isfinite(need.seconds)]
    return max(reached) if reached else None


def _to_count_for(needs: tuple[Need, ...]) -> Mapping[str, float]:
    """Quantities to distribute time for, and what counting may leave of each; those out of reach only if all are."""
    reached = [need for need in needs if not need.out_of_reach] or list(needs)
    targets: dict[str, float] = {}
    for need in reached:
        name = _TO_COUNT_FOR.get(need.target.quantity, need.target.quantity)
        left = math.inf
        if name == need.target.quantity and math.isfinite(need.seconds):
            wires = 2.0 if need.target.of_difference else 1.0
            left = math.sqrt((need.target.u**2 - need.course.floor) / wires)
        targets[name] = min(left, targets.get(name, math.inf))
    return targets


def _best_seconds(needs: tuple[Need, ...], plan: Allocation) -> float:
    """Time in which the best distribution reaches all targets that counting reaches."""
    times = [
        need.seconds * plan.u_ratio[_TO_COUNT_FOR.get(need.target.quantity, need.target.quantity)] ** 2
        for need in needs
        if math.isfinite(need.seconds)
    ]
    return max(times)


def write_ranges(plan: ScanPlan, path: Path) -> None:
    """Write the ranges as CSV: from, to, step, points, seconds at a step.

    Raises
    ------
    StudyError
        The file cannot be written.
    """
    text = io.StringIO()
    table = TableWriter(text)
    table.writerow(["from_deg", "to_deg", "step_deg", "points", "seconds_per_step"])
    for stretch in plan.allocation.ranges:
        angles = [f"{angle:.4f}" for angle in (stretch.from_deg, stretch.to_deg, stretch.step_deg)]
        table.writerow([*angles, stretch.points, f"{stretch.seconds:g}"])
    write_text(path, text.getvalue())
