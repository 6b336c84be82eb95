"""Plans of heat treatments: three sentences, one table; the rest in detail."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from xrdorder import figures
from xrdorder.planning.foretold import Foretold, foretold, suggested
from xrdorder.planning.kinds import LAW, kind_of
from xrdorder.planning.plan_words import best_words, measured_words, next_words
from xrdorder.planning.study import LotPlan
from xrdorder.planning.suggestion import Row, rows
from xrdorder.quantities.formatting import MISSING, digits, rounded, with_sign
from xrdorder.quantities.tables import Column, Entry, Heading, Part, Table, entries
from xrdorder.results.open_study import OpenStudy
from xrdorder.views.showing import figure, frame, parts, table, title

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from xrdorder.treatments import History

_MOST_TREATMENTS = 24


@title.register(LotPlan)
def _(lot_plan: LotPlan) -> str:
    n, different = len(lot_plan.treatments), len(lot_plan.wires.treatments)
    return (
        f"Lot {lot_plan.lot or 'without a name'} {lot_plan.conditions.words()}: {n} wire{'s' * (n != 1)}, "
        f"{different} treatment{'s' * (different != 1)}"
    )


@frame.register(LotPlan)
def _(lot_plan: LotPlan) -> pd.DataFrame:
    import pandas as pd

    lines = [
        {"lot": lot_plan.lot, "maximised": lot_plan.noun(k), **asdict(row)}
        for k in range(len(lot_plan.plans)) for row in rows(lot_plan, k)
    ]  # fmt: skip
    return pd.DataFrame(lines)


@figure.register(LotPlan)
def _(lot_plan: LotPlan, **options: Any) -> Figure:
    return figures.planning_figure(lot_plan, **options)


@table.register(LotPlan)
def _(lot_plan: LotPlan, details: bool = True) -> Table:
    """Give treatments reacted and suggested as differences to the best so far; without `details` the first of many."""
    by_name = [{row.treatment: row for row in rows(lot_plan, k)} for k in range(len(lot_plan.plans))]
    some = {name: [of[name] for of in by_name if name in of] for of in by_name for name in of}
    unit = lot_plan.plans[0].objective.unit
    columns: list[Column[str]] = [
        ("treatment", lambda name: lot_plan.label(_history(lot_plan, name))),
        (Heading("wires"), lambda name: str(some[name][0].wires)),
    ]
    measured = False
    for k, of in enumerate(by_name):
        at = f" {lot_plan.fields_t[k]:g} T" if lot_plan.maximised == "Ic" else ""
        columns.append((Heading(f"Δ{lot_plan.maximised}{at}", unit), partial(_expected, of)))
        if any(_measured(of, name) != MISSING for name in of):
            measured = True
            columns.append((Heading("measured", unit), partial(_measured, of)))
    columns.append((Heading("RRR"), lambda name: digits(some[name][0].rrr, 2)))
    columns.append(("", lambda name: ", ".join(dict.fromkeys(row.role for row in some[name] if row.role))))
    shown = list(some) if details else list(some)[:_MOST_TREATMENTS]
    more = f" {len(some) - len(shown)} more stand in the table file." if len(shown) < len(some) else ""
    best = lot_plan.label(lot_plan.plans[0].treatments[lot_plan.plans[0].best])
    title = f"Differences to {best}, expected by the kinetics{' and measured' * measured}.{more}"
    return Table.by(shown, columns, title=title)


def _expected(by_name: Mapping[str, Row], name: str) -> str:
    """Difference to the best, as the kinetics have it."""
    if (row := by_name.get(name)) is None:
        return MISSING
    return "0" if row.u_difference < 1e-9 else rounded(row.difference, row.u_difference)


def _measured(by_name: Mapping[str, Row], name: str) -> str:
    row = by_name.get(name)
    if row is None or not np.isfinite(row.measured_difference) or row.role.startswith("best"):
        return MISSING
    return rounded(row.measured_difference, row.u_measured_difference)


def _history(lot_plan: LotPlan, name: str) -> History:
    every = [*lot_plan.wires.treatments, *(proposal.schedule for plan in lot_plan.plans for proposal in plan.proposals)]
    return next(entry for entry in every if entry.short_name == name)


@parts.register(LotPlan)
def _(lot_plan: LotPlan, details: bool = False) -> list[Part]:
    """What is measured, what is best so far, what to react next; the table; what stands behind."""
    said: list[Part] = [title(lot_plan)]
    for k in range(len(lot_plan.plans)):
        said += [Entry("Measured", measured_words(lot_plan, k)), Entry("Best so far", best_words(lot_plan, k))]
        said += entries("Next", _nexts(lot_plan, k), "then")
    if lot_plan.maximised == "Ic" and not lot_plan.amperes:
        said.append(Entry("Cheaper", "measure Ic of the wires you have (critical_current_a), not more patterns"))
    said += ["", lot_plan.table(details=details), *(["", *_behind(lot_plan)] if details else [])]
    return [*said, *(f"Note: {note}" for note in lot_plan.notes)]


def _nexts(lot_plan: LotPlan, k: int) -> list[str]:
    plan = lot_plan.plans[k]
    if not plan.proposals:
        return [f"nothing to suggest: {plan.reason or 'nothing is measured of the wires that would tell'}"]
    words = [next_words(lot_plan, k, j) for j in range(len(plan.proposals))]
    if plan.may_stop:
        words[0] = f"you may stop: little is to be gained. Else {words[0]}"
    return words


def _behind(lot_plan: LotPlan) -> Iterator[Part]:
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


def _held(lot_plan: LotPlan) -> str:
    counts: dict[str, int] = {}
    for observation in lot_plan.wires.observed:
        for kind, places in observation.parts:
            counts[kind] = counts.get(kind, 0) + (1 if kind == LAW else len(places))
    return ", ".join(f"{n} x {kind_of(kind).noun}" for kind, n in counts.items())


def foretold_parts(lot_plan: LotPlan, opened: OpenStudy) -> list[Part]:
    """Predicted against found, of wires that were reacted as suggested."""
    treatments = {sample.name: sample.treatment for sample in opened.study.samples}
    told = foretold(lot_plan, opened.results, suggested(treatments, opened.study.treatments))
    if not told:
        return []
    misses = list(dict.fromkeys(entry.says for entry in told if entry.says))
    said = f"Missed: {'; '.join(misses)}." if misses else "All within their uncertainty: the model holds there."
    columns: tuple[Column[Foretold], ...] = (
        (Heading("treatment"), lambda entry: entry.treatment),
        (Heading("quantity"), lambda entry: f"{entry.noun} ({entry.unit})" if entry.unit else entry.noun),
        (Heading("predicted"), lambda entry: rounded(entry.predicted, entry.u_predicted)),
        (Heading("found"), lambda entry: rounded(entry.found, entry.u_found)),
        (Heading("miss", "u"), lambda entry: with_sign(entry.score, ".1f")),
    )
    return ["", Table.by(told, columns, title="Predicted by the other wires, against found"), "", said]
