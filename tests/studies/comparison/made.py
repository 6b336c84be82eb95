"""Wires with known truth: means of variants, a common error, scatter between wires."""

import numpy as np

from xrdorder.studies.comparison import Values


def wires(rng, truths, *, own=0.1, scatter=0.0, shared=0.0, quantity="Tc_K"):
    """One sample a truth; `shared` is the size of an error common to all."""
    n = len(truths)
    value = np.asarray(truths) + rng.normal(0, np.hypot(own, scatter), n) + shared * rng.normal()
    return Values(
        quantity, tuple(f"w{k}" for k in range(n)), value, np.full((n, 1), shared), np.full((n, 1), own)
    )


def no_difference(seed, treatments, pairs, ratio, own=0.1):
    """A wire of each treatment and a second one of the first `pairs`, all alike but for their scatter.

    `ratio` is that of the scatter to the known uncertainty `own`. Gives values, labels, temperatures and hours.
    """
    which = [*range(len(treatments)), *range(pairs)]
    peaks, hours = np.array(treatments)[which].T
    values = wires(np.random.default_rng(seed), np.zeros(len(which)), own=own, scatter=ratio * own, shared=1.0)
    return values, [f"v{k}" for k in which], peaks, hours
