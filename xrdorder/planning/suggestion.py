"""The next treatments of all lots of a study: the one call behind `xrdorder suggest` and notebooks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from xrdorder.comparison.variants import fit_to_compare
from xrdorder.exceptions import StudyError, no_such_lot
from xrdorder.files import TableWriter
from xrdorder.files.atomic import write_atomically
from xrdorder.planning.study import Limits, LotPlan, no_usable_fit, plan_lot
from xrdorder.planning.treatments_table import Cell, rows
from xrdorder.results.open_study import OpenStudy, open_study
from xrdorder.superconductivity.currents import Conditions


def suggest(
    study: OpenStudy | str | Path,
    fields_t: Sequence[float],
    conditions: Conditions | None = None,
    limits: Limits | None = None,
    *,
    lot: str = "",
    number: int = 1,
    measured: bool = False,
    refused: Callable[[str], None] | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> tuple[LotPlan, ...]:
    """Suggest the next heat treatments of each wire lot of a study that has been run.

    Parameters
    ----------
    study : OpenStudy or path
    fields_t : sequence of float
        Fields in service, T.
    conditions : Conditions, optional
        Temperature and strain in service; 4.2 K and the pre-strain of each lot's design unless given.
    limits : Limits, optional
        Of the furnace and the wire; as reacted so far unless given.
    lot : str
        Only this wire lot.
    number : int
        Treatments to suggest, 1 to 3.
    measured : bool
        Plan by measured critical currents, Bc2 and Tc instead of estimates.
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
    results, left_out = fit_to_compare(opened.results)
    lot_of = {str(one["sample"].item()): str(one.item()) for one in opened.results["lot"]}
    if lot and lot not in lot_of.values():
        raise StudyError(no_such_lot(lot, lot_of.values()))
    conditions, samples = conditions or Conditions(4.2), opened.study.samples
    designs = {sample.lot.name: sample.lot.design for sample in samples}
    treatments = {sample.name: sample.treatment for sample in samples}
    lots = (lot,) if lot else tuple(dict.fromkeys(lot_of.values()))
    plans, reasons = [], []
    for k, name in enumerate(lots):
        if progress is not None:
            progress(k, len(lots), name or "wires")
        here = replace(conditions, design=conditions.design or designs.get(name, ""))
        of_lot = {sample for sample, one in lot_of.items() if one == name}
        try:
            if of_lot <= left_out.keys():
                raise StudyError(no_usable_fit(name, {one: left_out[one] for one in lot_of if one in of_lot}))
            plans.append(
                plan_lot(
                    results, treatments, name, here, tuple(dict.fromkeys(fields_t)), limits,
                    library=opened.library(), measured=measured, number=number,
                )
            )  # fmt: skip
        except StudyError as error:
            if len(lots) == 1:
                raise
            reasons.append(f"lot {name}: {error}")
    if not plans:
        raise StudyError("\n".join(reasons))
    if refused is not None:
        for reason in reasons:
            refused(reason)
    return tuple(plans)


_HEAD = (
    "lot", "treatment", "temperature_c", "hold_h", "total_h", "wires", "quantity", "unit", "origin", "predicted", "u",
    "difference", "u_difference", "direct", "u_direct", "direct_difference", "u_direct_difference",
    "best", "suggested", "chance_better", "worth", "keeps_constraints",
)  # fmt: skip


def write_suggestions(plans: Sequence[LotPlan], path: Path) -> None:
    """One row for each treatment, reacted or suggested, and quantity; differences are to the lot's reference treatment.

    "direct" is what the wires themselves say, the others are by the response surface.

    Raises
    ------
    StudyError
        The disk refuses.
    """

    def number(x: float) -> str:
        return f"{x:.6g}" if np.isfinite(x) else ""

    def write(temporary: Path) -> None:
        with temporary.open("w", newline="", encoding="utf-8") as file:
            writer = TableWriter(file)
            writer.writerow(_HEAD)
            for plan in plans:
                for row in rows(plan):
                    one = row.treatment
                    start = [
                        plan.lot, one.short_name, number(one.peak_c), number(one.hold_at_peak_h), number(one.total_h),
                        row.wires,
                    ]  # fmt: skip
                    for response in plan.responses:
                        cell = row.cells.get(response.key, Cell(*[np.nan] * 8))
                        proposal = row.proposals.get(response.field_t)
                        told = (proposal.chance_better, proposal.worth) if proposal else (np.nan, np.nan)
                        writer.writerow(
                            [
                                *start, response.key, response.unit, response.origin, *map(number, cell),
                                int(response.field_t in row.best_for), int(proposal is not None), *map(number, told),
                                number(row.allowed),
                            ]
                        )  # fmt: skip

    write_atomically(path, write)
