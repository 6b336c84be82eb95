"""An estimate as lines of a table: how each kind of result becomes one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.estimates.stored_draws import column_of
from xrdorder.material import PUBLISHED_SCALE, Material, TinScale
from xrdorder.material.tin_by_order import Prior
from xrdorder.material.tin_scale import U_LEVEL_NM
from xrdorder.quantities.formatting import with_sign
from xrdorder.quantities.registry import PREDICTED, UNIT_1, UNTESTED, quantity, unit_of
from xrdorder.relations import LABELS, Library, Relation
from xrdorder.relations.tin_from_order import BOUND, USUAL, USUAL_S_A
from xrdorder.superconductivity.by_relation import branches_words
from xrdorder.superconductivity.mixture import Answer
from xrdorder.superconductivity.strain import AtStrain
from xrdorder.uncertainty import Array

if TYPE_CHECKING:
    from xrdorder.estimates.from_numbers import Estimate

JOINT = "joint model"
"""By what the estimates are made."""
_BY_DRAWS = "by the joint model (docs/explanation/evidence.md)"
_BY_STRAIN = "joint draws times published strain functions, all that apply in equal parts"


@dataclass(frozen=True)
class Row:
    """One line of a table.

    Attributes
    ----------
    quantity : str
        What it is.
    by : str
        How: name of the relation, "joint model", "given"...
    value, u, low, high : float
        Value (or median), standard uncertainty, 68 % interval; NaN where not given. Skewed results have an
        interval and no standard uncertainty.
    unit : str
    central : float
        Value at the central inputs, where `value` is a median of draws; the two differ where the result is
        skewed or part of the draws is outside the validity.
    formula, source, validity : str
        Of the relation; empty where there is none.
    known : str
        How the formula is known, in words.
    note : str
        Reason of a refusal, or a remark.
    """

    quantity: str
    by: str
    value: float
    u: float
    low: float
    high: float
    unit: str
    central: float = math.nan
    formula: str = ""
    source: str = ""
    validity: str = ""
    known: str = ""
    note: str = ""


def _plain_row(name: str, by: str, value: float, u: float, note: str = "", relations: Sequence[Relation] = ()) -> Row:
    """Row of a quantity of this name, value and uncertainty as stored, with a symmetric uncertainty."""
    about = quantity(name)
    value, u = about.people.factor * value, about.people.factor * u
    unit = about.people.unit or UNIT_1
    return Row(about.noun, by, value, u, value - u, value + u, unit, value, **_published(relations), note=note)


def _published(relations: Sequence[Relation]) -> dict[str, str]:
    """What a row says of the relations it is by."""
    return {
        "formula": "; ".join(entry.formula for entry in relations),
        "source": "; ".join(f"{entry.source}, {entry.equation}" for entry in relations),
        "validity": "; ".join(f"{entry.inputs[0].name} {entry.validity}" for entry in relations),
        "known": "; ".join(dict.fromkeys(LABELS[entry.known] for entry in relations)),
    }


def _result_row(result: Answer, at: str = "") -> Row:
    """Row of what one relation says about Tc, resistivity or Bc2; `at` names a state in words."""
    note = result.reason
    median, low, high = (float(end) for end in result.band)
    if result.applies and result.share_inside < 0.995:
        note = f"{100 * result.share_inside:.0f} % of the draws inside its validity"
    noun, unit = f"{quantity(result.target).noun}{at}", unit_of(result.target)
    return Row(
        noun, result.name, median, math.nan, low, high, unit, result.value,
        **_published(result.relations), note=note,
    )  # fmt: skip


def _draws_row(name: str, draws: Array, note: str = "", at: str = "") -> Row:
    """Row of joint draws of a quantity, (draws,): median and 68 % interval as in the columns of a study."""
    about = quantity(name)
    median, low, high = (
        about.people.factor * float(column_of(draws[None, :], kind)[0]) for kind in ("value", "low", "high")
    )
    unit = about.people.unit or unit_of(name)
    return Row(f"{about.noun}{at}", JOINT, median, math.nan, low, high, unit, note=note)


def estimate_rows(estimate: Estimate) -> tuple[Row, ...]:
    """Give tin, S_a, S_b, Tc, Bc2, by each relation and by the joint model, and Tc and Bc2 at a strain."""
    material, draws = estimate.material, estimate.draws
    rows = _tin_rows(material, estimate.scale, estimate.library, estimate.usual)
    if estimate.given_tin:
        rows.append(_plain_row("tin_fraction", "given", *estimate.given_tin))
    rows.append(_draws_row("tin_fraction", draws["tin_fraction"], _BY_DRAWS))
    if math.isfinite(material.values.get("site_order", math.nan)):
        rows.append(_plain_row("site_order", "given", material.values["site_order"], material.u("site_order")))
        rows += [_draws_row(name, draws[name], _BY_DRAWS) for name in ("S_a", "S_b")]
    rows += _predicted_rows(draws, estimate.relations)
    return (*rows, *(_strain_rows(estimate.strained) if estimate.strained else ()))


def _tin_rows(material: Material, scale: TinScale, library: Library, usual: Prior) -> list[Row]:
    rows = []
    values, given = material.values, material.values.get
    if "a_nm" in values:
        a, u_a = values["a_nm"], material.u("a_nm")
        rows.append(_plain_row("a_nm", "given", a, u_a))
        for entry in library.relations("tin-from-lattice"):
            tin = float(entry.function(np.asarray(a)))
            # Exact for a line: one difference quotient is its slope.
            per_nm = float(entry.function(np.asarray(a + 1e-3))) - tin
            u = math.hypot(per_nm * 1e3 * math.hypot(u_a, U_LEVEL_NM), float(entry.scatter.at(a, tin)))
            note = "" if entry.inside(a) else f"outside its validity: {entry.inputs[0].name} {entry.validity}"
            rows.append(_plain_row("tin_fraction", entry.name, tin, u, note, (entry,)))
    tin = given("tin_fraction_lattice", math.nan)
    if math.isfinite(tin) and scale != PUBLISHED_SCALE:
        own = quantity("tin_fraction").u_text(material.u_tin_independent)
        note = f"{scale.source}; of it {own} at.% not shared with other wires measured alike"
        u = material.u("tin_fraction_lattice")
        rows.append(_plain_row("tin_fraction", f"scale '{scale.name}'", tin, u, note))
    if math.isfinite(given("tin_lower_bound", math.nan)):
        bound, u_bound = values["tin_lower_bound"], material.u("tin_lower_bound")
        for entry in library.relations("tin-from-order"):
            if entry is USUAL and usual.s_a != USUAL_S_A:
                tin = bound / usual.s_a
                u = math.hypot(u_bound / usual.s_a, tin * usual.u / usual.s_a)
                note = f"if S_a = {usual.s_a:g} ± {usual.u:g}, as of {usual.words}"
                rows.append(_plain_row("tin_fraction", "order, usual S_a", tin, u, note))
                continue
            tin = float(entry.function(np.asarray(4.0 * bound)))
            u = math.hypot(tin / bound * u_bound, float(entry.scatter.at(4.0 * bound, tin)))
            note = "at least this much" if entry is BOUND else "if tin is ordered as usual"
            rows.append(_plain_row("tin_fraction", entry.name, tin, u, note, (entry,)))
    return rows


def _predicted_rows(draws: Mapping[str, Array], relations: Sequence[Answer]) -> list[Row]:
    remarks = {
        "Tc_K": UNTESTED,
        "Bc2_0K_T": branches_words(relations, float(np.median(draws["Bc2_0K_T"]))),
    }
    rows = []
    for target, of_it in draws.items():
        if target in PREDICTED or target.startswith("Bc2_"):
            rows += [_result_row(result) for result in relations if result.target == target]
            note = "; ".join(filter(None, (_BY_DRAWS, remarks.get(target, ""))))
            rows.append(_draws_row(target, of_it, note))
    return rows


def _strain_rows(strained: AtStrain) -> list[Row]:
    """Tc and Bc2(0) by every strain function, and all together; Bc2 at temperatures all together only."""
    rows = []
    at = f" at {with_sign(100 * strained.strain, 'g')} % strain"
    for target, draws in strained.draws.items():
        if target in ("Tc_K", "Bc2_0K_T"):
            rows += [_result_row(result, at) for result in strained.relations if result.target == target]
        rows.append(_draws_row(target, draws, _BY_STRAIN, at))
    return rows
