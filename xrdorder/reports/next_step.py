"""What to do next: the plan of the wire lot that is ahead, made once for the answer and the map."""

from __future__ import annotations

import math

from xrdorder.comparison.variants import fit_to_compare
from xrdorder.exceptions import XrdorderError
from xrdorder.planning import plan_words
from xrdorder.planning.study import LotPlan
from xrdorder.planning.suggestion import plan_described
from xrdorder.results.open_study import OpenStudy
from xrdorder.superconductivity.currents import Conditions
from xrdorder.superconductivity.targets import HELIUM_K

FIELD_T = 12.0
"""Where currents are compared unless told otherwise: a usual field of acceptance tests (common practice, no source)."""


def plan_of(opened: OpenStudy, sample: str = "") -> LotPlan | None:
    """Plan for the lot of a sample, else for the lot with most treatments; None where nothing can be planned."""
    results, _ = fit_to_compare(opened.results)
    treatments = {sample.name: sample.treatment for sample in opened.study.samples}
    known: dict[str, set[object]] = {}
    for k, name in enumerate(results["sample"].values.astype(str)):
        if treatments.get(name) is not None and math.isfinite(results["a_nm"].values[k]):
            known.setdefault(str(results["lot"].values[k]), set()).add(treatments[name])
    lot_of = dict(zip(results["sample"].values.astype(str), results["lot"].values.astype(str), strict=True))
    if not known:
        return None
    lot = lot_of[sample] if lot_of.get(sample) in known else max(known, key=lambda proposal: len(known[proposal]))
    try:
        return plan_described(opened, results, lot, (FIELD_T,), Conditions(HELIUM_K))
    except XrdorderError:
        return None


def next_words(lot_plan: LotPlan) -> str:
    """Say in a sentence which treatment is worth reacting next, and why; empty where none is proposed."""
    if not lot_plan.plans[0].proposals:
        return ""
    of_lot = f"Lot {lot_plan.lot}: " if lot_plan.lot else ""
    return f"{of_lot}{plan_words.next_words(lot_plan, 0, 0)}."
