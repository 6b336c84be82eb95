"""From standard normal latents to what wires hold: tin and order, bounded without an edge.

A level for the lot, in part common to the study, and an additive spread within it. The softplus bends the sum so that
tin ends at the edges of the A15 field and order at one; all is smooth, so that derivatives stand beside it.

Tried and rejected: a lognormal or tabulated population, which ties the spread within a lot to its level (a prototype
had tin beyond two u in a fifth of simulated wires); cut normal distributions, whose norm hangs on the level.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.uncertainty import Array


class Lots(NamedTuple):
    """What is common to a lot, each (walkers, lots): level and spread of tin (at.%) and of 1 - S_a.

    Tin is counted down from the rich edge of the A15 field (at.%), which is one for the whole study.
    """

    edge: Array
    deficit: Array
    tin_spread: Array
    disorder: Array
    order_spread: Array


class State(NamedTuple):
    """Tin (at.%), S_a and their derivatives by the latents of the wire."""

    tin: Array
    order: Array
    tin_slope: Array
    order_slope: Array


def softplus(y: Array, width: float) -> tuple[Array, Array]:
    """Width times ln(1 + exp(y / width)) and its derivative.

    Examples
    --------
    >>> value, slope = softplus(np.array([5.0, -5.0]), 0.25)
    >>> [round(float(v), 3) for v in value], [round(float(s), 3) for s in slope]
    ([5.0, 0.0], [1.0, 0.0])
    """
    e = np.exp(-np.abs(y) / width)
    slope = np.where(y >= 0.0, 1.0, e) / (1.0 + e)
    return np.asarray(np.maximum(y, 0.0) + width * np.log1p(e)), slope


def lots(hyper: Hyperparameters, kinds: tuple[str, ...], latents: Array, study: Array) -> Lots:
    """Levels and spreads of lots from their latents.

    Parameters
    ----------
    hyper : Hyperparameters
    kinds : tuple of str, n_lots
    latents : array, (walkers, n_lots, 4 or more)
        Standard normal: level of tin and of order, spread of tin and of order.
    study : array, (walkers, 5)
        Standard normal: what the lots of the study have in common of either level, the rich edge of the field, and how
        far the lots are spread in tin and in order.
    """
    common = hyper["level_by_study"]
    from scipy.special import ndtr

    level = math.sqrt(common) * study[:, None, :2] + math.sqrt(1.0 - common) * latents[..., :2]
    disorder = np.array([hyper[f"disorder_{_family(kind)}"] for kind in kinds])
    tin_spread = hyper["tin_deficit_spread"] * np.exp(hyper["u_tin_deficit_spread"] * study[:, 3:4])
    disorder_spread = hyper["disorder_spread"] * np.exp(hyper["u_disorder_spread"] * study[:, 4:5])
    spreads = np.exp(hyper["spread_of_spreads"] * latents[..., 2:4])
    poor, rich = hyper["tin_edge_low"], hyper["tin_edge_high"]
    edge = poor + (rich - poor) * ndtr(study[:, 2:3])
    return Lots(
        np.broadcast_to(edge, level.shape[:2]),
        hyper["tin_deficit"] * np.exp(tin_spread * level[..., 0]),
        hyper["tin_in_lot"] * spreads[..., 0],
        disorder * np.exp(disorder_spread * level[..., 1]),
        hyper["disorder_in_lot"] * spreads[..., 1],
    )


def _family(kind: str) -> str:
    return "doped" if kind in ("Ta", "Ti") else kind


def bounded(y: Array, width: float, most: Array | float) -> tuple[Array, Array]:
    """Between nothing and `most`, bent gently at either end, and its derivative.

    Examples
    --------
    >>> [round(float(value), 2) for value in bounded(np.array([-5.0, 2.0, 20.0]), 0.25, 7.4)[0]]
    [0.0, 2.0, 7.4]
    """
    above, slope = softplus(y, width)
    beyond, slope_beyond = softplus(above - most, width)
    return np.asarray(above - beyond), np.asarray(slope * (1.0 - slope_beyond))


def tin_of(hyper: Hyperparameters, edge: Array, deficit: Array) -> tuple[Array, Array]:
    """Tin (at.%) that lacks so much to the rich edge of the A15 field, and its derivative; within the field."""
    below, slope = bounded(deficit, hyper["tin_edge_width"], edge - hyper["tin_floor"])
    return np.asarray(edge - below), -slope


def state(hyper: Hyperparameters, lot: Lots, z_tin: Array, z_order: Array) -> State:
    """Tin and order of wires; `lot` spread out to the wires, all (walkers, wires)."""
    tin, tin_slope = tin_of(hyper, lot.edge, lot.deficit + lot.tin_spread * z_tin)
    missing, order_slope = bounded(
        lot.disorder + lot.order_spread * z_order, hyper["disorder_edge_width"], hyper["disorder_most"]
    )
    return State(tin, 1.0 - missing, lot.tin_spread * tin_slope, -lot.order_spread * order_slope)
