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
    noun = {"Ic": "current", "Bc2": "Bc2", "Tc": "Tc"}[lot_plan.maximised]
    at = f" at {lot_plan.fields_t[k]:g} T" if lot_plan.maximised == "Ic" else ""
    if len(plan.direct.value) < 2:
        many = "no" if not len(plan.direct.value) else "only one"
        return f"{many} {noun} of this lot{at}; what follows is expected from growth, not measured"
    size = plan.direct.visible
    visible = f"{digits(100.0 * size, 1)} %" if plan.objective.relative else _amount(size, lot_plan)
    if not plan.differ:
        return f"no {noun}{at} differs significantly (smallest visible {visible})"
    count = len(plan.treatments)
    pairs = sum(plan.better(a, b) for a in range(count) for b in range(count) if a != b)
    sure = f"; {pairs} of {count * (count - 1) // 2} pairs are told apart for certain" if pairs else ""
    return f"{noun}s{at} differ significantly (P by chance {_chance(plan.direct.p_alike)}; visible {visible}){sure}"


def _chance(p: float) -> str:
    return f"below {BY_CHANCE:g}" if p < BY_CHANCE else f"{p:.2f}"


def _amount(value: float, lot_plan: LotPlan) -> str:
    return f"{digits(value, 2)} {'K' if lot_plan.maximised == 'Tc' else 'T'}"


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
    return (
        f"{repeat}{lot_plan.label(proposal.schedule)}: {lot_plan.noun(k)} expected "
        f"{_gain(plan, proposal, lot_plan)}{value}, better with "
        f"P {proposal.chance_better:.2f}{purpose}; {_copper(lot_plan, proposal)}{limits}"
    )


def _gain(plan: Plan, proposal: Proposal, lot_plan: LotPlan) -> str:
    if plan.objective.relative:
        return rounded(100.0 * proposal.gain, 100.0 * proposal.u_gain, "%", signed=True)
    unit = "K" if lot_plan.maximised == "Tc" else "T"
    return rounded(proposal.gain, proposal.u_gain, unit, signed=True)


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
