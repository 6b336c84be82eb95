"""Plans on the terminal: three sentences, one table; the rest in detail."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from xrdorder.cli.console import Entry, Part
from xrdorder.planning.conversion_courses import LAW
from xrdorder.planning.foretold import foretold, noun_of, suggested
from xrdorder.planning.plan_words import best_words, measured_words, next_words
from xrdorder.quantities.formatting import digits, rounded
from xrdorder.quantities.tables import Heading, Table

if TYPE_CHECKING:
    from xrdorder.planning.study import LotPlan
    from xrdorder.results.open_study import OpenStudy


def lot_parts(found: "LotPlan", *, details: bool = False) -> list[Part]:
    """Say the plan of one lot."""
    n, different = len(found.treatments), len(found.wires.treatments)
    parts: list[Part] = [
        f"Lot {found.lot or 'without a name'} {found.conditions.words()}: {n} wire{'s' * (n != 1)}, "
        f"{different} treatment{'s' * (different != 1)}"
    ]
    for k in range(len(found.plans)):
        parts += [Entry("Measured", measured_words(found, k)), Entry("Best so far", best_words(found, k))]
        parts += [Entry("Next" if not j else "then", text) for j, text in enumerate(_nexts(found, k))]
    if found.maximised == "Ic" and not found.amperes:
        parts.append(Entry("Cheaper", "measure Ic of the wires you have (critical_current_a), not more patterns"))
    parts += ["", found.table(details=details)]
    if details:
        parts += ["", *_behind(found)]
    return [*parts, *(f"Note: {note}" for note in found.notes)]


def _nexts(found: "LotPlan", k: int) -> list[str]:
    plan = found.plans[k]
    if not plan.proposals:
        return [f"nothing to suggest: {plan.reason or 'nothing is measured of the wires that would tell'}"]
    words = [next_words(found, k, j) for j in range(len(plan.proposals))]
    if plan.may_stop:
        words[0] = f"you may stop: little is to be gained. Else {words[0]}"
    return words


def _behind(found: "LotPlan") -> Iterator[Part]:
    """What stands behind the answer: priors, where proposals were looked for, worth."""
    process = found.process.process
    narrow = "narrow, as two treatments or more have measured currents" if process.narrow else "wide"
    yield f"Kinetics of {found.process.route.name} wire, priors {narrow}; held against {_held(found)}."
    q, u_q, tau, u_tau = found.process.conversion
    yield f"Conversion: activation energy {rounded(q, u_q)} kJ/mol, {rounded(tau, u_tau)} h at 650 °C for 1 - 1/e."
    for k, plan in enumerate(found.plans):
        yield f"{found.noun(k)}: looked for in {plan.region}; {int(plan.allowed.sum())} treatments compared."
        for j, one in enumerate(plan.proposals, start=1):
            unit = {"Ic": "%", "Bc2": "T", "Tc": "K"}[found.maximised]
            worth = (100.0 if plan.objective.relative else 1.0) * one.worth
            yield f"  {j}  {found.label(one.schedule)}: the best is expected to rise by {digits(worth, 2)} {unit}"


def _held(found: "LotPlan") -> str:
    counts: dict[str, int] = {}
    for one in found.wires.observed:
        for kind, places in one.parts:
            counts[kind] = counts.get(kind, 0) + (1 if kind == LAW else len(places))
    return ", ".join(f"{n} x {noun_of(kind)}" for kind, n in counts.items())


def foretold_parts(found: "LotPlan", opened: "OpenStudy") -> list[Part]:
    """Predicted against found, of wires that were reacted as suggested."""
    treatments = {one.name: one.treatment for one in opened.study.samples}
    told = foretold(found, opened.results, suggested(treatments, opened.study.treatments))
    if not told:
        return []
    lines = [
        [one.treatment, f"{one.noun} ({one.unit})" if one.unit else one.noun, rounded(one.predicted, one.u_predicted),
         rounded(one.found, one.u_found), f"{one.score:+.1f}"] for one in told
    ]  # fmt: skip
    misses = list(dict.fromkeys(one.says for one in told if one.says))
    said = f"Missed: {'; '.join(misses)}." if misses else "All within their uncertainty: the model holds there."
    title = "Predicted by the other wires, against found"
    heads = [Heading("treatment"), Heading("quantity"), Heading("predicted"), Heading("found"), Heading("miss", "u")]
    return ["", Table.of(heads, lines, title=title), "", said]
