"""What to do next: the plan of the wire lot that is ahead, made once for the answer and the map."""

from __future__ import annotations

import math

from xrdorder.comparison.variants import fit_to_compare
from xrdorder.comparison.wording import probability_words
from xrdorder.exceptions import XrdorderError
from xrdorder.planning import Limits, LotPlan, plan_lot
from xrdorder.quantities.formatting import digits, rounded
from xrdorder.relations import Library
from xrdorder.results.open_study import OpenStudy
from xrdorder.superconductivity.currents import Conditions
from xrdorder.superconductivity.targets import HELIUM_K

FIELD_T = 12.0
"""Where currents are compared unless told otherwise: a usual field of acceptance tests (common practice, no source)."""


def plan_of(opened: OpenStudy, library: Library, sample: str = "") -> LotPlan | None:
    """Plan for the lot of a sample, else for the lot with most treatments; None where nothing can be planned."""
    results, _ = fit_to_compare(opened.results)
    treatments = {one.name: one.treatment for one in opened.study.samples}
    designs = {one.lot.name: one.lot.design for one in opened.study.samples}
    known: dict[str, set[object]] = {}
    for k, name in enumerate(results["sample"].values.astype(str)):
        if treatments.get(name) is not None and math.isfinite(results["a_nm"].values[k]):
            known.setdefault(str(results["lot"].values[k]), set()).add(treatments[name])
    lot_of = dict(zip(results["sample"].values.astype(str), results["lot"].values.astype(str), strict=True))
    if not known:
        return None
    lot = lot_of[sample] if lot_of.get(sample) in known else max(known, key=lambda one: len(known[one]))
    dose = opened.study.dose
    try:
        return plan_lot(
            results, treatments, lot, Conditions(HELIUM_K, design=designs.get(lot, "")), (FIELD_T,),
            Limits(dose=(dose.q_kj_per_mol, dose.reference_c)), library=library,
        )  # fmt: skip
    except XrdorderError:
        return None


def next_words(found: LotPlan) -> str:
    """Say in a sentence or two which treatment is worth reacting next, and why; empty where none is proposed."""
    for current in found.currents:
        plan = found.plans.get(current.key)
        if plan is None or not plan.proposals:
            continue
        one = plan.proposals[0]
        said = f"{found.label(one.schedule)} of lot {found.lot}" if found.lot else found.label(one.schedule)
        if math.isfinite(one.chance_better) and math.isfinite(one.worth):
            more = rounded(one.difference, one.u_difference, current.unit, signed=True)
            gain = f"{digits(one.worth, 2)} {current.unit}".strip()
            return (
                f"{said}: {current.noun} {more} against the best so far, higher with probability "
                f"{probability_words(one.chance_better)}; expected gain {gain}."
            )
        if plan.state == "flat":
            return f"{said}: the treatments do not differ significantly in {current.noun}; it tests for a difference."
        return f"{said}."
    return ""
