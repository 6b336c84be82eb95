"""What measurements say of the process: Gauss-Newton to the maximum, the covariance there, draws.

Vectors are counted in prior standard deviations (`xrdorder.planning.process`), so that the maximum of

    |z|² / 2 + (y - f(z))' V^-1 (y - f(z)) / 2

is found with (1 + J' V^-1 J) and its inverse is the covariance (Laplace's approximation).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xrdorder.kinetics import Courses
from xrdorder.planning.process import Process

Array = NDArray[np.float64]

_STEP = 1e-4
_ROUNDS = 25
_SETTLED = 1e-2  # change of the sum by which the search ends


@dataclass(frozen=True, eq=False)
class Observed:
    """Measurements of some wires that share a covariance.

    Attributes
    ----------
    parts : tuple of (str, array of int)
        A key of `Process.predict`, and which treatments its values were made of; one part behind the other.
    value : array, (k,)
    covariance : array, (k, k)
        Of all that the model does not know of: reading, specimen, gap between what is read and what is meant.
    """

    parts: tuple[tuple[str, NDArray[np.intp]], ...]
    value: Array
    covariance: Array

    def predicted(self, predicted: Mapping[str, Array]) -> Array:
        """What the process makes of them, (draws, k)."""
        return np.concatenate([predicted[kind][:, treatment] for kind, treatment in self.parts], axis=1)


@dataclass(frozen=True, eq=False)
class Posterior:
    """What is known of the process.

    Attributes
    ----------
    z : array, (p,)
    half : array, (p, p)
        A root of the covariance.
    misfit : float
        Sum of squares of what is left of the measurements at the maximum, each in its standard uncertainty.
    """

    z: Array
    half: Array
    misfit: float

    def draws(self, number: int, random: np.random.Generator) -> Array:
        """Draws of the vector, shape (number, p), in pairs about the maximum."""
        half = random.standard_normal(((number + 1) // 2, len(self.z)))
        return np.asarray(self.z + np.concatenate([half, -half])[:number] @ self.half.T)


def infer(
    process: Process, courses: Courses, places: Array, observed: Sequence[Observed], fields_t: Sequence[float]
) -> Posterior:
    """Find what measurements say of the process.

    Parameters
    ----------
    process : Process
    courses : Courses
        Treatments reacted.
    places : array, (m, 3)
    observed : sequence of Observed
    fields_t : sequence of float
        Fields of the currents observed.
    """
    p = len(process.names)
    whitening = [np.linalg.inv(np.linalg.cholesky(observation.covariance)) for observation in observed]

    def residuals(z: Array) -> Array:
        predicted = process.predict(z, courses, places, fields_t)
        parts = [
            (observation.value - observation.predicted(predicted)) @ w.T
            for observation, w in zip(observed, whitening, strict=True)
        ]
        return np.concatenate([np.zeros((len(z), 0)), *parts], axis=1)

    def total(z: Array, left: Array) -> float:
        return float(z @ z + left @ left)

    z, damping = np.zeros(p), 1e-2
    steps = _STEP * np.eye(p)
    for _ in range(_ROUNDS):
        every = residuals(z + np.concatenate([np.zeros((1, p)), steps]))
        left, slopes = every[0], (every[1:] - every[0]).T / _STEP
        now = total(z, left)
        normal, gradient = np.eye(p) + slopes.T @ slopes, -z - slopes.T @ left
        gained = 0.0
        while damping < 1e8:
            tried = z + np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
            gained = now - total(tried, residuals(tried[None])[0])
            if gained > 0.0:
                z, damping = tried, damping / 10.0
                break
            damping = max(damping, 1e-4) * 10.0
        if gained < _SETTLED:
            break
    every = residuals(z + np.concatenate([np.zeros((1, p)), steps]))
    slopes = (every[1:] - every[0]).T / _STEP
    root = np.linalg.inv(np.linalg.cholesky(np.eye(p) + slopes.T @ slopes))
    return Posterior(z, root.T, float(every[0] @ every[0]))
