"""An estimate as lines of a table."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from xrdorder.estimates.from_numbers_rows import Row, draws_row, plain_row, relation_row, result_row
from xrdorder.material import PUBLISHED_SCALE, Material, TinScale
from xrdorder.material.tin_by_order import Prior
from xrdorder.material.tin_scale import U_LEVEL_NM
from xrdorder.quantities.formatting import with_sign
from xrdorder.quantities.registry import PREDICTED, UNTESTED, quantity
from xrdorder.relations import PUBLISHED, Library
from xrdorder.relations.tin_from_order import BOUND, USUAL, USUAL_S_A
from xrdorder.superconductivity.by_relation import branches_words
from xrdorder.superconductivity.mixture import Answer
from xrdorder.superconductivity.strain import AtStrain
from xrdorder.uncertainty import Array

_BY_DRAWS = "by the joint model (docs/explanation/evidence.md)"
_BY_STRAIN = "joint draws times published strain functions, all that apply in equal parts"


def estimate_rows(
    material: Material,
    draws: Mapping[str, Array],
    relations: Sequence[Answer],
    *,
    usual: Prior,
    strained: AtStrain | None = None,
    given_tin: tuple[float, float] | None = None,
    scale: TinScale = PUBLISHED_SCALE,
    library: Library = PUBLISHED,
) -> tuple[Row, ...]:
    """Give tin, S_a, S_b, Tc, Bc2, by each relation and by the joint model, and Tc and Bc2 at a strain.

    Parameters
    ----------
    material, draws, relations, strained, scale, library
        As of an estimate.
    given_tin : (float, float), optional
        Tin content that was given, and its standard uncertainty.
    usual : Prior
        What S_a usually is in such a wire.
    """
    rows = _tin_rows(material, scale, library, usual)
    if given_tin:
        rows.append(plain_row("tin_fraction", "given", *given_tin))
    rows.append(draws_row("tin_fraction", draws["tin_fraction"], _BY_DRAWS))
    if math.isfinite(material.values.get("site_order", math.nan)):
        rows.append(plain_row("site_order", "given", material.values["site_order"], material.u("site_order")))
        rows += [draws_row(name, draws[name], _BY_DRAWS) for name in ("S_a", "S_b")]
    rows += _predicted_rows(draws, relations)
    return (*rows, *(_strain_rows(strained) if strained else ()))


def _tin_rows(material: Material, scale: TinScale, library: Library, usual: Prior) -> list[Row]:
    rows = []
    values, given = material.values, material.values.get
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
    tin = given("tin_fraction_lattice", math.nan)
    if math.isfinite(tin) and scale != PUBLISHED_SCALE:
        own = quantity("tin_fraction").u_text(material.u_tin_independent)
        note = f"{scale.source}; of it {own} at.% not shared with other wires measured alike"
        u = material.u("tin_fraction_lattice")
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


def _predicted_rows(draws: Mapping[str, Array], relations: Sequence[Answer]) -> list[Row]:
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
    at = f" at {with_sign(100 * strained.strain, 'g')} % strain"
    for target, draws in strained.draws.items():
        if target in ("Tc_K", "Bc2_0K_T"):
            rows += [result_row(result, at) for result in strained.relations if result.target == target]
        rows.append(draws_row(target, draws, _BY_STRAIN, at))
    return rows
