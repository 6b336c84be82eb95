"""Wires with known truth: means of variants, a common error, scatter between wires."""

import numpy as np
import xarray as xr

from xrdorder.comparison import Values
from xrdorder.comparison.variants import Wires


def wires(rng, truths, *, own=0.1, scatter=0.0, shared=0.0, quantity="Tc_K"):
    """One sample a truth; `shared` is the size of an error common to all."""
    n = len(truths)
    value = np.asarray(truths) + rng.normal(0, np.hypot(own, scatter), n) + shared * rng.normal()
    return Values(
        quantity, tuple(f"w{k}" for k in range(n)), value, np.full((n, 1), shared), np.full((n, 1), own)
    )


def difference(values, first, second):
    """First sample less second, and its standard uncertainty."""
    a, b = (values.samples.index(name) for name in (first, second))
    square = values.covariance()
    return values.value[a] - values.value[b], np.sqrt(max(square[a, a] + square[b, b] - 2.0 * square[a, b], 0.0))


def no_difference(seed, treatments, pairs, ratio, own=0.1, quantity="Tc_K"):
    """A wire of each treatment and a second one of the first `pairs`, all alike but for their scatter.

    `ratio` is that of the scatter to the known uncertainty `own`. Gives values, labels, temperatures and hours.
    """
    which = [*range(len(treatments)), *range(pairs)]
    peaks, hours = np.array(treatments)[which].T
    values = wires(np.random.default_rng(seed), np.zeros(len(which)), own=own, scatter=ratio * own, shared=10.0 * own,
                   quantity=quantity)  # fmt: skip
    return values, [f"v{k}" for k in which], peaks, hours


def spool(rng, ratio, slope=0.0):
    """Six quantities of eight pieces of a spool, cut and measured in turn: results, and what `drifts` takes."""
    place = np.arange(8.0)
    days = [f"2026-03-{d:02d}" for d in (1, 3, 2, 5, 4, 9, 8, 12)]
    results = xr.Dataset(
        {"position": ("sample", place), "date": ("sample", np.array(days, dtype=object))},
        coords={"sample": [f"w{k}" for k in range(8)]},
    )
    named = ["one"] * 8
    every = [wires(rng, slope * place, own=0.1, scatter=ratio * 0.1, shared=1.0, quantity=f"q{k}") for k in range(6)]
    return results, [Wires(values, named, named, place) for values in every]
