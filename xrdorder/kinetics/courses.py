r"""Treatments as their Arrhenius integrals.

.. math:: \Theta_Q = \int \exp[-(Q/R) (1/T(t) - 1/T_{ref})] dt, \quad T_{ref} = 923.15\,K

in hours at 650 °C (`History.doses_h`, which has closed forms for ramps and swings). The logarithm of the integral is a
smooth function of ln Q; it is worked out at `NODES` Chebyshev points once a treatment and interpolated after that, so
that hundreds of treatments times hundreds of draws of Q cost one product of matrices.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.treatments import History, Schedule
from xrdorder.treatments.history import GAS_CONSTANT, SECONDS_PER_HOUR, ZERO_CELSIUS_K

Array = NDArray[np.float64]

REFERENCE_C = 650.0
"""Temperature at which the hours of an integral are counted, °C."""

REFERENCE_K = REFERENCE_C + ZERO_CELSIUS_K
LOWEST_Q, HIGHEST_Q = 20.0, 3000.0
"""Activation energies that are interpolated between, kJ/mol; beyond, the nearest one serves."""

NODES = 28
"""Chebyshev points in ln Q; the logarithm of an integral is then good to 1e-6 for schedules of furnaces."""

USUAL_Q = 225.0
"""Activation energy in kJ/mol that one temperature and one time are made with for any T(t): that of conversion."""

_RAMP_K, _RAMP_H, _MOST_OF_A_RAMP, _RAMPS_BELOW_K, _PHASES = 25.0, 4.0, 40, 150.0, 32
"""Steps that stand for a ramp: K, hours (at most so many), down to so far below the peak; phases of a swing."""


class Steps(NamedTuple):
    """A treatment as holds, in their order: hours and temperatures in K."""

    hours: Array
    kelvin: Array


def _log_q(energies: ArrayLike) -> Array:
    """Energies as places on the Chebyshev axis, -1 to 1."""
    low, high = np.log(LOWEST_Q), np.log(HIGHEST_Q)
    logs = np.log(np.clip(np.asarray(energies, dtype=float), LOWEST_Q, HIGHEST_Q))
    return np.asarray((2.0 * logs - low - high) / (high - low))


_POINTS = np.polynomial.chebyshev.chebpts1(NODES)
_ENERGIES = np.exp(0.5 * (np.log(LOWEST_Q * HIGHEST_Q) + _POINTS * np.log(HIGHEST_Q / LOWEST_Q)))
_FIT = np.linalg.inv(np.polynomial.chebyshev.chebvander(_POINTS, NODES - 1))


def _series(history: History) -> Array:
    """Chebyshev coefficients of the logarithm of the integral, shape (NODES,)."""
    return _of_schedule(history) if isinstance(history, Schedule) else _worked_out(history)


def _worked_out(history: History) -> Array:
    return np.asarray(_FIT @ np.log(np.maximum(history.doses_h(_ENERGIES, REFERENCE_C), 1e-300)))


@lru_cache(maxsize=8192)
def _of_schedule(schedule: Schedule) -> Array:
    return _worked_out(schedule)


def _steps(history: History) -> Steps:
    """Replace T(t) by holds: ramps in steps, swings by what they do on average."""
    swings = {swing.piece: swing for swing in history.swings}
    floor = float(np.max(history.temperatures_k)) - _RAMPS_BELOW_K
    hours: list[float] = []
    kelvin: list[float] = []
    for k, seconds in enumerate(np.diff(history.times_s)):
        length = float(seconds) / SECONDS_PER_HOUR
        low, high = float(history.temperatures_k[k]), float(history.temperatures_k[k + 1])
        if length <= 0.0:
            continue
        if k in swings:
            mean, factor = _of_swing(low, swings[k].amplitude_k)
            hours.append(length * factor)
            kelvin.append(mean)
            continue
        edges = _edges(low, high, floor, length)
        hours += list(length * np.abs(np.diff(edges)) / max(abs(high - low), 1e-12)) if low != high else [length]
        kelvin += list((edges[1:] + edges[:-1]) / 2.0) if low != high else [low]
    return Steps(np.array(hours), np.array(kelvin))


def _of_swing(centre_k: float, amplitude_k: float) -> tuple[float, float]:
    """Hold that stands for a swing: its temperature, weighted by the rate at `USUAL_Q`, and its hours over those."""
    kelvin = centre_k + amplitude_k * np.sin(2.0 * np.pi * (np.arange(_PHASES) + 0.5) / _PHASES)
    rate = np.exp(-USUAL_Q * 1e3 / GAS_CONSTANT * (1.0 / kelvin - 1.0 / centre_k))
    mean = float(np.average(kelvin, weights=rate))
    return mean, float(np.mean(rate) * np.exp(USUAL_Q * 1e3 / GAS_CONSTANT * (1.0 / mean - 1.0 / centre_k)))


def _edges(low: float, high: float, floor: float, hours: float) -> Array:
    """Temperatures between which a ramp counts as a hold at the middle; slow ones in steps of time as well."""
    if low == high or max(low, high) <= floor:
        return np.array([low, high])
    least = min(low, high)
    warm = max(low, high) - max(least, floor)
    number = 2 + int(max(warm / _RAMP_K, min(hours * warm / abs(high - low) / _RAMP_H, _MOST_OF_A_RAMP)))
    fine = np.linspace(max(least, floor), max(low, high), number)
    up = np.concatenate([[least], fine]) if least < floor else fine
    return up if high > low else up[::-1]


class Courses:
    """Heat treatments, m of them, as their integrals.

    Parameters
    ----------
    treatments : sequence of History
        Schedules or logs.

    Examples
    --------
    >>> from xrdorder.treatments import Schedule, Step
    >>> courses = Courses([Schedule((Step(650, 100),)), Schedule((Step(680, 36),))])
    >>> np.exp(courses.log_integrals(250.0)).round(1).tolist()
    [100.0, 100.4]
    """

    def __init__(self, treatments: Sequence[History]) -> None:
        self.treatments = tuple(treatments)
        self._coefficients = np.array([_series(treatment) for treatment in self.treatments]).reshape(-1, NODES).T

    def __len__(self) -> int:
        return len(self.treatments)

    def select(self, which: NDArray[np.bool_]) -> Courses:
        """Only these treatments; nothing is worked out again."""
        some = Courses(())
        some.treatments = tuple(treatment for treatment, given in zip(self.treatments, which, strict=True) if given)
        some._coefficients = self._coefficients[:, which]
        some.__dict__["steps"] = Steps(self.steps.hours[which], self.steps.kelvin[which])
        return some

    def log_integrals(self, energies: ArrayLike) -> Array:
        """Logarithm of the integral in hours at 650 °C, shape (*energies.shape, m); energies in kJ/mol."""
        places = _log_q(energies)
        logs = np.polynomial.chebyshev.chebvander(places.ravel(), NODES - 1) @ self._coefficients
        return np.asarray(logs.reshape(*places.shape, len(self)))

    @cached_property
    def steps(self) -> Steps:
        """All treatments as holds, shape (m, k), filled up with holds of no time."""
        every = [_steps(treatment) for treatment in self.treatments]
        longest = max((len(entry.hours) for entry in every), default=0)
        hours, kelvin = np.zeros((len(every), longest)), np.full((len(every), longest), REFERENCE_K)
        for row, entry in enumerate(every):
            hours[row, : len(entry.hours)], kelvin[row, : len(entry.kelvin)] = entry
        return Steps(hours, kelvin)

    @cached_property
    def points(self) -> Array:
        """Temperature in K and logarithm of the hours there that would have converted as much, shape (m, 2).

        The temperature is that of the mean of 1/T weighted by the rate at `USUAL_Q`; for one hold after a quick ramp
        both are those of the hold.
        """
        step = 1.0
        logs = self.log_integrals([USUAL_Q - step, USUAL_Q, USUAL_Q + step])
        inverse = 1.0 / REFERENCE_K - (logs[2] - logs[0]) / (2.0 * step * 1e3 / GAS_CONSTANT)
        hours = logs[1] + USUAL_Q * 1e3 / GAS_CONSTANT * (inverse - 1.0 / REFERENCE_K)
        return np.stack([1.0 / inverse, hours], axis=1)
