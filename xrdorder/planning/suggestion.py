"""The next treatments of all lots of a study: the one call behind `xrdorder suggest` and notebooks."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from xrdorder.comparison.variants import fit_to_compare
from xrdorder.exceptions import StudyError, no_such_lot
from xrdorder.files.atomic import write_table
from xrdorder.planning.conversion_courses import courses_of
from xrdorder.planning.study import LotPlan, no_usable_fit, plan_lot
from xrdorder.planning.window import Limits
from xrdorder.results.open_study import OpenStudy, open_study
from xrdorder.superconductivity.currents import Conditions
from xrdorder.treatments import History


def suggest(
    study: OpenStudy | str | Path,
    fields_t: Sequence[float] = (),
    conditions: Conditions | None = None,
    limits: Limits | None = None,
    *,
    maximise: str = "Ic",
    lot: str = "",
    number: int = 1,
    refused: Callable[[str], None] | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> tuple[LotPlan, ...]:
    """Suggest the next heat treatments of each wire lot of a study that has been run.

    Parameters
    ----------
    study : OpenStudy or path
    fields_t : sequence of float
        Fields in service, T; needed for Ic alone.
    conditions : Conditions, optional
        Temperature and strain in service; 4.2 K and the pre-strain of each lot's design unless given.
    limits : Limits, optional
        Of the furnace and the wire.
    maximise : str
        "Ic", "Bc2" or "Tc".
    lot : str
        Only this wire lot.
    number : int
        Treatments to suggest, 1 to 3.
    refused : callable, optional
        Called with the reason for each lot that cannot be planned, where others can.
    progress : callable, optional

    Raises
    ------
    StudyError
        There is no such lot, no lot can be planned, or the description was changed since the run.
    """
    opened = study if isinstance(study, OpenStudy) else open_study(study)
    opened.require_as_run()
    if maximise == "Ic" and not fields_t:
        raise StudyError("a critical current needs a field: give one, or maximise Bc2 or Tc")
    results, left_out = fit_to_compare(opened.results)
    lot_of = {str(lot["sample"].item()): str(lot.item()) for lot in opened.results["lot"]}
    if lot and lot not in lot_of.values():
        raise StudyError(no_such_lot(lot, lot_of.values()))
    lots = (lot,) if lot else tuple(dict.fromkeys(lot_of.values()))
    plans, reasons = [], []
    for k, name in enumerate(lots):
        if progress is not None:
            progress(k, len(lots), name or "wires")
        of_lot = {sample for sample, lot in lot_of.items() if lot == name}
        try:
            if of_lot <= left_out.keys():
                raise StudyError(no_usable_fit(name, {lot: left_out[lot] for lot in lot_of if lot in of_lot}))
            plans.append(
                plan_described(
                    opened, results, name, fields_t, conditions or Conditions(4.2), limits, maximise=maximise,
                    number=number,
                )
            )  # fmt: skip
        except StudyError as error:
            if len(lots) == 1:
                raise
            said = str(error)
            reasons.append(said if said.startswith("lot ") else f"lot '{name}': {said}")
    if not plans:
        raise StudyError("\n".join(reasons))
    if refused is not None:
        for reason in reasons:
            refused(reason)
    return tuple(plans)


def plan_described(
    opened: OpenStudy, results: xr.Dataset, lot: str, fields_t: Sequence[float], conditions: Conditions,
    limits: Limits | None = None, *, maximise: str = "Ic", number: int = 1,
) -> LotPlan:  # fmt: skip
    """Plan one lot of a study with all that its description tells of the wire; see `plan_lot`."""
    samples = opened.study.samples
    wire = next((sample.lot for sample in samples if sample.lot.name == lot), None)
    return plan_lot(
        results, {sample.name: sample.treatment for sample in samples}, lot,
        replace(conditions, design=conditions.design or (wire.design if wire else "")), fields_t, limits,
        maximise=maximise, route=wire.route if wire else "", area_mm2=(wire and wire.non_copper_mm2) or np.nan,
        courses=courses_of(wire.conversion) if wire else (), library=opened.library(), number=number,
    )  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One treatment under one objective.

    Attributes
    ----------
    treatment : str
    temperature_c, hold_h, total_h : float
    wires : int
        Reacted so; 0 for one that is only suggested.
    value, u : float
        Of the objective: A, T or K; of a relative current over that of the best so far.
    difference, u_difference : float
        To the best so far, in % of a current, else in T or K.
    measured_difference, u_measured_difference : float
        As measured; NaN where it was not.
    better : bool
        Whether it may be called better than the reference, the first treatment reacted.
    role : str
        "best", "next 1" and so on, "repeat 1", or empty.
    chance_better, worth : float
        Of suggestions: probability of being better than the best, expected rise of the best (as differences).
    rrr, rrr_low, rrr_high : float
        Of the copper, with 68 % interval.
    """

    treatment: str
    temperature_c: float
    hold_h: float
    total_h: float
    wires: int
    value: float
    u: float
    difference: float
    u_difference: float
    measured_difference: float
    u_measured_difference: float
    better: bool
    role: str
    chance_better: float
    worth: float
    rrr: float
    rrr_low: float
    rrr_high: float


