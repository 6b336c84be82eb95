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
