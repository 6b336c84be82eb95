"""How well shared unknowns explain the wires, with tin and order of every wire integrated out.

Given what is shared, each wire is on its own: two unknowns (tin, order), two residuals of X-rays and those of its
anchors. The integral over the two is Laplace's: Gauss-Newton to the best latents of each wire, for all walkers and
wires at once.

Large studies overlearn: the forms of the model (shape of the population, straight line a(tin), one widening) are not
known well enough for five hundred wires to be asked about their common offset. Three things hold against it:

* spreads of tin and order within a lot are unknowns of the lot, and half of the variance of the levels is common to the
  lots of a study (`unknowns`). This does most: ten lots of fifty wires, tin anywhere between 19 and 25.2 at.%, had
  rms z of tin of 1.6 without the common part and 1.1 with it;
* a lot of n wires counts as n / (1 + (n - 1) / m) of them, m being `most_wires` (a power likelihood as of J. W. Miller,
  D. B. Dunson, J. Am. Stat. Assoc. 114 (2019) 1113, from memory). Anchored wires count in full, up to m of them;
* what a wire says about itself is never weakened: its own tin and order are drawn with all of its evidence.

A lattice parameter with something else wrong (strain, a wrong mount) must not bend the scale of its study: what is a
wire's own of it is Student's t of `wire_freedom` degrees of freedom.

Tried and rejected: fixed spreads (a prototype had rms z of tin of 3.4 for five hundred wires), and the power alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from xrdorder.estimates import populations
from xrdorder.estimates.anchors import Anchors
from xrdorder.estimates.evidence import Evidence
from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.unknowns import Unknowns, read
from xrdorder.uncertainty import Array

ROUNDS = 3
"""Gauss-Newton steps from the middle of the population; a fourth changes nearly no evidence by 1e-6."""

PORTION = 6000
"""Walkers times wires in hand at once."""

_LONGEST_STEP = 2.0


class Wires(NamedTuple):
    """Best latents of wires and the curvature there, each (walkers, wires); evidence of each wire."""

    z_tin: Array
    z_order: Array
    h_tin: Array
    h_mixed: Array
    h_order: Array
    log_evidence: Array


class Terms(NamedTuple):
    """Minus log density of wires, its gradient and Gauss-Newton curvature by the two latents."""

    value: Array
    g_tin: Array
    g_order: Array
    h_tin: Array
    h_mixed: Array
    h_order: Array


@dataclass(frozen=True)
class Likelihood:
    """Evidence, anchors and numbers of the model, together.

    Calling it with unknowns gives the weighted log evidence by lot, (walkers, lots).
    """

    evidence: Evidence
    anchors: Anchors
    hyper: Hyperparameters

    def __call__(self, study: Array, lots: Array) -> Array:
        """Weighted log evidence by lot."""
        weights, starts = self.weights, self.evidence.starts
        parts = []
        for part in self.portions(len(study)):
            wires = self.solve(study[part], lots[part])
            parts.append(np.add.reduceat(weights * wires.log_evidence, starts, axis=1))
        return np.asarray(np.concatenate(parts))

    def portions(self, walkers: int) -> list[slice]:
        """Slices of walkers whose arrays stay in the fast memory of a processor, a third faster than all at once."""
        size = max(1, PORTION // len(self.evidence.wires))
        return [slice(start, min(start + size, walkers)) for start in range(0, walkers, size)]

    @cached_property
    def weights(self) -> Array:
        """How much each wire teaches about what is shared."""
        most = self.hyper["most_wires"]
        weights = (1.0 / (1.0 + (self.evidence.counts - 1.0) / most))[self.evidence.lot_of]
        anchored = np.bincount(self.evidence.lot_of[self.anchors.wires], minlength=len(self.evidence.lots))
        full = np.minimum(1.0, most / np.maximum(anchored, 1.0))[self.evidence.lot_of]
        index = self.anchors.wires
        weights[index] = np.maximum(weights, full)[index]
        return np.asarray(weights)

    def unknowns(self, study: Array, lots: Array) -> Unknowns:
        """Shared unknowns in their units."""
        return read(self.evidence, self.hyper, study, lots)

    def solve(self, study: Array, lots: Array) -> Wires:
        """Best latents of every wire for each walker."""
        unknowns = self.unknowns(study, lots)
        shape = (len(study), len(self.evidence.wires))
        z_tin, z_order = np.zeros(shape), np.zeros(shape)
        for _ in range(ROUNDS):
            terms = self.terms(unknowns, z_tin, z_order)
            det = terms.h_tin * terms.h_order - terms.h_mixed**2
            step_tin = (terms.h_order * terms.g_tin - terms.h_mixed * terms.g_order) / det
            step_order = (terms.h_tin * terms.g_order - terms.h_mixed * terms.g_tin) / det
            z_tin = z_tin - np.clip(step_tin, -_LONGEST_STEP, _LONGEST_STEP)
            z_order = z_order - np.clip(step_order, -_LONGEST_STEP, _LONGEST_STEP)
        terms = self.terms(unknowns, z_tin, z_order)
        det = terms.h_tin * terms.h_order - terms.h_mixed**2
        evidence = -terms.value - 0.5 * np.log(det)
        return Wires(z_tin, z_order, terms.h_tin, terms.h_mixed, terms.h_order, evidence)

    def terms(self, unknowns: Unknowns, z_tin: Array, z_order: Array) -> Terms:
        """Minus log density of tin and order of the wires, and its derivatives."""
        wire = populations.state(self.hyper, unknowns.population, z_tin, z_order)
        e, (w11, w21, w22) = self.evidence, _triangle(self.evidence.whitening)
        away = wire.tin - self.hyper["pivot_tin"]
        missing = self.hyper["order_of_lines"] - wire.order
        lattice = e.lattice_pm - unknowns.level_pm - unknowns.slope * away - unknowns.widening * missing
        order = (
            e.order
            + e.order_by_tin * (wire.tin - e.order_at_tin)
            - 0.04 * wire.tin * wire.order
            - unknowns.order_shift
        )
        lattice_by_tin, lattice_by_order = (
            -unknowns.slope * wire.tin_slope,
            unknowns.widening * wire.order_slope,
        )
        order_by_tin = (e.order_by_tin - 0.04 * wire.order) * wire.tin_slope
        order_by_order = -0.04 * wire.tin * wire.order_slope
        r1, j1t, j1o = (w11 * part for part in (lattice, lattice_by_tin, lattice_by_order))
        r2 = w21 * lattice + w22 * order
        j2t, j2o = w21 * lattice_by_tin + w22 * order_by_tin, w21 * lattice_by_order + w22 * order_by_order
        # Student's t: its weight takes the place of one in gradient and curvature
        freedom = self.hyper["wire_freedom"]
        weight = (freedom + 1.0) / (freedom + r1**2)
        terms = Terms(
            0.5 * ((freedom + 1.0) * np.log1p(r1**2 / freedom) + r2**2 + z_tin**2 + z_order**2),
            weight * j1t * r1 + j2t * r2 + z_tin,
            weight * j1o * r1 + j2o * r2 + z_order,
            1.0 + weight * j1t**2 + j2t**2,
            weight * j1t * j1o + j2t * j2o,
            1.0 + weight * j1o**2 + j2o**2,
        )
        if len(self.anchors.wires):
            self._add_anchors(terms, unknowns, wire)
        return terms

    def _add_anchors(self, terms: Terms, unknowns: Unknowns, wire: populations.State) -> None:
        """Add what was measured by other means; it depends on the wire by its tin alone."""
        index = self.anchors.wires
        residuals, slopes, log_norm = self.anchors.residuals(unknowns, wire.tin[:, index])
        slopes = slopes * wire.tin_slope[:, index]
        terms.value[:, index] += 0.5 * np.sum(residuals**2, axis=0) + log_norm
        terms.g_tin[:, index] += np.sum(slopes * residuals, axis=0)
        terms.h_tin[:, index] += np.sum(slopes**2, axis=0)


def _triangle(whitening: Array) -> tuple[Array, Array, Array]:
    return whitening[:, 0, 0], whitening[:, 1, 0], whitening[:, 1, 1]
