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
from xrdorder.estimates.anchors import Anchors, Residuals
from xrdorder.estimates.evidence import Evidence
from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.unknowns import Relations, Unknowns, read
from xrdorder.uncertainty import Array

ROUNDS = 3
"""Gauss-Newton steps from the middle of the population; a fourth changes nearly no evidence by 1e-6."""

_PORTION = 10_000
"""Walkers times wires in hand at once: arrays that stay in the fast memory of a processor, a third quicker than all."""

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
    """Gradient and Gauss-Newton curvature of minus the log density of wires by the two latents, and their residuals."""

    g_tin: Array
    g_order: Array
    h_tin: Array
    h_mixed: Array
    h_order: Array
    residuals: tuple[Array, Array]
    anchored: Residuals | None


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
        for part in self.portions(len(study), _PORTION):
            wires = self.given(study[part], lots[part]).solve()
            parts.append(np.add.reduceat(weights * wires.log_evidence, starts, axis=1))
        return np.asarray(np.concatenate(parts))

    def portions(self, walkers: int, portion: int) -> list[slice]:
        """Slices of walkers, as many as make a portion with their wires."""
        size = max(1, portion // len(self.evidence.wires))
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

    def given(self, study: Array, lots: Array) -> Conditional:
        """Tin and order of the wires, given what is shared."""
        unknowns = read(self.evidence, self.hyper, study, lots)
        measured = unknowns.relations.of(self.anchors.lots) if len(self.anchors.wires) else None
        return Conditional(self, unknowns, self.evidence.lattice_pm - unknowns.level_pm, measured)


@dataclass(frozen=True)
class Conditional:
    """Tin and order of the wires, given what is shared; latents and all about them are (walkers, wires).

    Attributes
    ----------
    likelihood : Likelihood
    unknowns : Unknowns
    lattice_pm : array
        What was measured less what is shared.
    measured : Relations or None
        By anchored wire; None without any.
    """

    likelihood: Likelihood
    unknowns: Unknowns
    lattice_pm: Array
    measured: Relations | None

    def solve(self) -> Wires:
        """Best latents of every wire for each walker."""
        z_tin, z_order = np.zeros_like(self.lattice_pm), np.zeros_like(self.lattice_pm)
        for _ in range(ROUNDS):
            terms = self.terms(z_tin, z_order)
            det = terms.h_tin * terms.h_order - terms.h_mixed**2
            step_tin = (terms.h_order * terms.g_tin - terms.h_mixed * terms.g_order) / det
            step_order = (terms.h_tin * terms.g_order - terms.h_mixed * terms.g_tin) / det
            z_tin = z_tin - np.clip(step_tin, -_LONGEST_STEP, _LONGEST_STEP)
            z_order = z_order - np.clip(step_order, -_LONGEST_STEP, _LONGEST_STEP)
        terms = self.terms(z_tin, z_order)
        det = terms.h_tin * terms.h_order - terms.h_mixed**2
        evidence = -self._value(terms, z_tin, z_order) - 0.5 * np.log(det)
        return Wires(z_tin, z_order, terms.h_tin, terms.h_mixed, terms.h_order, evidence)

    def density(self, z_tin: Array, z_order: Array) -> Array:
        """Log density of tin and order of the wires, but for a constant."""
        return -self._value(self.terms(z_tin, z_order), z_tin, z_order)

    def state(self, z_tin: Array, z_order: Array) -> populations.State:
        """Tin and order of the wires."""
        return populations.state(self.likelihood.hyper, self.unknowns.population, z_tin, z_order)

    def terms(self, z_tin: Array, z_order: Array) -> Terms:
        """Derivatives of minus the log density, and its parts."""
        wire, unknowns, hyper = self.state(z_tin, z_order), self.unknowns, self.likelihood.hyper
        e, (w11, w21, w22) = self.likelihood.evidence, _triangle(self.likelihood.evidence.whitening)
        away, missing = wire.tin - hyper["pivot_tin"], hyper["order_of_lines"] - wire.order
        lattice = self.lattice_pm - unknowns.slope * away - unknowns.widening * missing
        order_by_tin = 0.04 * wire.tin
        order = e.order + e.order_by_tin * (wire.tin - e.order_at_tin)
        order = order - order_by_tin * wire.order - unknowns.order_shift
        lattice_by_tin, lattice_by_order = -unknowns.slope * wire.tin_slope, unknowns.widening * wire.order_slope
        by_tin, by_order = (e.order_by_tin - 0.04 * wire.order) * wire.tin_slope, -order_by_tin * wire.order_slope
        r1, j1t, j1o = (w11 * part for part in (lattice, lattice_by_tin, lattice_by_order))
        r2 = w21 * lattice + w22 * order
        j2t, j2o = w21 * lattice_by_tin + w22 * by_tin, w21 * lattice_by_order + w22 * by_order
        # Student's t: its weight takes the place of one in gradient and curvature
        freedom = hyper["wire_freedom"]
        weight = (freedom + 1.0) / (freedom + r1**2)
        w1t, w1o = weight * j1t, weight * j1o
        g_tin, h_tin = w1t * r1 + j2t * r2 + z_tin, 1.0 + w1t * j1t + j2t**2
        anchored = None
        if self.measured is not None:
            # what was measured by other means depends on the wire by its tin alone
            anchors, index = self.likelihood.anchors, self.likelihood.anchors.wires
            tin, tin_slope = wire.tin.T[index].T, wire.tin_slope.T[index].T
            anchored = anchors.residuals(self.measured, unknowns.probe_bias, tin)
            slopes = [slope * tin_slope for slope in anchored.slopes]
            g_tin.T[index] += sum(slope * residual for slope, residual in zip(slopes, anchored.values, strict=True)).T
            h_tin.T[index] += sum(slope**2 for slope in slopes).T
        return Terms(
            g_tin,
            w1o * r1 + j2o * r2 + z_order,
            h_tin,
            w1t * j1o + j2t * j2o,
            1.0 + w1o * j1o + j2o**2,
            (r1, r2),
            anchored,
        )

    def _value(self, terms: Terms, z_tin: Array, z_order: Array) -> Array:
        """Minus the log density."""
        (r1, r2), freedom = terms.residuals, self.likelihood.hyper["wire_freedom"]
        value = 0.5 * ((freedom + 1.0) * np.log1p(r1**2 / freedom) + r2**2 + z_tin**2 + z_order**2)
        if terms.anchored is not None:
            squares = sum(residual**2 for residual in terms.anchored.values)
            value.T[self.likelihood.anchors.wires] += (0.5 * squares + terms.anchored.log_norm).T
        return np.asarray(value)


def _triangle(whitening: Array) -> tuple[Array, Array, Array]:
    return whitening[:, 0, 0], whitening[:, 1, 0], whitening[:, 1, 1]
