r"""Thermal dose: how long at a reference temperature would have done as much.

.. math:: t_{eq} = \int \exp[-(Q/R) (1/T(t) - 1/T_{ref})] dt

Along a linear ramp the integral has the closed form :math:`\int e^{-c/T} dT = T e^{-c/T} - c\,E_1(c/T)` with
c = Q/R and E1 the exponential integral. Where the exponent hardly changes, as between two lines of a log, the two
ends of the closed form would cancel; a Gauss-Legendre rule serves there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import hyperu

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)
_SMALL = 0.5
"""Change of the exponent up to which the rule is used. Its error is below x^12 (6!)^4 / (13 (12!)^3), for 0.5 less
than 1e-19 of the integral; at 0.5 the closed form has lost two digits of sixteen."""

_SWINGS = 512
"""Points of a period. The trapezoid rule over a whole period converges exponentially; 64 do for any real swing."""


@dataclass(frozen=True)
class Dose:
    """Equivalent hours at a reference temperature, with what the doubt about Q makes of them.

    Attributes
    ----------
    hours : float
        At the central Q.
    low, high : float
        Bounds of the central interval of `level`.
    reference_c : float
        Reference temperature in °C.
    activation_energy_kj_per_mol, u_activation_energy_kj_per_mol : float
    level : float
    """

    hours: float
    low: float
    high: float
    reference_c: float
    activation_energy_kj_per_mol: float
    u_activation_energy_kj_per_mol: float
    level: float

    @property
    def words(self) -> str:
        """One line.

        >>> Dose(35.9, 33.1, 38.9, 680.0, 250.0, 25.0, 0.68).words
        '35.9 h at 680 °C (33.1 to 38.9 h, 68 %; Q = 250 ± 25 kJ/mol)'
        """
        q, u = self.activation_energy_kj_per_mol, self.u_activation_energy_kj_per_mol
        return (
            f"{self.hours:.3g} h at {self.reference_c:g} °C ({self.low:.3g} to {self.high:.3g} h, "
            f"{100 * self.level:g} %; Q = {q:g} ± {u:g} kJ/mol)"
        )


def linear_doses(c: Array, lengths: Array, low: Array, high: Array, reference_k: float) -> Array:
    """Dose of pieces with linear temperature, added up, for several c = Q/R.

    Parameters
    ----------
    c : array, (n_c,)
        In K.
    lengths, low, high : array, (n,)
        Duration of a piece in any unit of time, temperature at its ends in K. A piece without duration (a jump) counts
        nothing.

    Returns
    -------
    array, (n_c,)
        In the unit of `lengths`.
    """
    real = lengths > 0.0
    lengths, low, high = lengths[real], low[real], high[real]
    total = np.zeros(c.shape)
    for k, q in enumerate(c):  # one Q at a time: a log may have a million pieces
        small = np.abs(q / low - q / high) < _SMALL
        middle, half = (low[small] + high[small]) / 2.0, (high[small] - low[small]) / 2.0
        at = middle[:, None] + half[:, None] * _NODES
        total[k] = float(lengths[small] @ (np.exp(q / reference_k - q / at) @ (_WEIGHTS / 2.0)))
        a, b = low[~small], high[~small]
        span = _antiderivative(b, q, reference_k) - _antiderivative(a, q, reference_k)
        total[k] += float(np.sum(lengths[~small] / (b - a) * span))
    return total


def _antiderivative(temperature_k: Array, c: float, reference_k: float) -> Array:
    """Antiderivative over T of exp(c/T_ref - c/T); exp(x) E1(x) = U(1, 1, x) neither under- nor overflows."""
    x = c / temperature_k
    return np.asarray(temperature_k * np.exp(c / reference_k - x) * (1.0 - x * hyperu(1.0, 1.0, x)))


def swinging_doses(
    c: Array, length: float, centre_k: float, amplitude_k: float, period: float, reference_k: float
) -> Array:
    """Dose of a hold whose temperature swings as amplitude times sine, beginning at its centre; shape (n_c,)."""
    whole, rest = divmod(length / period, 1.0)

    def mean(phase: Array, weights: Array) -> Array:
        temperature = centre_k + amplitude_k * np.sin(2.0 * np.pi * phase)
        return np.exp(c[:, None] / reference_k - c[:, None] / temperature) @ weights

    of_period = mean(np.arange(_SWINGS) / _SWINGS, np.full(_SWINGS, 1.0 / _SWINGS))
    # the broken period in eight parts: the rule then sees less than a quarter of a swing each time
    edges = np.linspace(0.0, rest, 9)
    nodes, weights = np.polynomial.legendre.leggauss(16)
    step = rest / 16.0
    phase = ((edges[:-1] + edges[1:]) / 2.0)[:, None] + step * nodes
    of_rest = mean(phase.ravel(), np.tile(step * weights, 8))
    return np.asarray(period * (whole * of_period + of_rest))


def time_above_linear(lengths: Array, low: Array, high: Array, limit_k: float) -> float:
    """Time that pieces of linear temperature spend at or above a limit, in the unit of `lengths`."""
    top, bottom = np.maximum(low, high), np.minimum(low, high)
    span = top - bottom
    share = np.divide(top - limit_k, span, out=(bottom >= limit_k).astype(np.float64), where=span > 0.0)
    return float(lengths @ np.clip(share, 0.0, 1.0))


def time_above_swinging(length: float, centre_k: float, amplitude_k: float, period: float, limit_k: float) -> float:
    """Time that a swinging hold spends above a limit, in the unit of `length`."""
    height = (limit_k - centre_k) / amplitude_k
    if abs(height) >= 1.0:
        return length if height <= -1.0 else 0.0
    # it is above from the phase `begin` on, for `share` of every period
    begin = np.arcsin(height) / (2.0 * np.pi)
    share = 0.5 - 2.0 * begin
    since = np.array([-begin, length / period - begin])
    return float(period * np.diff(np.floor(since) * share + np.minimum(since % 1.0, share))[0])
