"""Which unknowns a study has, and their sizes: standard normal latents to pm, at.%, K.

Latents of the study: offset and slope of its a(tin) line, widening by disorder, bias of its microprobe, level of tin
and order of its lots and how far they are spread, where the A15 field ends, change of Bc2 over Tc with Tc, shared
directions. Latents of a lot: level and spread of tin and order, offset of its lattice, shared directions of the lot,
and how it lies about the published relations (offset in tin and in kelvin, Bc2 over Tc). Which of the two a relation's
doubt belongs to follows from the published samples (docs/contributing/evidence.md).
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from xrdorder.estimates import populations
from xrdorder.estimates.evidence import Evidence
from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.properties import critical_temperature
from xrdorder.uncertainty import Array

STUDY = (
    "offset of the a(tin) line", "slope of the a(tin) line", "widening by disorder", "bias of the microprobe",
    "level of tin", "level of order", "rich edge of the A15 field",
    "spread of lots in tin", "spread of lots in order", "change of the ratio with Tc",
)  # fmt: skip
LOT = ("level of tin", "level of order", "spread of tin", "spread of order", "offset of the lattice")
RELATIONS = ("tin offset of Tc", "offset of Tc", "ratio Bc2/Tc")
"""Latents of the study and of each lot; the directions of `evidence` stand behind those of the study and of the lot."""


class Unknowns(NamedTuple):
    """Shared unknowns in their units, spread out to the wires (walkers, wires) or (walkers, 1).

    Attributes
    ----------
    population : Lots
    level_pm : array
        Lattice parameter at 25 at.% and the order of the lines, with all that is shared.
    slope, widening : array
        pm per at.%, pm per unit S_a.
    order_shift : array
        What is shared in the order.
    probe_bias : array, (walkers, 1)
        at.%.
    relations : Relations
        By lot.
    """

    population: populations.Lots
    level_pm: Array
    slope: Array
    widening: Array
    order_shift: Array
    probe_bias: Array
    relations: Relations


class Relations(NamedTuple):
    """How lots lie about the published relations, each (walkers, lots).

    Attributes
    ----------
    tin_offset : array
        at.%, added to tin before Tc is read.
    tc_offset : array
        K.
    ratio, ratio_by_tc : array
        Bc2(0) over Tc, T/K, at `level_tc`, and its change with Tc, T/K²; the latter is one for the study.
    ratio_scatter : array
        Of the ratio among wires of a lot, T/K.
    level_tc : array
        Tc at the level of tin of the lot, K, where `ratio` holds.
    """

    tin_offset: Array
    tc_offset: Array
    ratio: Array
    ratio_by_tc: Array
    ratio_scatter: Array
    level_tc: Array

    def of(self, lots: np.ndarray) -> Relations:
        """Give those of the lots of wires, by wire."""
        return Relations(*(part[:, lots] for part in self))


def lot_size(evidence: Evidence) -> int:
    """Number of latents of a lot."""
    return len(LOT) + int(evidence.lot_directions.shape[2]) + len(RELATIONS)


def study_size(evidence: Evidence) -> int:
    """Number of latents of the study."""
    return len(STUDY) + int(evidence.study_directions.shape[2])


def offset_of(hyper: Hyperparameters, latent: Array) -> Array:
    """Offset of a laboratory's a(tin) line, pm: Student's t with four degrees of freedom from a normal latent."""
    from scipy.special import ndtr, stdtrit

    return np.asarray(hyper["scale_pm"] * stdtrit(4.0, np.clip(ndtr(latent), 1e-12, 1.0 - 1e-12)))


def widening_of(hyper: Hyperparameters, latent: Array) -> Array:
    """Widening of the lattice by disorder, pm per unit S_a; not below zero."""
    mean, u = hyper["widening_pm"], hyper["u_widening_pm"]
    return populations.softplus(mean + u * latent, max(0.1 * u, 1e-9))[0]


def read(evidence: Evidence, hyper: Hyperparameters, study: Array, lots: Array) -> Unknowns:
    """Read latents of the study, (walkers, m), and of lots, (walkers, lots, m)."""
    m, lot_of = int(evidence.lot_directions.shape[2]), evidence.lot_of
    # numpy is quickest where what it runs through is long: walkers of a small study, wires of a large one
    layout: Literal["F", "C"] = "F" if len(study) > len(lot_of) else "C"

    def by_wire(of_lots: Array) -> Array:
        return np.asarray(of_lots[:, lot_of], order=layout)

    shared = np.einsum("wk,nik->iwn", study[:, len(STUDY) :], evidence.study_directions)
    if m:
        inner = lots[:, :, len(LOT) : len(LOT) + m][:, lot_of]
        shared = shared + np.einsum("wnk,nik->iwn", inner, evidence.lot_directions)
    lattice, order = (np.asarray(part, order=layout) for part in shared)
    by_lot = populations.lots(hyper, evidence.kinds, lots, study[:, 4:9])
    slope = hyper["slope_pm"] * np.exp(hyper["slope_spread"] * study[:, 1:2])
    offset = offset_of(hyper, study[:, 0:1])
    return Unknowns(
        populations.Lots(*map(by_wire, by_lot)),
        hyper["lattice_at_pivot_pm"] + offset + hyper["lot_offset_pm"] * by_wire(lots[:, :, 4]) + lattice,
        slope,
        widening_of(hyper, study[:, 2:3]),
        order,
        hyper["probe_bias"] + hyper["u_probe_bias"] * study[:, 3:4],
        relations(evidence, hyper, lots[:, :, len(LOT) + m :], study[:, 9:10], by_lot),
    )


def relations(
    evidence: Evidence, hyper: Hyperparameters, latents: Array, change: Array, by_lot: populations.Lots
) -> Relations:
    """How lots lie about the published relations, from the latents `RELATIONS` (walkers, lots, 3) and of the study."""
    tantalum = np.array([hyper["tantalum_k"] if kind == "Ta" else 0.0 for kind in evidence.kinds])
    family = ["doped" if k in ("Ta", "Ti") else "any" if k == "any" else "undoped" for k in evidence.kinds]
    ratio, u_ratio = (np.array([hyper[f"{name}_{entry}"] for entry in family]) for name in ("ratio", "u_ratio"))
    level, _ = populations.tin_of(hyper, by_lot.edge, by_lot.deficit)
    tin_offset = hyper["tin_offset"] + hyper["u_tin_offset"] * latents[..., 0]
    tc_offset = tantalum + hyper["tc_offset_k"] * latents[..., 1]
    return Relations(
        tin_offset,
        tc_offset,
        ratio + u_ratio * latents[..., 2],
        np.broadcast_to(hyper["u_ratio_by_tc"] * change, latents.shape[:2]),
        np.array([[hyper["ratio_scatter_bulk" if kind == "bulk" else "ratio_scatter"] for kind in evidence.kinds]]),
        critical_temperature(level, tin_offset, tc_offset)[0],
    )
