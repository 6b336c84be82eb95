"""A study, one lot at a time: what is known of its wires, the limits, and a plan for each objective."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.display import Displayed
from xrdorder.estimates.conductors import conductors
from xrdorder.exceptions import StudyError, ValidityError, no_such_lot
from xrdorder.kinetics import route_of
from xrdorder.planning.inference import Observed
from xrdorder.planning.observations import wires_of
from xrdorder.planning.planner import FIELD, TC, LotProcess, Objective, Plan, Wires, plan
from xrdorder.planning.window import Candidates, Limits, earlier_steps
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity.currents import Conditions, Conductor, bc2_draws
from xrdorder.treatments import History, Schedule
from xrdorder.treatments.schedule import written_out

Array = NDArray[np.float64]

MAXIMISED = {"Ic": "current", "Bc2": FIELD.kind, "Tc": TC.kind}
"""What may be maximised, and which rows of the wires serve it."""

_REASONS = 3  # samples whose reason is told before the rest is counted


@dataclass(frozen=True, eq=False)
class LotPlan(Displayed, view="plans"):
    """What is known of one lot and what to react next.

    Attributes
    ----------
    lot : str
    treatments : mapping of str to History
        Of the samples that were fitted and have one.
    conditions : Conditions
    maximised : str
        "Ic", "Bc2" or "Tc".
    fields_t : tuple of float
        Of the plans for currents; NaN for Bc2 and Tc.
    plans : tuple of Plan
        One a field.
    process : LotProcess
    area_mm2 : float
        Section of the wire without its copper; NaN where it is not known.
    notes : tuple of str
    """

    lot: str
    treatments: Mapping[str, History]
    conditions: Conditions
    maximised: str
    fields_t: tuple[float, ...]
    plans: tuple[Plan, ...] = field(repr=False)
    process: LotProcess = field(repr=False)
    area_mm2: float
    notes: tuple[str, ...]

    @property
    def wires(self) -> Wires:
        """What was measured."""
        return self.process.wires

    @property
    def amperes(self) -> bool:
        """Whether predicted currents are in A: one current of the lot, at least, was measured."""
        return bool(self.wires.fields_t)

    @property
    def rrr_wires(self) -> int:
        """Wires of the lot whose copper was measured."""
        return sum(len(observed.value) for observed in self.wires.observed if observed.parts[0][0] == "rrr")

    def label(self, history: History) -> str:
        """Name a treatment by its last hold where what comes before is the same for most."""
        before, _ = earlier_steps(self.wires.treatments)
        if before and isinstance(history, Schedule):
            steps = tuple(written_out(history.steps))
            if steps[: len(before)] == before and len(steps) == len(before) + 1:
                return Schedule(steps[-1:]).short_name
        return history.short_name

    def noun(self, k: int) -> str:
        """What a plan maximises."""
        if self.maximised != "Ic":
            at = f" at {self.conditions.temperature_k:g} K" if self.maximised == "Bc2" else ""
            return f"{self.maximised}{at}"
        return f"{'Ic' if self.amperes else 'relative Ic'} at {self.fields_t[k]:g} T"


def plan_lot(
    results: xr.Dataset,
    treatments: Mapping[str, History | None],
    lot: str,
    conditions: Conditions,
    fields_t: Sequence[float] = (),
    limits: Limits | None = None,
    *,
    maximise: str = "Ic",
    route: str = "",
    area_mm2: float = np.nan,
    courses: Sequence[Observed] = (),
    library: Library = PUBLISHED,
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
        Fields in service; each has a plan of its own. Of no use for Bc2 and Tc.
    limits : Limits, optional
    maximise : str
        "Ic", "Bc2" or "Tc".
    route : str
        Way the wire was made, as in study.toml.
    area_mm2 : float
        Section of the wire without its copper.
    courses : sequence of Observed
        Conversion against time of specimens of the lot (`xrdorder.planning.conversion_courses`).
    library : Library
    number : int
        Treatments to propose, 1 to 3.
    seed : int

    Raises
    ------
    StudyError
        No such lot; none of its samples was fitted, or none of these has a treatment; limits that leave nothing or
        exclude every wire reacted; a field above Bc2 or a temperature above Tc of every wire.
    """
    limits = limits or Limits()
    part, own, notes = _reacted(results, treatments, lot)
    limits.require_reacted(list(own.values()))
    scale = _state(part, lot, conditions, fields_t if maximise == "Ic" else (), library)
    kinetics, remark = route_of(route)
    notes += [remark] if remark else []
    wires = wires_of(part, own, MAXIMISED[maximise], conditions.temperature_k, courses)
    fields = tuple(dict.fromkeys(float(b) for b in fields_t)) if maximise == "Ic" else (np.nan,)
    process = LotProcess(
        wires, kinetics, [b for b in fields if np.isfinite(b)], field_scale=1.0 if maximise == "Bc2" else scale
    )
    if not process.alike_before:
        notes.append("earlier plateaus are not the same for all wires: they are a variable of the model")
    if process.process.widened > 1.0:
        notes.append(
            "the wires stray farther from published kinetics than they should: what the laws may leave was widened "
            f"{process.process.widened:g} times, so that the wires themselves count for more"
        )
    candidates = Candidates.of(limits, wires.treatments)
    objectives = {"Bc2": [FIELD], "Tc": [TC]}.get(maximise) or [Objective.current(b) for b in fields]
    plans = tuple(plan(process, objective, candidates, limits, number, seed) for objective in objectives)
    _require_allowed(plans, candidates, limits)
    return LotPlan(lot, own, conditions, maximise, fields, plans, process, area_mm2, tuple(dict.fromkeys(notes)))


