"""Wires as arrays: what was measured, the noise that is a wire's own, and the few directions that wires share.

A study brings some twenty shared sources. Most move a lattice parameter by a tenth of what wires scatter; carrying
each as an unknown would cost time and teach nothing. The shared columns, in units of a wire's own noise, are taken
apart into principal directions: those that matter stay unknowns (of the study, or of the lot they are confined to),
what is left over becomes noise of the wire's own, which makes differences a little less sure than they are, never
surer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.wires import LATTICE, ORDER, Wire
from xrdorder.uncertainty import PRIVATE, Array

PM = 1e3
"""Picometres of a nanometre."""

MATTERS = 0.3
"""A direction stays an unknown where it moves the wires by more than this share of their own noise (own choice: what
is made noise adds less than 5 % to it)."""

MOST_DIRECTIONS = 6
"""Of a lot, and of the study (own choice: the strongest ones)."""

_DOPANT_SITE = "dopant site/"
# Noise of a value held as exact, in pm and in order: far below anything measured.
_LEAST = (1e-4, 1e-5)
_ABSENT = 1e6


@dataclass(frozen=True)
class Evidence:
    """What X-rays say of wires sorted by lot.

    Attributes
    ----------
    wires : tuple of Wire, n
    lots : tuple of (str, str)
        Lot and kind.
    starts : array of int, n_lots
        First wire of each lot.
    lot_of : array of int, n
    lattice_pm, order : array, n
        Zero where nothing was measured, with a weight of nearly zero.
    order_by_tin, order_at_tin : array, n
        Per at.%, and at.%.
    whitening : array, (n, 2, 2)
        Lower triangular: makes residuals of lattice (pm) and order independent and of unit variance.
    study_directions : array, (n, 2, m)
        Change of lattice (pm) and order by one standard deviation of each shared direction.
    lot_directions : array, (n, 2, m)
        The same of the directions of a wire's own lot.
    """

    wires: tuple[Wire, ...]
    lots: tuple[tuple[str, str], ...]
    starts: np.ndarray
    lot_of: np.ndarray
    lattice_pm: Array
    order: Array
    order_by_tin: Array
    order_at_tin: Array
    whitening: Array
    study_directions: Array
    lot_directions: Array

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kind of each lot."""
        return tuple(kind for _, kind in self.lots)

    @property
    def counts(self) -> Array:
        """Number of wires of each lot."""
        return np.bincount(self.lot_of, minlength=len(self.lots)).astype(np.float64)


def gather(wires: Sequence[Wire], hyper: Hyperparameters) -> Evidence:
    """Arrange wires, sorted by lot (`wires.checked`)."""
    keys = [wire.lot_key for wire in wires]
    lots = tuple(dict.fromkeys(keys))
    lot_of = np.array([lots.index(key) for key in keys])
    starts = np.searchsorted(lot_of, np.arange(len(lots)))
    own, columns = _columns(wires, hyper)
    own[:, 0, 0] += hyper["wire_scatter_pm"] ** 2
    for k, wire in enumerate(wires):
        for row, value in enumerate((wire.a_nm, wire.site_order)):
            own[k, row, row] += _LEAST[row] ** 2 if math.isfinite(value) else _ABSENT**2
    in_lots, in_study = _divided(columns, lot_of)
    lot_directions = np.zeros((len(wires), 2, MOST_DIRECTIONS))
    for lot in range(len(lots)):
        members = np.flatnonzero(lot_of == lot)
        kept, rest = _principal(in_lots[lot], own[members], members)
        lot_directions[members, :, : kept.shape[2]] = kept
        own[members] += rest
    study_directions, rest = _principal(in_study, own, np.arange(len(wires)))
    own += rest
    used = int(np.max(np.sum(np.any(lot_directions != 0.0, axis=1), axis=1), initial=0))
    return Evidence(
        tuple(wires), lots, starts, lot_of,
        np.array([PM * wire.a_nm if math.isfinite(wire.a_nm) else hyper["lattice_at_pivot_pm"] for wire in wires]),
        np.array([wire.site_order if math.isfinite(wire.site_order) else 0.95 for wire in wires]),
        np.array([wire.order_by_tin / 100.0 for wire in wires]),
        np.array([100.0 * wire.order_at_tin if wire.order_by_tin else 0.0 for wire in wires]),
        np.linalg.inv(np.linalg.cholesky(own)), study_directions, lot_directions[:, :, :used],
    )  # fmt: skip


