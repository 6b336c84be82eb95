"""What was measured by other means on some wires, as residuals against the unknowns.

A measured value teaches about its wire's tin and about how the lot lies about the relations, and so about all wires
of the lot. It is compared with the wire's own value, scatter of the wire included; the scatters are integrated out
(they are linear), which couples Tc and Bc2 of one wire.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.properties import critical_temperature, field_ratio
from xrdorder.estimates.unknowns import Relations
from xrdorder.estimates.wires import Measured, Wire
from xrdorder.uncertainty import Array

_STEP_K = 1e-3
_UNMEASURED = 1e6

FieldLaw = Callable[[Array, Array, Array], Array]
"""Bc2 at a temperature from temperature, Bc2(0) and Tc."""


class Residuals(NamedTuple):
    """Whitened residuals, their derivatives by tin and the log of their norm, each (walkers, n) or n."""

    values: tuple[Array, Array, Array]
    slopes: tuple[Array, Array, Array]
    log_norm: Array


@dataclass(frozen=True)
class Anchors:
    """Measured values of those wires that have any.

    Attributes
    ----------
    wires : array of int, n
        Places of the wires among all.
    lots : array of int, n
    tin, tc, field : array, (2, n)
        Value and standard uncertainty; an enormous one where it was not measured.
    temperature : array, n
        Of the measured Bc2, K.
    law : callable
    hyper : Hyperparameters
    """

    wires: np.ndarray
    lots: np.ndarray
    tin: Array
    tc: Array
    field: Array
    temperature: Array
    law: FieldLaw
    hyper: Hyperparameters

    def has(self, what: str) -> np.ndarray:
        """Which of them have a measured "tin", "tc" or "field"."""
        return np.asarray(getattr(self, what)[1] < _UNMEASURED)

    def residuals(self, relations: Relations, probe_bias: Array, tin: Array) -> Residuals:
        """Whitened residuals of tin, Tc and Bc2.

        Parameters
        ----------
        relations : Relations
            By measured wire.
        probe_bias : array, (walkers, 1)
        tin : array, (walkers, n)
        """
        tc, tc_slope = critical_temperature(tin, relations.tin_offset, relations.tc_offset)
        field, field_slope, own = self._field(relations, tc)
        scatter = self.hyper["tc_scatter_k"]
        first = np.hypot(scatter, self.tc[1])
        both = self.has("tc") & self.has("field")
        mixed = np.where(both, field_slope * scatter**2 / first, 0.0)
        second = np.sqrt((field_slope * scatter) ** 2 + own**2 + self.field[1] ** 2 - mixed**2)
        r_tin = (tin + probe_bias - self.tin[0]) / self.tin[1]
        r_tc = (tc - self.tc[0]) / first
        r_field = (field - self.field[0] - mixed * r_tc) / second
        j_tc = tc_slope / first
        j_field = (field_slope * tc_slope - mixed * j_tc) / second
        log_norm = np.where(self.has("field"), np.log(second), 0.0)
        return Residuals((r_tin, r_tc, r_field), (1.0 / self.tin[1], j_tc, j_field), log_norm)

    def scatter(self, relations: Relations, tin: Array, normals: Array) -> Array:
        """Scatter latents of Tc and of the ratio given what was measured, (2, walkers, n).

        Parameters
        ----------
        relations : Relations
            By measured wire.
        tin : array, (walkers, n)
        normals : array, (2, walkers, n)
        """
        tc, _ = critical_temperature(tin, relations.tin_offset, relations.tc_offset)
        field, field_slope, own = self._field(relations, tc)
        size = self.hyper["tc_scatter_k"]
        g1, g2, k2 = size / self.tc[1], field_slope * size / self.field[1], own / self.field[1]
        r1, r2 = (self.tc[0] - tc) / self.tc[1], (self.field[0] - field) / self.field[1]
        p11, p12, p22 = 1.0 + g1**2 + g2**2, g2 * k2, 1.0 + k2**2
        l11 = np.sqrt(p11)
        l21 = p12 / l11
        l22 = np.sqrt(p22 - l21**2)
        b1, b2 = g1 * r1 + g2 * r2, k2 * r2
        y1 = b1 / l11
        y2 = (b2 - l21 * y1) / l22
        second = (y2 + normals[1]) / l22
        return np.array([(y1 + normals[0] - l21 * second) / l11, second])

    def _field(self, relations: Relations, tc: Array) -> tuple[Array, Array, Array]:
        """Bc2 at the temperature of the measurement, its derivative by Tc, its scatter by that of the ratio."""
        both = np.stack([tc, tc + _STEP_K])
        ratio = field_ratio(self.hyper, relations, both)
        field, beyond = self.law(self.temperature, ratio * both, both)
        return field, (beyond - field) / _STEP_K, field * relations.ratio_scatter / ratio[0]


def gather(wires: Sequence[Wire], lot_of: np.ndarray, law: FieldLaw, hyper: Hyperparameters) -> Anchors:
    """Collect what was measured on wires (`wires.checked`)."""
    index = [k for k, w in enumerate(wires) if w.tc_k or w.bc2_t or w.tin_at_percent]
    chosen = [wires[k] for k in index]
    tc = _numbers([wire.tc_k for wire in chosen], 17.0)
    without = np.array([bool(wire.tc_k and not wire.tc_k.criterion) for wire in chosen], dtype=bool)
    tc[1, without] = np.hypot(tc[1, without], hyper["u_criterion_k"])
    return Anchors(
        np.array(index, dtype=np.intp),
        lot_of[index],
        _numbers([wire.tin_at_percent for wire in chosen], 24.0),
        tc,
        _numbers([wire.bc2_t for wire in chosen], 25.0),
        np.array([wire.bc2_t.temperature_k if wire.bc2_t else 0.0 for wire in chosen]),
        law,
        hyper,
    )


def _numbers(values: Sequence[Measured | None], usual: float) -> Array:
    pairs = [(value.value, value.u) if value else (usual, math.inf) for value in values]
    table = np.array(pairs, dtype=np.float64).reshape(-1, 2).T
    return np.where(np.isfinite(table), table, _UNMEASURED)