def _require_allowed(plans: Sequence[Plan], candidates: Candidates, limits: Limits) -> None:
    """Refuse limits of the user that contradict each other, whatever the region."""
    bounds = [[hold.keeps(schedule) for schedule in candidates.schedules] for hold in limits.holds]
    if bounds and not np.logical_and.reduce(bounds).any():
        words = " and at most ".join(hold.words for hold in limits.holds)
        raise StudyError(f"no treatment inside the furnace limits keeps to at most {words}; give wider limits")


def _reacted(
    results: xr.Dataset, treatments: Mapping[str, History | None], lot: str
) -> tuple[xr.Dataset, dict[str, History], list[str]]:
    """Samples of a lot that were fitted and have a treatment, and notes on the others."""
    names, lots = ([str(result) for result in results[name].values] for name in ("sample", "lot"))
    if lot not in lots:
        raise StudyError(no_such_lot(lot, lots))
    fitted = np.isfinite(np.asarray(results["a_nm"].values, dtype=float))
    mine = [k for k, label in enumerate(lots) if label == lot]
    kept = [k for k in mine if fitted[k] and treatments.get(names[k]) is not None]
    own = {names[k]: history for k in kept if (history := treatments[names[k]]) is not None}
    notes = _left_out([names[k] for k in mine if not fitted[k]], "there is no fit of an A15 of")
    notes += _left_out([names[k] for k in mine if fitted[k] and k not in kept], "no heat treatment is told of")
    if not any(fitted[k] for k in mine):
        raise StudyError(no_usable_fit(lot, {names[k]: "no A15 was fitted" for k in mine}))
    if not own:
        raise StudyError(
            f"{_of_lot(lot)}no fitted sample has a heat treatment; give treatment in study.toml and run it again"
        )
    return results.isel(sample=kept), own, notes


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


def _left_out(names: Sequence[str], why: str) -> list[str]:
    return [f"{why} {', '.join(names)}: left out"] if names else []


def _state(
    results: xr.Dataset, lot: str, conditions: Conditions, fields_t: Sequence[float], library: Library
) -> float:
    """Bc2 in service over that at 4.2 K in the wire as cooled; refuses a state in which no wire is superconducting."""
    try:
        samples: tuple[Conductor, ...] = conductors(results, library=library, measured_grains=False)
        here = np.nanmedian(bc2_draws(samples, conditions), axis=1)
        usual = np.nanmedian(bc2_draws(samples, Conditions(design=conditions.design)), axis=1)
    except ValidityError:
        return 1.0
    tc = np.median([sample.tc for sample in samples], axis=1)
    if conditions.temperature_k >= np.max(tc) or not np.nanmax(here) > 0.0:
        raise StudyError(
            f"{_of_lot(lot)}{conditions.temperature_k:g} K is above the estimated Tc of every wire "
            f"({np.min(tc):.1f} to {np.max(tc):.1f} K); give a lower temperature"
        )
    for at in fields_t:
        if at >= np.nanmax(here):
            raise StudyError(
                f"{_of_lot(lot)}{at:g} T is above the estimated Bc2 of every wire at {conditions.temperature_k:g} K "
                f"({np.nanmin(here):.1f} to {np.nanmax(here):.1f} T); give a lower field or temperature"
            )
    return float(np.nanmedian(here / usual))
