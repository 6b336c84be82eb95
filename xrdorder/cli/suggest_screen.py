"""Plans on the terminal: what is best, what to react next and why, one table; the rest in detail."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.cli.console import Entry, Part
from xrdorder.planning import HoldBound, plan_words
from xrdorder.planning.treatments_table import Row, basis, reference, rows, wires_of
from xrdorder.quantities.formatting import digits, rounded
from xrdorder.quantities.tables import Heading, Table

if TYPE_CHECKING:
    from xrdorder.planning import LotPlan, Response

_MOST_ROWS = 24
_MOST_NAMED = 8
_NORMAL = "normal"


def lot_parts(found: "LotPlan", *, details: bool = False) -> list[Part]:
    """Say the plan of one lot."""
    n, different = len(found.treatments), len(found.distinct)
    parts: list[Part] = [
        f"Lot {found.lot or 'without a name'} {found.conditions.words()}: {n} wire{'s' * (n != 1)}, "
        f"{different} treatment{'s' * (different != 1)}"
    ]
    if details:
        return [*parts, *_limits(found), "", *_differences(found, details=True), *_everything(found)]
    parts += [*_answer(found), ""]
    return [*parts, *_differences(found, details=False), *(f"Note: {note}" for note in found.notes)]


def _answer(found: "LotPlan") -> Iterator[Part]:
    """Best so far, the next treatment, and why, for each field."""
    states: dict[str, list[str]] = {}
    nexts: dict[str, list[str]] = {}
    whys: dict[str, None] = {}
    notes: dict[str, None] = {}
    for one in found.currents:
        field = f"{one.field_t:g} T"
        if one.key not in found.plans:
            states.setdefault(one.reason, []).append(field)
            continue
        plan = found.plans[one.key]
        first, *more = (line.removeprefix(f"{one.noun}: ") for line in plan_words(plan, one.unit, one.noun))
        states.setdefault(first, []).append(field)
        for proposal in plan.proposals:
            said = next((line for line in more if line.startswith(f"react {found.label(proposal.schedule)}")), "")
            nexts.setdefault(found.label(proposal.schedule), []).append(f"{field}: {said.partition(': ')[2] or said}")
        whys.update(dict.fromkeys(_why_flat(found, one)))
        notes.update(dict.fromkeys(plan.notes))
    for text, fields in states.items():
        yield Entry("At " + ", ".join(fields), text)
    for treatment, reasons in nexts.items():
        yield Entry("React next", f"{treatment} ({'; '.join(reasons)})")
    for text in list(whys)[:1]:
        yield Entry("Why", text)
    yield from (Entry("", text) for text in (*notes, *_both_fields(found)))


def _why_flat(found: "LotPlan", one: "Response") -> Iterator[str]:
    """Say why treatments cannot be told apart, and what would help."""
    if found.plans[one.key].state == "flat" and one.origin == "estimate" and one.values is not None:
        yield (
            f"each wire is known to {digits(np.median(one.values.own), 2)} {one.unit} by itself and all lie within "
            f"{digits(np.ptp(one.values.value), 2)}: most of that uncertainty is how specimens scatter about published "
            "relations. Measured critical currents tell more (critical_current_a in study.toml, --measured)."
        )


def _limits(found: "LotPlan") -> list[Part]:
    furnace = found.space.furnace
    ramps = " to ".join(f"{ramp:g}" for ramp in dict.fromkeys((furnace.ramps[0], furnace.ramps[-1])))
    (low, high), (short, long) = furnace.temperature_c, furnace.hours
    text = f"Last hold within {low:g} to {high:g} °C and {short:g} to {long:g} h, ramp {ramps} K/h"
    if np.isfinite(furnace.total_h):
        text += f", {furnace.total_h:g} h in all"
    if furnace.before:
        text += "; before it " + " + ".join(step.short_name for step in furnace.before) + " h as so far"
    parts: list[Part] = [f"{text}. Limits that were not given are those of the treatments reacted."]
    if found.space.dose is not None:
        energy, at = found.space.dose
        parts.append(f"Treatments compare by temperature and dose ({energy:g} kJ/mol, hours at {at:g} °C).")
    if found.constraints:
        parts.append("Constraints: " + "; ".join(one.words for one in found.constraints))
    return parts


def _shown(found: "LotPlan", every: Sequence[Row]) -> list[Row]:
    """Rows of a table that can be read: those that matter, then others as they come."""
    if len(every) <= _MOST_ROWS:
        return list(every)
    both = found.front
    best = {both.treatments[k].short_name for k in np.flatnonzero(both.on_front)} if both else set()
    matters = [bool(row.best_for or row.next_for) or row.treatment.short_name in best for row in every]
    room = _MOST_ROWS - sum(matters)
    shown = []
    for row, one in zip(every, matters, strict=True):
        if one or room > 0:
            shown.append(row)
            room -= not one
    return shown


def _differences(found: "LotPlan", *, details: bool) -> list[Part]:
    """What the wires and the surfaces say of treatments, as differences to one of them."""
    columns = [one for one in found.responses if one.key in found.plans and found.plans[one.key].process is not None]
    if not columns:
        return ["No response surface can be drawn yet."]
    every = rows(found)
    shown = _shown(found, every)
    against = reference(found)
    base = next(row for row in every if found.label(row.treatment) == found.label(against))
    name = found.label(against)
    rest = f" {len(every) - len(shown)} more stand in the table file." if len(shown) < len(every) else ""
    if not details:
        title = f"Differences to {name}: of reacted treatments by the wires, of suggested ones by the response surface"
        reading = f"After ±: standard uncertainty (k = 1), shared parts cancelled.{rest}"
        table = _table(found, columns, shown, base, title, direct=None)
        return [table, "", reading, *_above_bc2(found, columns, every, base), *_missed(found, every)]
    reacted = [row for row in shown if row.wires]
    return [
        _table(found, columns, reacted, base, f"Differences to {name}, by the wires themselves", direct=True),
        "",
        _table(found, columns, shown, base, f"Differences to {name}, by the response surfaces", direct=False),
        "",
        f"What all wires share has cancelled. {name} itself: {', '.join(_absolutes(found, columns, base))}.{rest}",
        *_above_bc2(found, columns, every, base),
        _reading(found, columns, every, base),
        *_missed(found, every),
    ]


def _absolutes(found: "LotPlan", columns: Sequence["Response"], base: Row) -> Iterator[str]:
    for one in columns:
        if not np.isfinite(one.field_t):
            cell = base.cells[one.key]
            known = (cell.direct, cell.u_direct) if np.isfinite(cell.direct) else (cell.value, cell.u)
            normal = one.normal(wires_of(found, base.treatment))
            yield f"{one.noun} {_NORMAL if normal else rounded(*known, one.unit)}"


def _table(
    found: "LotPlan",
    columns: Sequence["Response"],
    shown: Sequence[Row],
    base: Row,
    title: str,
    *,
    direct: bool | None,
) -> Table:
    """Differences by the wires (`direct`), by the surfaces, or (None) by the wires where there are any."""
    keeps = bool(found.constraints) and not direct
    bases = {
        one.key: basis(found, one, base.cells[one.key].value if direct is False else base.cells[one.key].direct)
        for one in columns
    }
    head = [Heading("treatment", numeric=False), Heading("in all", "h", optional=3), Heading("wires", optional=2)]
    head += [Heading(_short(one), bases[one.key].unit) for one in columns]
    head += [*[Heading("P keeps constraints")] * keeps, Heading("", numeric=False)]
    lines = []
    for row in shown:
        by_wires = bool(row.wires) if direct is None else direct
        cells = [found.label(row.treatment), f"{row.treatment.total_h:.0f}", str(row.wires)]
        for one in columns:
            cell = row.cells[one.key]
            # a surface knows no zero: a current, or Bc2, of nothing or less is one above Tc or Bc2
            normal = one.normal(wires_of(found, row.treatment))
            normal = normal or (not by_wires and bool(one.carries) and cell.value <= 0.0)
            known = (cell.difference, cell.u_difference)
            if by_wires:
                known = (cell.direct_difference, cell.u_direct_difference)
            factor = bases[one.key].factor
            cells.append(_NORMAL if normal else "0" if row is base else _rounded(factor * known[0], factor * known[1]))
        lines.append([*cells, *[f"{row.allowed:.2f}"] * keeps, _role(row)])
    return Table.of(head, lines, title=title)


def _reading(found: "LotPlan", columns: Sequence["Response"], every: Sequence[Row], base: Row) -> str:
    """Why surfaces and wires differ, and how a comparison goes about it."""
    pulled = [
        (abs(cell.direct_difference - cell.difference) / cell.u_direct_difference, row, one)
        for row in every
        for one in columns
        if not np.isfinite(one.field_t) and (cell := row.cells[one.key]).u_direct_difference > 0.0
    ]
    example = ""
    if pulled:
        _, row, one = max(pulled, key=lambda each: each[0])
        cell = row.cells[one.key]
        example = (
            f" ({one.noun} of {found.label(row.treatment)} less {found.label(base.treatment)}: "
            f"{_rounded(cell.difference, cell.u_difference)} {one.unit} by the surface, "
            f"{_rounded(cell.direct_difference, cell.u_direct_difference)} {one.unit} by the wires)"
        )
    text = (
        f"The Gaussian process shrinks noisy data towards the mean{example}: compare what was reacted by the wires."
    )
    beyond = any(
        cell.direct_difference - cell.u_direct_difference < -base.cells[one.key].direct
        for row in every
        for one in columns
        if np.isfinite(one.field_t) and np.isfinite((cell := row.cells[one.key]).direct)
    )
    if beyond:
        text += (
            f" No current falls by more than 100 % of that of {found.label(base.treatment)}: where ± reaches beyond, "
            "it is as good as unknown, and the command fields gives its uneven interval."
        )
    if any(one.origin == "estimate" and one.key == "Bc2_T" for one in columns):
        text += " The command compare takes Bc2 free of strain, and draws that suit the wires of all lots."
    return text


def _above_bc2(found: "LotPlan", columns: Sequence["Response"], every: Sequence[Row], base: Row) -> list[Part]:
    """Say what "normal" means, and why a current is not told in per cent of the reference treatment."""
    parts: list[Part] = []
    if any(one.normal(wires_of(found, row.treatment)) for one in columns for row in every):
        parts.append("Normal: above Tc or Bc2, as far as can be told; it carries nothing.")
    weak = [
        f"{one.field_t:g}"
        for one in columns
        if any(basis(found, one, known).of_mean for known in (base.cells[one.key].direct, base.cells[one.key].value))
    ]
    if weak:
        parts.append(
            f"At {' and '.join(weak)} T {found.label(base.treatment)} may be above its Bc2 or carries hardly "
            "anything: differences of currents are given in % of the mean of all wires."
        )
    return parts


def _missed(found: "LotPlan", every: Sequence[Row]) -> list[Part]:
    """By how much treatments that were reacted exceed a bound on hours."""
    parts: list[Part] = []
    for bound in found.constraints:
        if not isinstance(bound, HoldBound):
            continue
        over = bound.excess_h([row.treatment for row in every])
        missed = [(row, hours) for row, hours in zip(every, over, strict=True) if hours > 0.0]
        if missed:
            told = [f"{found.label(row.treatment)} by {digits(hours, 2)} h" for row, hours in missed[:_MOST_NAMED]]
            more = f" and {len(missed) - _MOST_NAMED} more" if len(missed) > _MOST_NAMED else ""
            parts.append(f"Not kept: {bound.words}, ramps counted: {', '.join(told)}{more}.")
    return parts


def _short(one: "Response") -> str:
    return f"current {one.field_t:g} T" if np.isfinite(one.field_t) else one.noun


def _rounded(value: float, u: float) -> str:
    return rounded(value, u) if np.isfinite(value) else "-"


def _role(row: Row) -> str:
    said = (("best at", row.best_for), ("next for", row.next_for))
    return "; ".join(f"{words} {', '.join(f'{field:g}' for field in fields)} T" for words, fields in said if fields)


def _everything(found: "LotPlan") -> list[Part]:
    """Every plan in words: currents with proposals, other quantities, the Pareto front, notes."""
    parts: list[Part] = []
    for one in found.currents:
        parts += ["", one.noun[0].upper() + one.noun[1:]]
        if one.key not in found.plans:
            parts.append(f"  {one.reason}")
            continue
        parts += [f"  {line}" for line in plan_words(found.plans[one.key], one.unit, one.noun)]
        parts += [f"  {text}" for text in _why_flat(found, one)]
    parts += [text for line in _both_fields(found) for text in ("", line)]
    parts += ["", "Other quantities", *_others(found), "", _front(found)]
    return [*parts, *(["", *(f"  Note: {note}" for note in found.notes)] if found.notes else [])]


def _both_fields(found: "LotPlan") -> list[str]:
    """Whether fields ask for different treatments."""
    best = {
        one.field_t: found.label(plan.best.schedule)
        for one in found.currents
        if (plan := found.plans.get(one.key)) is not None and plan.best is not None
    }
    if len(best) < 2:
        return []
    if len(set(best.values())) == 1:
        fields = " and ".join(f"{field:g}" for field in best)
        return [f"At {fields} T the best so far is the same: {next(iter(best.values()))}."]
    each = ", ".join(f"{name} at {field:g} T" for field, name in best.items())
    return [f"The fields ask for different treatments: {each}."]


def _others(found: "LotPlan") -> Iterator[str]:
    """Bc2, Tc and grains in a line each."""
    for one in found.responses:
        if np.isfinite(one.field_t):
            continue
        if one.key not in found.plans:
            yield f"  {one.reason}"
            continue
        words = plan_words(found.plans[one.key], one.unit, one.noun)[0]
        better, best = ("higher", "highest") if one.maximise else ("smaller", "smallest")
        yield f"  {words.replace('is better with', f'is {better} with').replace('best so far', f'{best} so far')}"


def _front(found: "LotPlan") -> str:
    if found.front is None:
        return "Pareto front of Bc2 and grains: too few treatments with both for one."
    front = found.front
    sizes = "grains" if front.second == "grain_size_nm" else "domains"
    if not front.distinguishable:
        return (
            f"Pareto front of Bc2 and {sizes}: one of the two does not differ significantly, so no trade-off can be "
            "resolved."
        )
    order = sorted(np.flatnonzero(front.on_front), key=lambda k: -front.values[k, 0])
    names = [f"{found.label(front.treatments[k])} ({front.probability[k]:.2f})" for k in order[:_MOST_NAMED]]
    more = f" and {len(order) - _MOST_NAMED} more" if len(order) > _MOST_NAMED else ""
    return (
        f"Pareto front of Bc2 and {sizes}: no other reacted treatment has both a higher Bc2 and smaller {sizes} than "
        f"{', '.join(names)}{more}. In brackets: probability of that."
    )
