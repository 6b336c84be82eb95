"""A study, one lot at a time: limits of the furnace, constraints, a plan for each quantity, the front."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import xarray as xr

from xrdorder.comparison import Values
from xrdorder.comparison.variants import alike
from xrdorder.display import Displayed
from xrdorder.exceptions import StudyError, no_such_lot
from xrdorder.planning.constraints import Constraint, HoldBound, measured_limit
from xrdorder.planning.furnace import Furnace, Space
from xrdorder.planning.pareto import Front, front
from xrdorder.planning.planner import Plan, plan
from xrdorder.planning.responses import (
    BC2,
    DOMAINS,
    GRAINS,
    TC,
    Response,
    leftover_niobium,
    measured_values,
    responses,
    scatter,
)
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity.currents import Conditions
from xrdorder.treatments import History, Schedule, Step
from xrdorder.treatments.schedule import written_out

USUAL_RAMP = 50.0
"""K/h, where no treatment tells its ramp (common practice, no source)."""

LEAST_HOURS = 0.1

_REASONS = 3  # samples whose reason is told before the rest is counted


@dataclass(frozen=True)
class Limits:
    """What the furnace and the wire allow; None where it is as with the treatments reacted so far.

    Attributes
    ----------
    least_c, most_c, least_hours, most_hours : float, optional
        Of the last hold.
    ramp_k_per_h : tuple of float
        One or two: the ramp, or the least and the largest one. Empty: the usual one.
    total_h : float
    step_c : float
    dose : tuple of float, optional
        Activation energy in kJ/mol and reference temperature in °C of the dose that is the second variable; None: the
        hold is. Of simulated campaigns with activation energies of 220 and 250 kJ/mol as many found the best treatment
        with 200 as with 300 kJ/mol here, and fewer with the hold.
    holds : tuple of HoldBound
    rrr_above, niobium_below : float, optional
        Least resistivity ratio of the copper, by what was measured; largest weight fraction of niobium.
    """

    least_c: float | None = None
    most_c: float | None = None
    least_hours: float | None = None
    most_hours: float | None = None
    ramp_k_per_h: tuple[float, ...] = ()
    total_h: float = np.inf
    step_c: float = 5.0
    dose: tuple[float, float] | None = (300.0, 650.0)
    holds: tuple[HoldBound, ...] = ()
    rrr_above: float | None = None
    niobium_below: float | None = None


@dataclass(frozen=True, eq=False)
class LotPlan(Displayed):
    """What is known of one lot and what to react next.

    Attributes
    ----------
    lot : str
    treatments : mapping of str to History
        Of the samples that were fitted and have one.
    conditions : Conditions
    space : Space
    responses : tuple of Response
        The currents first.
    plans : mapping of str to Plan
        By key of the response; without those that have no values.
    front : Front or None
        Between Bc2 and grain or domain size, where both have surfaces.
    constraints : tuple of Constraint
    notes : tuple of str
    """

    lot: str
    treatments: Mapping[str, History]
    conditions: Conditions
    space: Space
    responses: tuple[Response, ...]
    plans: Mapping[str, Plan] = field(repr=False)
    front: Front | None
    constraints: tuple[Constraint, ...]
    notes: tuple[str, ...]

    @property
    def currents(self) -> tuple[Response, ...]:
        """The responses that treatments are proposed for."""
        return tuple(one for one in self.responses if np.isfinite(one.field_t))

    @property
    def distinct(self) -> tuple[History, ...]:
        """Treatments reacted so far, each once, by temperature and time."""
        places: dict[tuple[float, ...], History] = {}
        for one in self.treatments.values():
            places.setdefault(tuple(np.round(self.space.coordinates([one])[0], 9)), one)
        return tuple(places[key] for key in sorted(places))

    def label(self, one: History) -> str:
        """Name a treatment by its last hold where what comes before is the same for all."""
        return label(one, self.space)


def label(one: History, space: Space) -> str:
    """Name a treatment by its last hold where what comes before is usual, and by its ramp where that is chosen.

    >>> space = Space(Furnace((600, 700), (10, 100), (20, 80), before=(Step(210, 48),)))
    >>> label(Schedule((Step(210, 48), Step(650, 100, 40))), space)
    '650 °C/100 h, 40 K/h'
    """
    before, name = space.furnace.before, one.short_name
    if not isinstance(one, Schedule):
        return name
    if before and _split(one) == before:
        name = Schedule((tuple(written_out(one.steps))[len(before)],)).short_name
    if "ramp" in space.variables and np.isfinite(one.ramp_to_peak_k_per_h):
        name += f", {one.ramp_to_peak_k_per_h:g} K/h"
    return name


def _split(one: Schedule) -> tuple[Step, ...] | None:
    """Holds before the hottest; None where the hottest is held several times."""
    steps = tuple(written_out(one.steps))
    hottest = [k for k, step in enumerate(steps) if step.hold_c == one.peak_c]
    return steps[: hottest[0]] if len(hottest) == 1 else None


def earlier_holds(treatments: Sequence[History]) -> tuple[tuple[Step, ...], bool]:
    """Holds that most treatments have before the hottest, and whether all have the same."""
    found = [_split(one) if isinstance(one, Schedule) else None for one in treatments]
    known = [one for one in found if one is not None]
    if not known:
        return (), True
    usual = max(dict.fromkeys(known), key=known.count)
    return usual, all(one == usual for one in found)


def furnace_of(treatments: Sequence[History], limits: Limits) -> Furnace:
    """Limits as told; the rest as with the treatments reacted so far.

    Raises
    ------
    StudyError
        Limits that leave nothing.
    """
    before, _ = earlier_holds(treatments)
    peaks = [round(one.peak_c) for one in treatments]
    hours = [max(float(f"{one.hold_at_peak_h:.3g}"), LEAST_HOURS) for one in treatments]
    ramps = [one.ramp_to_peak_k_per_h for one in treatments if isinstance(one, Schedule)]
    usual = [ramp for ramp in ramps if np.isfinite(ramp)]
    ramp = limits.ramp_k_per_h or (float(np.median(usual)) if usual else USUAL_RAMP,)
    for what, unit, least, most, reacted in (
        ("temperatures", "°C", limits.least_c, limits.most_c, peaks),
        ("holds", "h", limits.least_hours, limits.most_hours, hours),
    ):
        if least is None and most is not None and most < min(reacted):
            raise StudyError(
                f"furnace: {what} up to {most:g} {unit} only, but no treatment reacted so far has less than "
                f"{min(reacted):g} {unit}; give the lower limit as well"
            )
        if most is None and least is not None and least > max(reacted):
            raise StudyError(
                f"furnace: {what} from {least:g} {unit} on, but no treatment reacted so far has more than "
                f"{max(reacted):g} {unit}; give the upper limit as well"
            )
    return Furnace(
        (
            float(min(peaks)) if limits.least_c is None else limits.least_c,
            float(max(peaks)) if limits.most_c is None else limits.most_c,
        ),
        (
            min(hours) if limits.least_hours is None else limits.least_hours,
            max(hours) if limits.most_hours is None else limits.most_hours,
        ),
        (ramp[0], ramp[1]) if len(ramp) == 2 else ramp[0],
        limits.total_h,
        before,
        limits.step_c,
    )


def plan_lot(
    results: xr.Dataset,
    treatments: Mapping[str, History | None],
    lot: str,
    conditions: Conditions,
    fields_t: Sequence[float],
    limits: Limits | None = None,
    *,
    library: Library = PUBLISHED,
    measured: bool = False,
    number: int = 1,
    seed: int = 0,
) -> LotPlan:
    """Plan the next treatments of one lot.

    Parameters
    ----------
    results : Dataset
        Collated results of the study.
    treatments : mapping of str to History or None
        By sample.
    lot : str
    conditions : Conditions
        Temperature and strain in service.
    fields_t : sequence of float
        Fields in service; each has a plan of its own.
    limits : Limits, optional
    library : Library
    measured : bool
        Plan by what the laboratory measured instead of by estimates.
    number : int
        Treatments to propose, 1 to 3.
    seed : int

    Raises
    ------
    StudyError
        No such lot; none of its samples was fitted, or none of these has a treatment; limits or constraints
        that leave nothing; every wire is above its Tc.
    """
    limits = limits or Limits()
    names = [str(name) for name in results["sample"].values]
    lots = [str(one) for one in results["lot"].values]
    if lot not in lots:
        raise StudyError(no_such_lot(lot, lots))
    fitted = np.isfinite(np.asarray(results["a_nm"].values, dtype=float))
    mine = [k for k, one in enumerate(lots) if one == lot]
    kept = [k for k in mine if fitted[k] and treatments.get(names[k]) is not None]
    own = {names[k]: one for k in kept if (one := treatments[names[k]]) is not None}
    notes = _left_out([names[k] for k in mine if not fitted[k]], "no A15 was fitted in")
    notes += _left_out([names[k] for k in mine if fitted[k] and k not in kept], "no heat treatment is told of")
    if not any(fitted[k] for k in mine):
        raise StudyError(no_usable_fit(lot, {names[k]: "no A15 was fitted" for k in mine}))
    if not own:
        raise StudyError(
            f"{_of_lot(lot)}no fitted sample has a heat treatment; give treatment in study.toml and run it again"
        )
    part = results.isel(sample=kept)
    reacted = list(own.values())
    space = Space(furnace_of(reacted, limits), limits.dose)
    if not earlier_holds(reacted)[1]:
        told = "peak and dose" if limits.dose is not None else "peak and time of the last hold"
        notes.append(f"what comes before the last hold is not the same for all; treatments are told apart by {told}")
    if len(space.candidates) < 2:
        notes.append("the limits leave one treatment; give wider ones to have others proposed")
    constraints = _constraints(part, own, space, limits)
    found = responses(part, conditions, fields_t, library=library, measured=measured)
    _require_superconducting(found, conditions)
    plans, pooled = {}, alike(part)
    for response in found:
        if response.values is None:
            continue
        at = [own[name] for name in response.values.samples]
        current = np.isfinite(response.field_t)
        plans[response.key] = plan(
            response.values,
            at,
            space,
            maximise=response.maximise,
            repeatability=scatter(response.values, at, space, None if response.origin == "measured" else pooled),
            constraints=constraints if current else (),
            number=number if current else 1,
            seed=seed,
            label=lambda treatment: label(treatment, space),
        )
        notes += _left_out([*response.values.left_out], f"{response.noun}: not known of")
    sizes = plans.get(GRAINS, plans.get(DOMAINS))
    both = None
    if BC2 in plans and sizes is not None and plans[BC2].process is not None and sizes.process is not None:
        both = front(plans[BC2], sizes, seed=seed)
    return LotPlan(lot, own, conditions, space, found, plans, both, constraints, tuple(dict.fromkeys(notes)))


def no_usable_fit(lot: str, reasons: Mapping[str, str]) -> str:
    """Say that no sample of a lot can be planned by, why (by sample), and what to do.

    >>> no_usable_fit("heron", {"a": "do not use: no A15"})[:81]
    "lot 'heron': nothing can be planned, no sample has a usable fit of an A15 (a: do "
    """
    first = "; ".join(f"{name}: {why}" for name, why in list(reasons.items())[:_REASONS])
    more = f" and {len(reasons) - _REASONS} more" if len(reasons) > _REASONS else ""
    return (
        f"{_of_lot(lot)}nothing can be planned, no sample has a usable fit of an A15 ({first}{more}); add patterns of "
        "reacted wires with their treatment to study.toml and run it"
    )


def _of_lot(lot: str) -> str:
    return f"lot '{lot}': " if lot else ""


def _require_superconducting(found: Sequence[Response], conditions: Conditions) -> None:
    """Refuse a temperature above the Tc of all wires, unless currents were measured there."""
    by_key = {one.key: one for one in found}
    bc2, tc = by_key[BC2], by_key[TC].values
    measured = any(one.origin == "measured" and one.values is not None for one in found if np.isfinite(one.field_t))
    if measured or not bc2.normal(tuple(bc2.carries)):
        return
    told = "" if tc is None else f" (estimated: {np.min(tc.value):.1f} to {np.max(tc.value):.1f} K)"
    raise StudyError(
        f"at {conditions.temperature_k:g} K every wire is above its Tc{told} and carries nothing; "
        "give a lower temperature"
    )


def _left_out(names: Sequence[str], why: str) -> list[str]:
    return [f"{why} {', '.join(names)}: left out"] if names else []


def _constraints(
    results: xr.Dataset, treatments: Mapping[str, History], space: Space, limits: Limits
) -> tuple[Constraint, ...]:
    found: list[Constraint] = [*limits.holds]

    def known(values: Values, pooled: Mapping[str, str] | None) -> tuple[list[History], float]:
        """Treatments of these wires, and how far equal ones scatter."""
        at = [treatments[sample] for sample in values.samples]
        return at, scatter(values, at, space, pooled).u if len(values) > 1 else 0.0

    if limits.rrr_above is not None:
        name, values = "resistivity ratio of the copper", measured_values(results, "rrr_copper")
        at, u = known(values, None)
        found.append(
            measured_limit(name, values, at, space, at_least=limits.rrr_above, repeatability=u, logarithmic=True)
        )
    if limits.niobium_below is not None:
        name, values = "leftover niobium (weight fraction)", leftover_niobium(results)
        at, u = known(values, alike(results))
        found.append(measured_limit(name, values, at, space, at_most=limits.niobium_below, repeatability=u))
    return tuple(found)
