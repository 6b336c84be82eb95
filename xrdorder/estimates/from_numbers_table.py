"""An estimate as lines of a table."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from xrdorder.estimates.from_numbers_rows import Row, draws_row, plain_row, relation_row, result_row
from xrdorder.material import PUBLISHED_SCALE, Material, TinScale
from xrdorder.material.joint_tin import Prior
from xrdorder.material.tin_scale import LEVEL, U_LEVEL_NM
from xrdorder.quantities.caveats import UNTESTED
from xrdorder.quantities.registry import PREDICTED, quantity
from xrdorder.relations import PUBLISHED, Library
from xrdorder.relations.tin_from_order import BOUND, USUAL, USUAL_S_A
from xrdorder.superconductivity.by_relation import branches_words
from xrdorder.superconductivity.mixture import RelationResult
from xrdorder.superconductivity.strain import AtStrain
from xrdorder.uncertainty import Array

_BY_DRAWS = "by the joint model (docs/evidence.md)"
_BY_STRAIN = "joint draws times published strain functions, all that apply in equal parts"


def estimate_rows(
    material: Material,
    draws: Mapping[str, Array],
    relations: Sequence[RelationResult],
    *,
    usual: Prior,
    strained: AtStrain | None = None,
    doped: bool = False,
    scale: TinScale = PUBLISHED_SCALE,
    library: Library = PUBLISHED,
) -> tuple[Row, ...]:
    """Give tin, S_a, S_b, Tc, Bc2, by each relation and by the joint model, and Tc and Bc2 at a strain.

    Parameters
    ----------
    material, draws, relations, strained, scale, library
        As of an estimate.
    doped : bool
        Dopants sit in the A15.
    usual : Prior
        What S_a usually is in such a wire.
    """
    rows = [*_tin_rows(material, scale, library, usual), draws_row("tin_fraction", draws["tin_fraction"], _BY_DRAWS)]
    rows += [*_order_rows(material, doped), *_predicted_rows(draws, relations)]
    return (*rows, *(_strain_rows(strained) if strained else ()))


def _tin_rows(material: Material, scale: TinScale, library: Library, usual: Prior) -> list[Row]:
    rows = []
    values, given = material.values, material.values.get
    tin_known = math.isfinite(given("tin_fraction", math.nan))
    from_lattice = "a_nm" in values and LEVEL in material.contributions.sources
    if "a_nm" in values:
        a, u_a = values["a_nm"], material.u("a_nm")
        rows.append(plain_row("a_nm", "given", a, u_a))
        for entry in library.relations("tin-from-lattice"):
            tin = float(entry.function(np.asarray(a)))
            # Exact for a line: one difference quotient is its slope.
            per_nm = float(entry.function(np.asarray(a + 1e-3))) - tin
            u = math.hypot(per_nm * 1e3 * math.hypot(u_a, U_LEVEL_NM), float(entry.scatter.at(a, tin)))
            note = "" if entry.inside(a) else f"outside its validity: {entry.inputs[0].name} {entry.validity}"
            rows.append(relation_row("tin_fraction", entry, tin, u, note))
    if tin_known:
        tin, u = values["tin_fraction"], material.u("tin_fraction")
        own = quantity("tin_fraction").u_text(material.u_tin_independent)
        if not from_lattice:
            rows.append(plain_row("tin_fraction", "given", tin, u))
        elif scale != PUBLISHED_SCALE:
            note = f"{scale.source}; of it {own} at.% not shared with other wires measured alike"
            rows.append(plain_row("tin_fraction", f"scale '{scale.name}'", tin, u, note))
    if math.isfinite(given("tin_lower_bound", math.nan)):
        bound, u_bound = values["tin_lower_bound"], material.u("tin_lower_bound")
        for entry in library.relations("tin-from-order"):
            if entry is USUAL and usual.s_a != USUAL_S_A:
                tin = bound / usual.s_a
                u = math.hypot(u_bound / usual.s_a, tin * usual.u / usual.s_a)
                note = f"if S_a = {usual.s_a:g} ± {usual.u:g}, as of {usual.words}"
                rows.append(plain_row("tin_fraction", "order, usual S_a", tin, u, note))
                continue
            tin = float(entry.function(np.asarray(4.0 * bound)))
            u = math.hypot(tin / bound * u_bound, float(entry.scatter.at(4.0 * bound, tin)))
            note = "at least this much" if entry is BOUND else "if tin is ordered as usual"
            rows.append(relation_row("tin_fraction", entry, tin, u, note))
    return rows


def _order_rows(material: Material, dopants: bool) -> list[Row]:
    rows = []
    # a dopant on a tin site counts as right in the site order, but is no tin: it is taken off first
    tin_order = "(site order - dopants on tin sites)" if dopants else "site order"
    for name, by in (
        ("site_order", "given"),
        ("S_a", f"{tin_order} / (4 beta)"),
        ("S_b", f"3 {tin_order} / (4 (1 - beta))"),
    ):
        value = material.values.get(name, math.nan)
        if math.isfinite(value):
            note = (
                "above one: tin too low or order too high, within uncertainty or not" if value > 1.0 else ""
            )
            rows.append(plain_row(name, by, value, material.u(name), note))
    return rows


def _predicted_rows(draws: Mapping[str, Array], relations: Sequence[RelationResult]) -> list[Row]:
    remarks = {
        "Tc_K": UNTESTED,
        "Bc2_0K_T": branches_words(relations, float(np.median(draws["Bc2_0K_T"]))),
    }
    rows = []
    for target, of_it in draws.items():
        if target in PREDICTED or target.startswith("Bc2_"):
            rows += [result_row(result) for result in relations if result.target == target]
            note = "; ".join(filter(None, (_BY_DRAWS, remarks.get(target, ""))))
            rows.append(draws_row(target, of_it, note))
    return rows


def _strain_rows(strained: AtStrain) -> list[Row]:
    """Tc and Bc2(0) by every strain function, and all together; Bc2 at temperatures all together only."""
    rows = []
    at = f" at {100 * strained.strain:+g} % strain"
    for target, draws in strained.draws.items():
        if target in ("Tc_K", "Bc2_0K_T"):
            rows += [result_row(result, at) for result in strained.relations if result.target == target]
        rows.append(draws_row(target, draws, _BY_STRAIN, at))
    return rows
