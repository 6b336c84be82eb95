"""What a reader of the draws must know: tin at the edge of the A15 field, anchors that contradict each other, lone wires."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.likelihood import Likelihood
from xrdorder.estimates.wires import LATTICE, Wire
from xrdorder.exceptions import Flag
from xrdorder.material import A15_FIELD
from xrdorder.uncertainty import Array

BEYOND_CHANCE = 3.0
"""Standard uncertainties of their difference by which two anchors contradict each other: by chance one pair in 400."""

UNTESTED = (
    "no published data test an absolute Tc from X-rays below 17.6 K: samples with measured lattice parameter and Tc all "
    "lie above"
)
"""To be said beside every absolute Tc."""

_TWICE = 2.0


def add(
    flags: dict[str, list[Flag]], likelihood: Likelihood, study: Array, lots: Array, values: Mapping[str, Array]
) -> None:
    """Add flags of every wire."""
    evidence = likelihood.evidence
    counts = dict(zip(evidence.lots, evidence.counts, strict=True))
    for k, wire in enumerate(evidence.wires):
        flags[wire.name] += _edge(wire, likelihood.hyper, 100.0 * float(np.mean(values["tin_fraction"][k])))
        if wire.lot and counts[wire.lot] == 1:
            flags[wire.name].append(
                Flag("lot-of-one", f"lot '{wire.lot}' has one wire: nothing is known of the spread within it")
            )
    _contradictions(flags, likelihood, study, lots)


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
            f"the published line gives {by_line:.1f} ± {u:.1f} at.% tin, outside the A15 field ({low:g} to {high:g}), "
            f"which no A15 has: the scale of the laboratory, strain or calibration is off; estimates hold {drawn:.1f}",
        )
    ]


def _contradictions(flags: dict[str, list[Flag]], likelihood: Likelihood, study: Array, lots: Array) -> None:
    """Name the two anchors of a kind in a lot that lie farthest apart, where that is beyond chance."""
    anchors = likelihood.anchors
    if len(anchors.wires) < 2:
        return
    away = likelihood.away_from_anchors(study[:: max(1, len(study) // 500)], lots[:: max(1, len(study) // 500)])
    names = [likelihood.evidence.wires[k].name for k in anchors.wires]
    for row, (what, title) in enumerate((("tin", "tin"), ("tc", "Tc"), ("field", "Bc2"))):
        for lot in np.unique(anchors.lots):
            members = np.flatnonzero(anchors.has(what) & (anchors.lots == lot))
            if len(members) < 2:
                continue
            low, high = (members[int(pick(away[row, members]))] for pick in (np.argmin, np.argmax))
            apart = float(away[row, high] - away[row, low]) / np.sqrt(2.0)
            if apart > BEYOND_CHANCE:
                message = (
                    f"measured {title} of '{names[low]}' and '{names[high]}' contradict each other: {apart:.1f} standard "
                    "uncertainties apart after all that differs between the wires; both are kept"
                )
                flags[names[low]].append(Flag("anchors-contradict", message))
                flags[names[high]].append(Flag("anchors-contradict", message))
