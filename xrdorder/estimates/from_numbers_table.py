"""An estimate as lines of a table."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from xrdorder.estimates.from_numbers_rows import Row, combined_row, plain_row, relation_row, result_row
from xrdorder.material import PUBLISHED_SCALE, Material, TinScale
from xrdorder.material.joint_tin import Prior
from xrdorder.material.tin_scale import LEVEL, U_LEVEL_NM
from xrdorder.quantities.registry import quantity
from xrdorder.relations import PUBLISHED, Library
from xrdorder.relations.tin_from_order import BOUND, USUAL, USUAL_S_A
from xrdorder.superconductivity.prediction import Prediction
from xrdorder.superconductivity.strain import AtStrain


def estimate_rows(
    material: Material,
    prediction: Prediction,
    *,
    usual: Prior,
    strained: Sequence[AtStrain] = (),
    strain: float = math.nan,
    doped: bool = False,
    scale: TinScale = PUBLISHED_SCALE,
    library: Library = PUBLISHED,
) -> tuple[Row, ...]:
    """Give tin by each line, by the order and by both, S_a, S_b, Tc, Bc2, and these at a strain.

    Parameters
    ----------
    material, prediction, scale, library
        As of an estimate.
    strained, strain
        Tc and Bc2 at an intrinsic axial strain, and the strain.
    doped : bool
        Dopants sit in the A15.
    usual : Prior
        What S_a usually is in such a wire: the same for tin by the order alone as for tin by both.
    """
    rows = [*_tin_rows(material, scale, library, usual), *_order_rows(material, doped), *_prediction_rows(prediction)]
    return (*rows, *_strain_rows(strained, strain))


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
        by, note = "given", ""
        if from_lattice and scale == PUBLISHED_SCALE:
            by = "combined"
            note = "the line through measured samples, its distance to that of end points as one more doubt; of it "
        elif from_lattice:
            by, note = f"scale '{scale.name}'", f"{scale.source}; of it "
        if from_lattice:
            note += f"{own} at.% not shared with other wires measured alike"
        rows.append(plain_row("tin_fraction", by, tin, u, note))
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
    if math.isfinite(given("tin_fraction_joint", math.nan)):
        tin, u = values["tin_fraction_joint"], material.u("tin_fraction_joint")
        note = "least squares of lattice, order and the usual S_a; Tc and Bc2 are those of this tin content"
        rows.append(plain_row("tin_fraction", "lattice and order", tin, u, note))
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


def _prediction_rows(prediction: Prediction) -> list[Row]:
    rows = []
    for target, combined in prediction.combined.items():
        rows += [result_row(result) for result in prediction.of(target)]
        branches = prediction.branches if target == "Bc2_0K_T" else None
        rows.append(combined_row(combined, remark=branches.words if branches and branches.parted else ""))
    return rows


def _strain_rows(strained: Sequence[AtStrain], strain: float) -> list[Row]:
    """Tc and Bc2(0) by every strain function, and all together; Bc2 at temperatures all together only."""
    rows = []
    at = f" at {100 * strain:+g} % strain"
    shown: set[str] = set()
    for one in strained:
        for target, combined in one.combined.items():
            if target in shown:
                continue
            shown.add(target)
            if target in ("Tc_K", "Bc2_0K_T"):
                rows += [result_row(result, at) for result in one.results if result.target == target]
            rows.append(combined_row(combined, at))
    return rows
