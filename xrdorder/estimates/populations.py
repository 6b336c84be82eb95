"""From standard normal latents to what wires hold: tin and order, bounded without an edge.

A level for the lot, in part common to the study, and an additive spread within it. The softplus bends the sum so that
tin ends at the rich edge of the A15 field and order at one; both are smooth, so that derivatives stand beside them.

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
    """What is common to a lot, each (walkers, lots): level and spread of tin (at.%) and of 1 - S_a."""

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
    study : array, (walkers, 2)
        Standard normal: what the lots of the study have in common of either level.
    """
    common = hyper["level_by_study"]
    level = math.sqrt(common) * study[:, None, :] + math.sqrt(1.0 - common) * latents[..., :2]
    disorder = np.array([hyper[f"disorder_{_family(kind)}"] for kind in kinds])
    disorder_spread = np.array([hyper[f"disorder_{_family(kind)}_spread"] for kind in kinds])
    spreads = np.exp(hyper["spread_of_spreads"] * latents[..., 2:4])
    return Lots(
        hyper["tin_deficit"] * np.exp(hyper["tin_deficit_spread"] * level[..., 0]),
        hyper["tin_in_lot"] * spreads[..., 0],
        disorder * np.exp(disorder_spread * level[..., 1]),
        hyper["disorder_in_lot"] * spreads[..., 1],
    )


def _family(kind: str) -> str:
    return "doped" if kind in ("Ta", "Ti") else kind


def state(hyper: Hyperparameters, lot: Lots, z_tin: Array, z_order: Array) -> State:
    """Tin and order of wires; `lot` spread out to the wires, all (walkers, wires)."""
    below, tin_slope = softplus(lot.deficit + lot.tin_spread * z_tin, hyper["tin_edge_width"])
    missing, order_slope = softplus(lot.disorder + lot.order_spread * z_order, hyper["disorder_edge_width"])
    return State(
        hyper["tin_edge"] - below,
        1.0 - missing,
        -lot.tin_spread * tin_slope,
        -lot.order_spread * order_slope,
    )
