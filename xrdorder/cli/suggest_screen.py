"""Plans on the terminal: three sentences, one table; the rest in detail."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from xrdorder.cli.console import Entry, Part
from xrdorder.planning.foretold import foretold, suggested
from xrdorder.planning.kinds import LAW, kind_of
from xrdorder.planning.plan_words import best_words, measured_words, next_words
from xrdorder.quantities.formatting import digits, rounded, with_sign
from xrdorder.quantities.tables import Heading, Table

if TYPE_CHECKING:
    from xrdorder.planning.study import LotPlan
    from xrdorder.results.open_study import OpenStudy


def lot_parts(lot_plan: "LotPlan", *, details: bool = False) -> list[Part]:
    """Say the plan of one lot."""
    n, different = len(lot_plan.treatments), len(lot_plan.wires.treatments)
    parts: list[Part] = [
        f"Lot {lot_plan.lot or 'without a name'} {lot_plan.conditions.words()}: {n} wire{'s' * (n != 1)}, "
        f"{different} treatment{'s' * (different != 1)}"
    ]
    for k in range(len(lot_plan.plans)):
        parts += [Entry("Measured", measured_words(lot_plan, k)), Entry("Best so far", best_words(lot_plan, k))]
        parts += [Entry("Next" if not j else "then", text) for j, text in enumerate(_nexts(lot_plan, k))]
    if lot_plan.maximised == "Ic" and not lot_plan.amperes:
        parts.append(Entry("Cheaper", "measure Ic of the wires you have (critical_current_a), not more patterns"))
    parts += ["", lot_plan.table(details=details)]
    if details:
        parts += ["", *_behind(lot_plan)]
    return [*parts, *(f"Note: {note}" for note in lot_plan.notes)]


def _nexts(lot_plan: "LotPlan", k: int) -> list[str]:
    plan = lot_plan.plans[k]
    if not plan.proposals:
        return [f"nothing to suggest: {plan.reason or 'nothing is measured of the wires that would tell'}"]
    words = [next_words(lot_plan, k, j) for j in range(len(plan.proposals))]
    if plan.may_stop:
        words[0] = f"you may stop: little is to be gained. Else {words[0]}"
    return words


def _behind(lot_plan: "LotPlan") -> Iterator[Part]:
    """What stands behind the answer: priors, where proposals were looked for, worth."""
    process = lot_plan.process.process
    narrow = "narrow, as two treatments or more have measured currents" if process.narrow else "wide"
    yield f"Kinetics of {lot_plan.process.route.name} wire, priors {narrow}; held against {_held(lot_plan)}."
    q, u_q, tau, u_tau = lot_plan.process.conversion
    yield f"Conversion: activation energy {rounded(q, u_q)} kJ/mol, {rounded(tau, u_tau)} h at 650 °C for 1 - 1/e."
    for k, plan in enumerate(lot_plan.plans):
        yield f"{lot_plan.noun(k)}: looked for in {plan.region}; {int(plan.allowed.sum())} treatments compared."
        for j, proposal in enumerate(plan.proposals, start=1):
            worth, unit = plan.objective.factor * proposal.worth, plan.objective.unit
            label = lot_plan.label(proposal.schedule)
            yield f"  {j}  {label}: the best is expected to rise by {digits(worth, 2)} {unit}"


def _held(lot_plan: "LotPlan") -> str:
    counts: dict[str, int] = {}
    for observation in lot_plan.wires.observed:
        for kind, places in observation.parts:
            counts[kind] = counts.get(kind, 0) + (1 if kind == LAW else len(places))
    return ", ".join(f"{n} x {kind_of(kind).noun}" for kind, n in counts.items())


def foretold_parts(lot_plan: "LotPlan", opened: "OpenStudy") -> list[Part]:
    """Predicted against found, of wires that were reacted as suggested."""
    treatments = {sample.name: sample.treatment for sample in opened.study.samples}
    told = foretold(lot_plan, opened.results, suggested(treatments, opened.study.treatments))
    if not told:
        return []
    lines = [
        [entry.treatment, f"{entry.noun} ({entry.unit})" if entry.unit else entry.noun,
         rounded(entry.predicted, entry.u_predicted), rounded(entry.found, entry.u_found),
         with_sign(entry.score, ".1f")] for entry in told
    ]  # fmt: skip
    misses = list(dict.fromkeys(entry.says for entry in told if entry.says))
    said = f"Missed: {'; '.join(misses)}." if misses else "All within their uncertainty: the model holds there."
    title = "Predicted by the other wires, against found"
    heads = [Heading("treatment"), Heading("quantity"), Heading("predicted"), Heading("found"), Heading("miss", "u")]
    return ["", Table.of(heads, lines, title=title), "", said]