Columns = dict[tuple[str, str], Array]


def _columns(wires: Sequence[Wire], hyper: Hyperparameters) -> tuple[Array, Columns]:
    """Own covariance of lattice (pm) and order of each wire, and signed columns (n, 2) of shared sources."""
    own = np.zeros((len(wires), 2, 2))
    columns: Columns = {}
    for k, wire in enumerate(wires):
        table = wire.contributions
        rows = np.zeros((2, len(table.sources)))
        for row, (name, unit) in enumerate(((LATTICE, PM), (ORDER, 1.0))):
            if name in table.quantities:
                rows[row] = unit * table.row(name)
        for column, source, group in zip(rows.T, table.sources, table.groups, strict=True):
            for share, key in _shared_by(source, group, wire, hyper):
                part = math.sqrt(share) * column
                if key is None:
                    own[k] += np.outer(part, part)
                else:
                    columns.setdefault(key, np.zeros((len(wires), 2)))[k] = part
    return own, columns


def _shared_by(
    source: str, group: str, wire: Wire, hyper: Hyperparameters
) -> list[tuple[float, tuple[str, str] | None]]:
    """Shares of the variance of a source, and who shares each; None: the wire's own.

    Where a dopant sits goes with the lot and with the treatment, whatever the table says.
    """
    if source.startswith(_DOPANT_SITE) and wire.lot:
        by_lot = hyper["site_by_lot"]
        treatment = (source, f"{wire.lot}\x00{wire.treatment}") if wire.treatment else None
        return [(by_lot, (source, wire.lot)), (1.0 - by_lot, treatment)]
    return [(1.0, None if group == PRIVATE else (source, group))]


def _divided(columns: Columns, lot_of: np.ndarray) -> tuple[list[list[Array]], list[Array]]:
    """Columns that touch one lot only, and those that touch several; in the order of their names."""
    in_lots: list[list[Array]] = [[] for _ in range(int(lot_of[-1]) + 1 if len(lot_of) else 0)]
    in_study = []
    for key in sorted(columns):
        touched = np.unique(lot_of[np.any(columns[key] != 0.0, axis=1)])
        if len(touched) == 1:
            in_lots[int(touched[0])].append(columns[key])
        elif len(touched) > 1:
            in_study.append(columns[key])
    return in_lots, in_study


def _principal(columns: Sequence[Array], own: Array, members: np.ndarray) -> tuple[Array, Array]:
    """Directions of shared columns that matter, (members, 2, m), and what is left as covariance (members, 2, 2)."""
    n = len(members)
    if not columns:
        return np.zeros((n, 2, 0)), np.zeros((n, 2, 2))
    stacked = np.stack([column[members] for column in columns], axis=2)
    scale = np.sqrt(np.diagonal(own, axis1=1, axis2=2))[:, :, None]
    u, size, _ = np.linalg.svd((stacked / scale).reshape(2 * n, -1), full_matrices=False)
    # every direction's sign is fixed, so that equal studies give equal draws on every machine
    sign = np.sign(u[np.argmax(np.abs(u), axis=0), np.arange(u.shape[1])])
    directions = (u * (sign * size)).reshape(n, 2, -1) * scale
    keep = int(min(np.sum(np.max(np.abs(directions / scale), axis=(0, 1)) > MATTERS), MOST_DIRECTIONS))
    rest = directions[:, :, keep:]
    return directions[:, :, :keep], np.einsum("nik,njk->nij", rest, rest)
