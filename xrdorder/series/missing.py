"""Phases that were not found in a frame: what its residual says of them."""

import copy
import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from xrdorder.fitting.procedure import Procedure
from xrdorder.forward_model.phase_lines import PhaseLines

Array = NDArray[np.float64]

SAME_TEMPERATURE_K = 5.0
"""Between frames for which one pattern of a missing phase does: its lines move by a hundredth of their width."""

_TRIAL_STEP = 1e-3  # relative, between lattices tried: at 80 degrees half the width of a line of 0.2 degrees


class Missing:
    """The pattern that a missing phase would have, at the temperature at which it was made.

    Parameters
    ----------
    job : Procedure
        At a minimum without the phase.
    lines : PhaseLines
        Of the phase.
    temperature_c : float
    """

    def __init__(self, job: Procedure, lines: PhaseLines, temperature_c: float) -> None:
        self._model, self.temperature_c = job.model, temperature_c
        self._lines = copy.copy(lines)  # frozen anew for each lattice, which those of the fit must not be
        self._values = job.fit.values() | {lines.scale_name: 1.0}

    def _unit(self, lengths: Array) -> Array:
        """Counts at a scale of one, shape (n,)."""
        self._lines.freeze(tuple(float(x) for x in lengths))
        values = self._values | dict(zip(self._lines.length_names, map(float, lengths), strict=True))
        return self._model.part(self._lines, values)

    @cached_property
    def _at_rest(self) -> Array:
        """At the lattice of the catalogue, shape (1, n)."""
        return self._unit(np.array(self._lines.phase.lengths_nm))[None]

    @cached_property
    def _anywhere(self) -> Array:
        """At lattices all over the range of the phase, shape (lattices, n)."""
        phase = self._lines.phase
        lengths = np.array(phase.lengths_nm)
        low, high = max(phase.lengths_low_nm / lengths), min(phase.lengths_high_nm / lengths)
        trials = np.linspace(low, high, max(int(np.ceil((high - low) / _TRIAL_STEP)) + 1, 2))
        return np.array([self._unit(factor * lengths) for factor in trials])

    def at_rest(self, residual: Array, variance: Array) -> tuple[float, float]:
        """Scale that a residual asks for at the lattice of the catalogue, and its standard uncertainty."""
        return _largest(self._at_rest, residual, variance)

    def anywhere(self, residual: Array, variance: Array) -> tuple[float, float]:
        """The same at the lattice at which the phase stands out most."""
        return _largest(self._anywhere, residual, variance)


def _largest(units: Array, residual: Array, variance: Array) -> tuple[float, float]:
    """Scale and uncertainty of the pattern among `units` (k, n) that stands out most; zero where none has a line."""
    information = units**2 @ (1.0 / variance)
    seen = information > 0.0
    if not seen.any():
        return 0.0, math.inf
    root = np.sqrt(information[seen])
    significance = units[seen] @ (residual / variance) / root
    best = int(np.argmax(significance))
    return float(significance[best] / root[best]), float(1.0 / root[best])