def rows(lot_plan: LotPlan, k: int) -> Iterator[Row]:
    """Treatments of a plan: reacted by temperature and time, then suggested."""
    plan, factor = lot_plan.plans[k], lot_plan.plans[k].objective.factor
    relative, gained = plan.objective.relative, plan.objective.gained
    base = 0.0 if lot_plan.amperes or not relative else float(plan.draws[:, plan.best].mean())
    repeated = {new.schedule.short_name: n for n, new in enumerate(plan.proposals, start=1) if new.replicate}
    names = [treatment.short_name for treatment in lot_plan.treatments.values()]
    rrr = np.quantile(np.exp(-plan.here["rrr"]), [0.5, 0.16, 0.84], axis=0).T.tolist()

    def row(history: History, value: float, u: float, *numbers: Any) -> Row:
        if relative:
            value, u = float(np.exp(value - base)), float(np.exp(value - base) * u)
        wires = names.count(history.short_name)
        name, hold_h = history.short_name, history.hold_at_peak_h
        return Row(name, history.peak_c, hold_h, history.total_h, wires, value, u, *numbers)

    for j in sorted(range(len(plan.treatments)), key=lambda i: (plan.treatments[i].peak_c, plan.treatments[i].total_h)):
        history, mine, gain = plan.treatments[j], plan.draws[:, j], plan.gains[:, j]
        measured, u_measured = plan.direct.difference(j, plan.best)
        repeat = repeated.get(history.short_name)
        role = ", ".join(["best"] * (j == plan.best) + [f"repeat {repeat}"] * (repeat is not None))
        yield row(
            history, float(mine.mean()), float(mine.std()), factor * float(gained(gain.mean())),
            factor * float(gain.std()), factor * float(gained(np.asarray(measured))), factor * u_measured,
            j != 0 and plan.better(j, 0), role, np.nan, np.nan, *rrr[j],
        )  # fmt: skip
    for n, new in enumerate(plan.proposals, start=1):
        if not new.replicate:
            low, middle, high = new.rrr
            yield row(
                new.schedule, new.value, new.u, factor * new.gain, factor * new.u_gain, np.nan, np.nan, False,
                f"next {n}", new.chance_better, factor * new.worth, middle, low, high,
            )  # fmt: skip


def write_suggestions(plans: Sequence[LotPlan], path: Path) -> None:
    """One row for each treatment, reacted or suggested, and objective; differences are to the best so far.

    Raises
    ------
    StudyError
        The disk refuses.
    """
    names = tuple(Row.__dataclass_fields__)

    def cell(x: object) -> str:
        if isinstance(x, float):
            return f"{x:.6g}" if np.isfinite(x) else ""
        return str(int(x)) if isinstance(x, bool) else str(x)

    every = ((plan, k, row) for plan in plans for k in range(len(plan.plans)) for row in rows(plan, k))
    cells = ((entry.lot, entry.noun(k), *(cell(getattr(row, name)) for name in names)) for entry, k, row in every)
    write_table(path, (("lot", "maximised", *names), *cells))
