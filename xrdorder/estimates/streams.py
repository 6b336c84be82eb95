"""Random numbers by name: the same for any order of samples, and uncorrelated where a study shares them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from xrdorder.uncertainty import Array, standard_normal

_SOURCE = "estimates"


def generator(seed: int, *names: str) -> np.random.Generator:
    """Random generator fixed by the seed and names."""
    text = "\x1f".join((_SOURCE, str(int(seed)), *names))
    return np.random.default_rng(int.from_bytes(hashlib.sha256(text.encode()).digest()[:16], "big"))


def shared_normals(n: int, seed: int, names: Sequence[str]) -> Array:
    """Normal numbers by name, each of mean zero and variance one and exactly uncorrelated with the others.

    Verdicts take means and covariances of draws; chance correlations of four thousand draws, 1.6 %, would show in them
    as sharing that does not exist. Names are taken in alphabetical order, so that theirs does not matter.

    Parameters
    ----------
    n : int
    seed : int
    names : sequence of str, m

    Returns
    -------
    array, (n, m)
        As they were drawn where there are too many names to be made uncorrelated (more than a quarter of `n`).

    Examples
    --------
    >>> z = shared_normals(100, 0, ["b", "a"])
    >>> bool(abs(z.mean(axis=0)).max() < 1e-12 and abs(z.T @ z / 100 - np.eye(2)).max() < 1e-12)
    True
    """
    drawn = {name: standard_normal(n, seed, f"{_SOURCE}/{name}", "shared") for name in names}
    z = np.array([drawn[name] for name in sorted(drawn)]).reshape(len(drawn), n).T
    if 0 < 4 * z.shape[1] <= n:
        z = z - z.mean(axis=0)
        q, r = np.linalg.qr(z)
        z = q * np.sign(np.diag(r)) * np.sqrt(n)
    place = {name: k for k, name in enumerate(sorted(drawn))}
    return np.asarray(z[:, [place[name] for name in names]])
