"""A plan in words: what is measured, what is best so far, what to react next."""

from __future__ import annotations

import numpy as np

from xrdorder.planning.choice import BY_CHANCE
from xrdorder.planning.planner import Plan, Proposal
from xrdorder.planning.study import LotPlan
from xrdorder.quantities.formatting import digits, rounded


def measured_words(lot_plan: LotPlan, k: int) -> str:
    """Say whether anything that was measured of the objective differs, and what could have been seen."""
    plan = lot_plan.plans[k]
    noun, at = lot_plan.maximised, ""
    if plan.objective.relative:
        noun, at = "current", f" at {lot_plan.fields_t[k]:g} T"
    if len(plan.direct.value) < 2:
        many = "no" if not len(plan.direct.value) else "only one"
        return f"{many} {noun} of this lot{at}; what follows is expected from growth, not measured"
    size = plan.direct.visible
    visible = f"{digits(plan.objective.factor * size, 1 if plan.objective.relative else 2)} {plan.objective.unit}"
    if not plan.differ:
        return f"no {noun}{at} differs significantly (smallest visible {visible})"
    count = len(plan.treatments)
    pairs = sum(plan.better(a, b) for a in range(count) for b in range(count) if a != b)
    sure = f"; {pairs} of {count * (count - 1) // 2} pairs are told apart for certain" if pairs else ""
    return f"{noun}s{at} differ significantly (P by chance below {BY_CHANCE:g}; visible {visible}){sure}"


def best_words(lot_plan: LotPlan, k: int) -> str:
    """Say which treatment is best so far, how surely, and what is as good."""
    plan = lot_plan.plans[k]
    text = f"{lot_plan.label(plan.treatments[plan.best])} by {lot_plan.noun(k)} (P {plan.chance_best:.2f})"
    return f"{text}; within 1 % of the optimum: {good_words(plan)}"


def good_words(plan: Plan) -> str:
    """Range of the candidates within 1 % of the optimum."""
    if not len(plan.good):
        return "nothing inside the limits"
    (low, short), (high, long) = plan.good.min(axis=0), plan.good.max(axis=0)
    return f"{_range(low, high)} °C, {_range(short, long)} h"


def _range(low: float, high: float) -> str:
    return f"{low:g}" if low == high else f"{low:g}-{high:g}"


def next_words(lot_plan: LotPlan, k: int, j: int) -> str:
    """Say a proposal: what is expected, the copper there, what limits it."""
    plan = lot_plan.plans[k]
    proposal = plan.proposals[j]
    repeat = "repeat " if proposal.replicate else ""
    limits = f"; limited by {' and '.join(proposal.limits)}" if proposal.limits else ""
    value = f" ({_value(lot_plan, proposal)})" if lot_plan.amperes and lot_plan.maximised == "Ic" else ""
    # what a wire may teach counts as well as what it is expected to be, unless patterns are all there will be
    by_mean = not j and lot_plan.process.without_currents(plan.objective)
    purpose = "the best not reacted yet" if by_mean else "chosen for what it tells about the optimum"
    purpose = "" if proposal.chance_better >= 0.5 else f", {purpose}"
    told = plan.objective
    gain = rounded(told.factor * proposal.gain, told.factor * proposal.u_gain, told.unit, signed=True)
    return (
        f"{repeat}{lot_plan.label(proposal.schedule)}: {lot_plan.noun(k)} expected "
        f"{gain}{value}, better with P {proposal.chance_better:.2f}{purpose}; {_copper(lot_plan, proposal)}{limits}"
    )


def _value(lot_plan: LotPlan, proposal: Proposal) -> str:
    amperes = float(np.exp(proposal.value))
    text = rounded(amperes, amperes * proposal.u, "A")
    if np.isfinite(lot_plan.area_mm2):
        density = amperes / lot_plan.area_mm2
        text += f", {rounded(density, density * proposal.u, 'A/mm²')} without copper"
    return text


def _copper(lot_plan: LotPlan, proposal: Proposal) -> str:
    low, middle, high = (digits(x, 2) for x in proposal.rrr)
    n = lot_plan.rrr_wires
    known = f"{n} RRR of this lot" if n else "one published wire"
    return f"copper RRR there about {middle} ({low}-{high}), from {known}"
