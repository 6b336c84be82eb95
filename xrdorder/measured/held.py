"""A study held against what the laboratory measured: rows, agreement of relations, and their words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from xrdorder.comparison.differences import LEVEL, SIGNIFICANT_U
from xrdorder.description.own_files import OwnFiles
from xrdorder.display import Displayed
from xrdorder.exceptions import StudyError, did_you_mean, no_such_lot
from xrdorder.files.atomic import write_table
from xrdorder.measured.agreement import DECIDED, Agreement, agreements, routes
from xrdorder.measured.relation_adjustment import adjustment_text
from xrdorder.measured.rows import Row, rows, subjects
from xrdorder.quantities.formatting import rounded
from xrdorder.quantities.registry import QUANTITIES
from xrdorder.results.open_study import OpenStudy

COMPARED = {measured: QUANTITIES[first].noun for measured, first in (("Tc_K", "Tc_K"), ("Bc2_T", "Bc2_0K_T"))}
"""Quantities for which relations are compared, and what their first relation gives."""


@dataclass(frozen=True)
class Held(Displayed, view="measured"):
    """A study held against measured values.

    Attributes
    ----------
    title : str
    rows : tuple of Row
    agreements : dict of (lot, quantity) to tuple of Agreement
        The most probable relation first.
    wires : dict of str to str
        Kind of wire of each lot.
    """

    title: str
    rows: tuple[Row, ...]
    agreements: dict[tuple[str, str], tuple[Agreement, ...]]
    wires: dict[str, str]


def hold(opened: OpenStudy, lot: str | None = None) -> Held:
    """Hold the results of a study against what was measured.

    Parameters
    ----------
    opened : OpenStudy
    lot : str, optional
        This lot only.

    Raises
    ------
    StudyError
        Nothing was measured, there is no such lot, or the description is no longer that of the results.
    """
    opened.require_as_run()
    study = opened.study
    lots = list(dict.fromkeys(sample.lot.name for sample in study.samples))
    if lot is not None and lot not in lots:
        raise StudyError(f"{study.folder}: {no_such_lot(lot, lots)}")
    chosen = [subject for subject in subjects(opened) if lot in (None, subject.lot)]
    if not any(choice.measured for choice in chosen):
        which = "" if lot is None else f" of lot '{lot}'"
        raise StudyError(
            f"{study.folder}: no sample{which} has measured values; give them in study.toml under [samples.measured]"
        )
    own = OwnFiles.of(study)
    library = own.library()
    agreements_by_lot: dict[tuple[str, str], tuple[Agreement, ...]] = {}
    for name in lots:
        members = [choice for choice in chosen if choice.lot == name and choice.draws]
        for quantity in COMPARED:
            if any(member.first(quantity) for member in members):
                # All of them are held against the values, but those for other wire are no candidates.
                wire = members[0].wire
                agreements_by_lot[name, quantity] = agreements(
                    members, quantity, routes(quantity, library, replaced=True),
                    for_wire=routes(quantity, library, wire, replaced=True),
                )  # fmt: skip
    wires = {choice.lot: choice.wire for choice in chosen}
    beside = rows([choice for choice in chosen if choice.measured], opened.results, library)
    return Held(study.title, tuple(beside), agreements_by_lot, wires)


def verdict(agreements: Sequence[Agreement]) -> str:
    """Say which relation fits best, how surely, and what the offset is."""
    compared = candidates(agreements)
    if not compared:
        why = "; ".join(dict.fromkeys(agreement.reason for agreement in agreements if agreement.reason))
        return f"{_NONE}: {why}" if agreements else "no relation gives it"
    best = compared[0]
    name, count = best.route[0].name, len(best.samples)
    many = f"{count} samples" if count > 1 else "1 sample"
    if len(compared) == 1:
        text = f"{name} is the only relation that could be compared ({many})"
    elif best.probability >= DECIDED:
        text = f"{name} fits best of {len(compared)}, probability {best.probability:.2f} ({many})"
    else:
        second = compared[1]
        text = (
            f"not decided: {name} {best.probability:.2f}, {second.route[0].name} {second.probability:.2f} of "
            f"{len(compared)} ({many})"
        )
    return "; ".join((text, _offset_words(best), *made_from_these(compared)))


_NONE = "no relation could be compared"


def candidates(agreements: Sequence[Agreement]) -> list[Agreement]:
    """Those that hold for the wire and were compared."""
    return [agreement for agreement in agreements if not agreement.reason and agreement.candidate]


def _offset_words(best: Agreement) -> str:
    if not math.isfinite(best.difference):
        return "no offset, as a sample lies outside its validity at its central value"
    unit = best.route[0].output.unit
    text = f"measured less predicted {rounded(best.difference, best.u_own, signed=True)} {unit}"
    if not significant(best):
        return f"{text}, not significant (alpha = {LEVEL:g})"
    total = math.hypot(best.u_own, best.u_common)
    also = "also" if abs(best.difference) > SIGNIFICANT_U * total else "not"
    shared = f"{also} beyond the uncertainty that all samples share, {best.u_common:.2f} {unit}"
    return f"{text}, significant for this wire (alpha = {LEVEL:g}), {shared}"


def significant(agreement: Agreement) -> bool:
    """Whether the offset of a relation is significant by what each sample has for itself: it may be adopted then."""
    return abs(agreement.difference) > SIGNIFICANT_U * agreement.u_own


def made_from_these(compared: Sequence[Agreement]) -> list[str]:
    """Warn of adopted relations that are held against the samples they were made from."""
    relations = []
    for item in compared:
        entry = item.route[0]
        same = sum(name in entry.samples for name in item.samples)
        if same:
            which = "these samples" if same == len(item.samples) else f"{same} of these {len(item.samples)} samples"
            relations.append(f"{entry.name} was adopted on {which}: that it fits them proves nothing")
        elif entry.replaces and not entry.samples:
            relations.append(
                f"on which samples {entry.name} was adopted is not told: if on these, its fit proves nothing"
            )
    return relations


class Adoption(NamedTuple):
    """What is adopted, as entries of a file of relations, and what is left out with the reason."""

    entries: list[str]
    left_out: list[str]


def chosen_adjustments(held: Held, names: Sequence[str] = (), *, slope: bool = False) -> Adoption:
    """Give entries for a file of relations: those named, or for each quantity the best one if all is clear.

    Clear is a relation that is decided on (`DECIDED`), with an offset (slope: a distance from one) that is significant,
    and not adopted before.

    Raises
    ------
    StudyError
        Several lots were compared, a relation was not, or there is nothing to adopt.
    """
    lots = list(dict.fromkeys(lot for lot, _ in held.agreements))
    if len(lots) > 1:
        raise StudyError(f"measured values are there of several lots; say whose with --lot: {', '.join(lots)}")
    if not lots:
        raise StudyError("neither Tc nor Bc2 was measured: there is no relation to put an offset on")
    known = {item.route[0].name: item for agreement in held.agreements.values() for item in agreement}
    for name in names:
        if name not in known:
            raise StudyError(f"relation '{name}': was not compared; {did_you_mean(name, known)}")
    chosen, left_out = [known[name] for name in names], []
    if not names:
        for (_, quantity), agreement in held.agreements.items():
            reason = unclear(agreement, slope=slope)
            if reason:
                left_out.append(f"{COMPARED[quantity]}: {reason}")
            else:
                chosen.append(agreement[0])
    if not chosen:
        why = "; ".join(left_out)
        raise StudyError(f"nothing is clear enough to adopt: {why}; --relation NAME adopts one all the same")
    wire = held.wires[lots[0]]
    return Adoption([adjustment_text(choice, lots[0], held.title, wire, slope=slope) for choice in chosen], left_out)


def unclear(agreements: Sequence[Agreement], *, slope: bool = False) -> str:
    """Say why the best relation is not adopted unless it is named; empty where all is clear."""
    compared = candidates(agreements)
    if not compared:
        return _NONE
    best = compared[0]
    name, unit = best.route[0].name, best.route[0].output.unit
    if len(compared) > 1 and best.probability < DECIDED:
        return f"not decided, {name} {best.probability:.2f}, {compared[1].route[0].name} {compared[1].probability:.2f}"
    if best.route[0].replaces:
        return f"{name} is adopted already"
    if best.shifted is None:
        return f"a sample lies outside the validity of {name} at its central value"
    if slope:
        if best.tilted is None:
            return f"{len(best.samples)} samples are too few for a slope of {name}, or all predict the same"
        clear = abs(best.tilted.slope - 1.0) > SIGNIFICANT_U * best.tilted.u_slope
        return "" if clear else f"no significant slope of {name}, {rounded(best.tilted.slope, best.tilted.u_slope)}"
    offset = f"{rounded(best.difference, best.u_own, signed=True)} {unit}"
    return "" if significant(best) else f"no significant offset of {name}, {offset}"


COLUMNS = (
    "sample", "lot", "quantity", "unit", "temperature_k", "field_t", "criterion", "measured", "u_measured", "by",
    "estimate", "estimate_low", "estimate_high", "difference", "u_difference", "note", "remark",
)  # fmt: skip
"""Columns of `results/measured.csv`: one row for each measured value and route to an estimate."""


def write_rows(rows: Sequence[Row], path: Path) -> None:
    """Write rows as a table, whole or not at all.

    Raises
    ------
    StudyError
        The disk refuses.
    """
    write_table(path, (COLUMNS, *(_cells(row) for row in rows)))


def _cells(row: Row) -> list[str]:
    measured = row.measured
    comparable = row.comparable and math.isfinite(row.value)

    def number(value: float | None) -> str:
        return "" if value is None or not math.isfinite(value) else f"{value:.6g}"

    return [
        row.sample, row.lot, measured.quantity, measured.unit, number(measured.temperature_k),
        number(measured.field_t), measured.criterion, number(measured.value), number(measured.u),
        row.by, number(row.value), number(row.low), number(row.high),
        number(row.difference if comparable else None), number(row.u if comparable else None),
        row.note, measured.remark,
    ]  # fmt: skip
