"""Plans as text for a terminal, and as a table."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.cli.tables import table, wrapped
from xrdorder.files import TableWriter
from xrdorder.files.atomic import write_atomically
from xrdorder.planning import HoldBound, plan_words
from xrdorder.planning.treatments_table import Basis, Cell, Row, basis, reference, rows, wires_of
from xrdorder.quantities.formatting import digits, rounded

if TYPE_CHECKING:
    from xrdorder.planning import LotPlan, Response

_MOST_ROWS = 24
_MOST_NAMED = 8
_NORMAL = "normal"


def lot_text(found: "LotPlan") -> list[str]:
    """Say the plan of one lot."""
    n, different = len(found.treatments), len(found.distinct)
    lines = [
        wrapped(
            f"Lot {found.lot or 'without a name'} {found.conditions.words()}: {n} wire{'s' * (n != 1)}, "
            f"{different} treatment{'s' * (different != 1)}"
        ),
        *_limits(found),
        "",
        *_differences(found),
    ]
    for one in found.currents:
        lines += ["", one.noun[0].upper() + one.noun[1:], *_verdict(found, one)]
    lines += _both_fields(found)
    lines += _others(found)
    lines += _front(found)
    if found.notes:
        lines += ["", *(wrapped(f"Note: {note}", indent=2) for note in found.notes)]
    return lines


def _limits(found: "LotPlan") -> list[str]:
    furnace = found.space.furnace
    ramps = " to ".join(f"{ramp:g}" for ramp in dict.fromkeys((furnace.ramps[0], furnace.ramps[-1])))
    (low, high), (short, long) = furnace.temperature_c, furnace.hours
    text = f"Last hold within {low:g} to {high:g} °C and {short:g} to {long:g} h, ramp {ramps} K/h"
    if np.isfinite(furnace.total_h):
        text += f", {furnace.total_h:g} h in all"
    if furnace.before:
        text += "; before it " + " + ".join(step.short_name for step in furnace.before) + " h as so far"
    lines = [wrapped(f"{text}. Limits that were not told are those of the treatments reacted.")]
    if found.space.dose is not None:
        energy, at = found.space.dose
        lines.append(wrapped(f"Treatments compare by temperature and dose ({energy:g} kJ/mol, hours at {at:g} °C)."))
    if found.constraints:
        lines.append(wrapped("Constraints: " + "; ".join(one.words for one in found.constraints)))
    return lines


def _shown(found: "LotPlan", every: Sequence[Row]) -> list[Row]:
    """Rows of a table that can be read: those that matter, then others as they come."""
    if len(every) <= _MOST_ROWS:
        return list(every)
    both = found.front
    unbeaten = {both.treatments[k].short_name for k in np.flatnonzero(both.on_front)} if both else set()
    matters = [bool(row.best_for or row.next_for) or row.treatment.short_name in unbeaten for row in every]
    room = _MOST_ROWS - sum(matters)
    shown = []
    for row, one in zip(every, matters, strict=True):
        if one or room > 0:
            shown.append(row)
            room -= not one
    return shown


def _differences(found: "LotPlan") -> list[str]:
    """What the wires themselves and the surfaces say of treatments, as differences to one of them."""
    columns = [one for one in found.responses if one.key in found.plans and found.plans[one.key].process is not None]
    if not columns:
        return ["No response surface can be drawn yet."]
    every = rows(found)
    shown = _shown(found, every)
    against = reference(found)
    base = next(row for row in every if found.label(row.treatment) == found.label(against))
    rest = f" {len(every) - len(shown)} more stand in the table file." if len(shown) < len(every) else ""
    absolutes = []
    for one in columns:
        if not np.isfinite(one.field_t):
            cell = base.cells[one.key]
            known = (cell.direct, cell.u_direct) if np.isfinite(cell.direct) else (cell.value, cell.u)
            normal = one.normal(wires_of(found, against))
            absolutes.append(f"{one.noun} {_NORMAL if normal else rounded(*known, one.unit)}")
    name = found.label(against)
    return [
        f"Differences to {name}, by the wires themselves",
        "",
        _by_wires(found, columns, shown, base),
        "",
        f"Differences to {name}, by the response surfaces",
        "",
        _by_surfaces(found, columns, shown, base),
        "",
        wrapped(f"What all wires share has cancelled. {name} itself: {', '.join(absolutes)}.{rest}"),
        *_above_bc2(found, columns, every, base),
        *_how_to_read(found, columns, every, base),
        *_missed(found, every),
    ]


def _by_wires(found: "LotPlan", columns: Sequence["Response"], shown: Sequence[Row], base: Row) -> str:
    """Treatments reacted, as a comparison has them."""
    told = {one.key: basis(found, one, base.cells[one.key].direct) for one in columns}
    head = (("treatment", "wires", *map(_short, columns)), ("", "", *(told[one.key].unit for one in columns)))
    lines = []
    for row in shown:
        if not row.wires:
            continue
        numbers = []
        for one in columns:
            cell, normal = row.cells[one.key], one.normal(wires_of(found, row.treatment))
            known = (cell.direct_difference, cell.u_direct_difference)
            numbers.append(_NORMAL if normal else "0" if row is base else _told(told[one.key], *known))
        lines.append((found.label(row.treatment), str(row.wires), *numbers))
    return table(head, lines)


def _by_surfaces(found: "LotPlan", columns: Sequence["Response"], shown: Sequence[Row], base: Row) -> str:
    """Treatments reacted and suggested."""
    keeps = bool(found.constraints)
    told = {one.key: basis(found, one, base.cells[one.key].value) for one in columns}
    head = ("treatment", "in all", *map(_short, columns), *["P keeps"] * keeps, "")
    units = ("", "h", *(told[one.key].unit for one in columns), *["constraints"] * keeps, "")
    lines = []
    for row in shown:
        cells = [found.label(row.treatment), f"{row.treatment.total_h:.0f}"]
        for one in columns:
            cell = row.cells[one.key]
            # a surface knows no zero: a current, or Bc2, of nothing or less is one above Tc or Bc2
            normal = one.normal(wires_of(found, row.treatment)) or (bool(one.carries) and cell.value <= 0.0)
            known = (cell.difference, cell.u_difference)
            cells.append(_NORMAL if normal else "0" if row is base else _told(told[one.key], *known))
        if keeps:
            cells.append(f"{row.allowed:.2f}")
        lines.append((*cells, _role(row)))
    return table((head, units), lines)


def _how_to_read(
    found: "LotPlan", columns: Sequence["Response"], every: Sequence[Row], base: Row
) -> list[str]:
    """Say that surfaces are drawn towards the mean, with the largest example, and how a comparison goes about it."""
    pulled = [
        (abs(cell.direct_difference - cell.difference) / cell.u_direct_difference, row, one)
        for row in every
        for one in columns
        if not np.isfinite(one.field_t) and (cell := row.cells[one.key]).u_direct_difference > 0.0
    ]
    text = "A surface is drawn towards the mean where wires are noisy: compare what was reacted by the wires."
    if pulled:
        _, row, one = max(pulled, key=lambda each: each[0])
        cell = row.cells[one.key]
        text = (
            f"A surface is drawn towards the mean where wires are noisy ({one.noun} of {found.label(row.treatment)} "
            f"less {found.label(base.treatment)}: {_rounded(cell.difference, cell.u_difference)} {one.unit} by the "
            f"surface, {_rounded(cell.direct_difference, cell.u_direct_difference)} {one.unit} by the wires): compare "
            "what was reacted by the wires."
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
    return [wrapped(text)]


def _above_bc2(found: "LotPlan", columns: Sequence["Response"], every: Sequence[Row], base: Row) -> list[str]:
    """Say what "normal" means, and why a current is not told in per cent of the reference treatment."""
    lines = []
    if any(one.normal(wires_of(found, row.treatment)) for one in columns for row in every):
        lines.append(wrapped("Normal: above Tc or Bc2, as far as can be told; it carries nothing."))
    weak = [
        f"{one.field_t:g}"
        for one in columns
        if any(basis(found, one, known).of_mean for known in (base.cells[one.key].direct, base.cells[one.key].value))
    ]
    if weak:
        lines.append(
            wrapped(
                f"At {' and '.join(weak)} T {found.label(base.treatment)} may be above its Bc2 or carries hardly "
                "anything: differences of currents are told in % of the mean of all wires."
            )
        )
    return lines


def _missed(found: "LotPlan", every: Sequence[Row]) -> list[str]:
    """By how much treatments that were reacted exceed a bound on hours."""
    lines = []
    for bound in found.constraints:
        if not isinstance(bound, HoldBound):
            continue
        over = bound.excess_h([row.treatment for row in every])
        missed = [(row, hours) for row, hours in zip(every, over, strict=True) if hours > 0.0]
        if missed:
            told = [f"{found.label(row.treatment)} by {digits(hours, 2)} h" for row, hours in missed[:_MOST_NAMED]]
            more = f" and {len(missed) - _MOST_NAMED} more" if len(missed) > _MOST_NAMED else ""
            lines.append(wrapped(f"Not kept: {bound.words}, ramps counted: {', '.join(told)}{more}."))
    return lines


def _short(one: "Response") -> str:
    return f"current {one.field_t:g} T" if np.isfinite(one.field_t) else one.noun


def _told(told: Basis, value: float, u: float) -> str:
    return _rounded(told.factor * value, told.factor * u)


def _rounded(value: float, u: float) -> str:
    return rounded(value, u) if np.isfinite(value) else "-"


def _role(row: Row) -> str:
    parts = [f"best at {field:g} T" for field in row.best_for]
    parts += [f"next for {field:g} T" for field in row.next_for]
    return ", ".join(parts)


def _verdict(found: "LotPlan", one: "Response") -> list[str]:
    """Best so far, proposals, and what is in the way."""
    if one.key not in found.plans:
        return [wrapped(one.reason, indent=2)]
    plan = found.plans[one.key]
    lines = [wrapped(line, indent=2) for line in plan_words(plan, one.unit, one.noun)]
    if plan.state == "flat" and one.origin == "estimate" and one.values is not None:
        lines.append(
            wrapped(
                f"Each wire is known to {digits(np.median(one.values.own), 2)} {one.unit} by itself, their values lie "
                f"within {digits(np.ptp(one.values.value), 2)}: most of that doubt is how specimens stray from "
                "published relations. Measured critical currents tell more (critical_current_a in study.toml, "
                "--measured).",
                indent=2,
            )
        )
    return lines


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
        return ["", wrapped(f"At {fields} T the best so far is the same: {next(iter(best.values()))}.")]
    each = ", ".join(f"{name} at {field:g} T" for field, name in best.items())
    return ["", wrapped(f"The fields ask for different treatments: {each}.")]


def _others(found: "LotPlan") -> list[str]:
    """Bc2, Tc and grains in a line each."""
    lines = ["", "Beside the current"]
    for one in found.responses:
        if np.isfinite(one.field_t):
            continue
        if one.key not in found.plans:
            lines.append(wrapped(one.reason, indent=2))
            continue
        plan = found.plans[one.key]
        words = plan_words(plan, one.unit, one.noun)[0]
        if not one.maximise:
            words = words.replace("is better with", "is smaller with").replace("best so far", "smallest so far")
        else:
            words = words.replace("is better with", "is higher with").replace("best so far", "highest so far")
        lines.append(wrapped(words, indent=2))
    return lines


def _front(found: "LotPlan") -> list[str]:
    if found.front is None:
        return ["", "Front between Bc2 and grains: too few treatments with both for one."]
    front = found.front
    sizes = "grains" if front.second == "grain_size_nm" else "domains"
    if not front.distinguishable:
        said = "one of the two does not differ by more than chance, so there is no trade to speak of yet."
        return ["", wrapped(f"Front between Bc2 and {sizes}: {said}")]
    order = sorted(np.flatnonzero(front.on_front), key=lambda k: -front.values[k, 0])
    names = [f"{found.label(front.treatments[k])} ({front.probability[k]:.2f})" for k in order[:_MOST_NAMED]]
    more = f" and {len(order) - _MOST_NAMED} more" if len(order) > _MOST_NAMED else ""
    text = (
        f"Front between Bc2 and {sizes}: no other reacted treatment has both a higher Bc2 and smaller {sizes} than "
        f"{', '.join(names)}{more}. In brackets: probability of that."
    )
    return ["", wrapped(text)]


_HEAD = (
    "lot", "treatment", "temperature_c", "hold_h", "total_h", "wires", "quantity", "unit", "origin", "predicted", "u",
    "difference", "u_difference", "direct", "u_direct", "direct_difference", "u_direct_difference",
    "best", "suggested", "chance_better", "worth", "keeps_constraints",
)  # fmt: skip


def write_table(plans: Sequence["LotPlan"], path: Path) -> None:
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
            for found in plans:
                for row in rows(found):
                    one = row.treatment
                    start = [
                        found.lot, one.short_name, number(one.peak_c), number(one.hold_at_peak_h), number(one.total_h),
                        row.wires,
                    ]  # fmt: skip
                    for response in found.responses:
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
