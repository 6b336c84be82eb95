"""What a reader of the draws must know: tin cut at the edge of the field, contradicting anchors, lone wires."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from xrdorder.estimates.evidence import Evidence
from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.wires import LATTICE, Wire
from xrdorder.exceptions import Flag
from xrdorder.material import A15_FIELD
from xrdorder.quantities.formatting import rounded
from xrdorder.uncertainty import Array

BEYOND_CHANCE = 3.0
"""Standard uncertainties of their difference by which two anchors contradict each other: by chance one pair in 400."""

KINDS_OF_ANCHORS = {"tin_at_percent": "tin", "tc_k": "Tc", "bc2_t": "Bc2"}

_TWICE = 2.0


def add(
    flags: dict[str, list[Flag]], evidence: Evidence, hyper: Hyperparameters, tin_fraction: Array
) -> None:
    """Add flags of every wire but those of its anchors; `tin_fraction` are draws, (wires, draws)."""
    counts = dict(zip(evidence.lots, evidence.counts, strict=True))
    for k, wire in enumerate(evidence.wires):
        flags[wire.name] += _edge(wire, hyper, 100.0 * float(np.mean(tin_fraction[k])))
        if wire.lot and counts[wire.lot_key] == 1:
            flags[wire.name].append(
                Flag("lot-of-one", f"lot '{wire.lot}' has one wire: nothing is known of the spread within it")
            )


def _edge(wire: Wire, hyper: Hyperparameters, drawn: float) -> list[Flag]:
    """Tin by the published line alone, where it lies outside the A15 field by more than the wire's own doubt."""
    if not np.isfinite(wire.a_nm):
        return []
    by_line = hyper["pivot_tin"] + (1e3 * wire.a_nm - hyper["lattice_at_pivot_pm"]) / hyper["slope_pm"]
    u = 1e3 * wire.contributions.total(LATTICE) / hyper["slope_pm"]
    low, high = (100.0 * edge for edge in A15_FIELD)
    if low - _TWICE * u <= by_line <= high + _TWICE * u:
        return []
    return [
        Flag(
            "tin-cut-at-edge",
            f"the published line gives {rounded(by_line, u, 'at.%')} tin, outside the A15 field ({low:g} to {high:g}), "
            f"which no A15 has: the scale of the laboratory, strain or calibration is off; estimates hold {drawn:.1f}",
        )
    ]


def with_rivals(wires: Sequence[Wire]) -> bool:
    """Whether any lot has two measured values of a kind, which may contradict each other."""
    return any(len(members) > 1 for kind in KINDS_OF_ANCHORS for members in _by_lot(wires, kind).values())


def contradictions(flags: dict[str, list[Flag]], wires: Sequence[Wire], free: Mapping[str, Array]) -> None:
    """Name the two anchors of a kind in a lot that lie farthest apart, where that is beyond chance.

    Parameters
    ----------
    flags : dict of name to list of Flag
    wires : sequence of Wire
    free : mapping of kind to array, (wires, draws)
        Draws of what was measured, from X-rays alone: with the anchors, the model would bend until they agree.
    """
    for kind, title in KINDS_OF_ANCHORS.items():
        for members in _by_lot(wires, kind).values():
            if len(members) > 1:
                _contradiction(flags, wires, members, kind, title, free[kind])


def _by_lot(wires: Sequence[Wire], kind: str) -> dict[tuple[str, str], list[int]]:
    members_by_lot: dict[tuple[str, str], list[int]] = {}
    for k, wire in enumerate(wires):
        if getattr(wire, kind) is not None:
            members_by_lot.setdefault(wire.lot_key, []).append(k)
    return members_by_lot


def _contradiction(
    flags: dict[str, list[Flag]],
    wires: Sequence[Wire],
    members: list[int],
    kind: str,
    title: str,
    free: Array,
) -> None:
    measured = [getattr(wires[k], kind) for k in members]
    away = [value.value - float(free[k].mean()) for value, k in zip(measured, members, strict=True)]
    first, second = int(np.argmin(away)), int(np.argmax(away))
    expected = free[members[second]] - free[members[first]]
    gap = measured[second].value - measured[first].value
    u = float(np.hypot(expected.std(), np.hypot(measured[first].u, measured[second].u)))
    apart = abs(gap - float(expected.mean())) / u
    if apart <= BEYOND_CHANCE:
        return
    names = wires[members[first]].name, wires[members[second]].name
    message = (
        f"measured {title} of '{names[1]}' and '{names[0]}' contradict each other: they differ by {gap:.2g}, and "
        f"by X-rays by {expected.mean():.2g} ± {u:.2g}, which is {apart:.1f} standard uncertainties away; both are kept"
    )
    for name in names:
        flags[name].append(Flag("anchors-contradict", message))
