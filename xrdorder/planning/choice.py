"""Which treatment is best so far, which next, and what may be said of it? Draws and measurements in, decisions out.

* What is best so far, and the range that is as good, come from the process (`xrdorder.planning.process`).
* Whether anything differs is asked of what was measured alone: by the repeatability of equal wires, never by the model.
* "Better" needs both: a probability of 0.95 by the process, and a measured difference beyond 1.96 u.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

Array = NDArray[np.float64]

SURE = 0.95
"""Probability from which a treatment is called better, where a measured difference says so too."""

BY_CHANCE = 0.01
"""Differences as large come by chance with at most this probability where wires are said to differ."""

LEAST_GAIN = 0.005
"""Expected rise of the best, of its value, below which one may stop (in simulated campaigns 1 to 2 % are then left)."""

AS_GOOD = 0.01
"""What lies so near to the optimum, of its value, is as good."""

_FUTURES = 128


def with_replicates(u: float, freedom: float, value: Array, treatment: NDArray[np.intp]) -> tuple[float, float]:
    """Scatter of equal wires: a published value that counts as some degrees of freedom, and wires of one treatment.

    Parameters
    ----------
    u, freedom : float
        Standard deviation of one wire, in the unit of the objective (of its logarithm), and what it is known by.
    value, treatment : array, (n,)

    Returns
    -------
    u, freedom : float
    """
    counts = np.bincount(treatment)
    means = np.bincount(treatment, value) / np.maximum(counts, 1)
    more = len(value) - np.count_nonzero(counts)
    total = freedom + more
    return float(np.sqrt((freedom * u**2 + np.sum((value - means[treatment]) ** 2)) / total)), total


@dataclass(frozen=True, eq=False)
class Direct:
    """What was measured of the objective itself, a mean for each treatment.

    Attributes
    ----------
    treatment : array of int, (k,)
        Treatments with a value.
    value : array, (k,)
        Logarithm of a current; else the value.
    covariance : array, (k, k)
        Repeatability included.
    freedom : float
        What the repeatability is known by.
    """

    treatment: NDArray[np.intp]
    value: Array
    covariance: Array
    freedom: float

    @property
    def p_alike(self) -> float:
        """Probability of differences as large by chance, where all treatments are alike; 1 with fewer than two."""
        if len(self.value) < 2:
            return 1.0
        weight = np.linalg.inv(self.covariance)
        ones = np.ones(len(self.value))
        mean = (ones @ weight @ self.value) / (ones @ weight @ ones)
        square = float((self.value - mean) @ weight @ (self.value - mean))
        dof = len(self.value) - 1
        return float(fdtrc(dof, self.freedom, square / dof))

    @property
    def visible(self) -> float:
        """Smallest difference of two treatments that is significant (5 %): the median of all pairs; NaN of none."""
        square = np.diag(self.covariance)
        pairs = (square[:, None] + square - 2.0 * self.covariance)[np.triu_indices(len(square), 1)]
        return 1.96 * float(np.sqrt(np.median(pairs))) if len(pairs) else np.nan

    def difference(self, first: int, second: int) -> tuple[float, float]:
        """Measured difference of two treatments and its standard uncertainty; NaN where one was not measured."""
        places = [np.flatnonzero(self.treatment == place) for place in (first, second)]
        if any(not len(place) for place in places):
            return np.nan, np.nan
        a, b = (int(place[0]) for place in places)
        c = self.covariance
        return float(self.value[a] - self.value[b]), float(np.sqrt(max(c[a, a] + c[b, b] - 2.0 * c[a, b], 0.0)))


NOTHING = Direct(np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros((0, 0)), 1.0)
"""Nothing was measured of the objective."""


def better(draws: Array, direct: Direct, first: int, second: int) -> bool:
    """Whether one reacted treatment may be called better than another.

    Parameters
    ----------
    draws : array, (draws, m)
        Objective of the treatments reacted.
    direct : Direct
    first, second : int
    """
    difference, u = direct.difference(first, second)
    return bool(difference > 1.96 * u and np.mean(draws[:, first] > draws[:, second]) >= SURE)


@dataclass(frozen=True, eq=False)
class Futures:
    """What a further wire may show: for every candidate what will be measured of it, draw by draw.

    Attributes
    ----------
    shown : array, (draws, n, kinds)
        Predicted values of what is measured.
    noise : array, (kinds, kinds)
        Its covariance.
    """

    shown: Array
    noise: Array

    def worth(self, reacted: Array, proposed: Array, random: np.random.Generator) -> Array:
        """How far the best mean is expected to rise once a candidate has been reacted and measured, shape (n,).

        E[max over reacted and candidate of the new mean] less the largest mean now; the new mean is linear in what is
        measured.

        Parameters
        ----------
        reacted : array, (draws, m)
        proposed : array, (draws, n)
        """
        means, mean = reacted.mean(axis=0), proposed.mean(axis=0)
        y = self.shown - self.shown.mean(axis=0)
        size = len(y)
        half = np.linalg.cholesky(np.einsum("dni,dnj->nij", y, y) / size + self.noise)
        innovation = np.linalg.solve(half, np.swapaxes(np.swapaxes(y, 0, 1), 1, 2))  # (n, kinds, draws)
        of_reacted = innovation @ (reacted - means) / size
        of_own = np.einsum("nkd,dn->nk", innovation, proposed - mean) / size
        normal = random.standard_normal((_FUTURES // 2, y.shape[2]))
        normal = np.concatenate([normal, -normal])
        best = np.max(means + normal @ of_reacted, axis=2)
        own = mean[:, None] + of_own @ normal.T
        return np.asarray(np.mean(np.maximum(best, own), axis=1) - np.max(means))

    def after(self, k: int, *others: Array) -> tuple[Array, ...]:
        """Draws as they would be had candidate k been measured to be what is expected of it.

        Parameters
        ----------
        k : int
        others : array, (draws, ...)
        """
        y = self.shown[:, k] - self.shown[:, k].mean(axis=0)
        # errors of the measurement, so that draws keep the right spread
        noise = np.random.default_rng(k).standard_normal(y.shape) @ np.linalg.cholesky(self.noise).T
        square = y.T @ y / len(y) + self.noise
        moved = np.linalg.solve(square, (y + noise).T)
        futures = []
        for other in others:
            flat = other.reshape(len(other), -1)
            cross = y.T @ (flat - flat.mean(axis=0)) / len(flat)
            futures.append((flat - moved.T @ cross).reshape(other.shape))
        return tuple(futures)


def as_good(mean: Array, allowed: NDArray[np.bool_], relative: bool) -> NDArray[np.bool_]:
    """Which candidates lie within `AS_GOOD` of the best allowed one; of a logarithm where `relative`."""
    if not allowed.any():
        return allowed
    top = float(np.max(mean[allowed]))
    least = top + np.log1p(-AS_GOOD) if relative else top * (1.0 - AS_GOOD)
    return np.asarray(allowed & (mean >= least))


def resampled(weights: Array, number: int, random: np.random.Generator) -> NDArray[np.intp]:
    """Indices of draws by their weights, evenly (systematic resampling)."""
    places = (np.arange(number) + random.random()) / number
    return np.asarray(np.searchsorted(np.cumsum(weights / weights.sum()), places).clip(0, len(weights) - 1))
