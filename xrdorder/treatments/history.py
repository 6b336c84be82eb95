"""Temperature as a function of time, whoever wrote it down, and the numbers that sum it up."""

from abc import ABC, abstractmethod
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from xrdorder.exceptions import ValidityError
from xrdorder.treatments.dose import (
    Dose,
    linear_doses,
    swinging_doses,
    time_above_linear,
    time_above_swinging,
)

Array = NDArray[np.float64]

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin: exact, by the definition of the Celsius scale (BIPM, SI Brochure, 9th edition, 2019)."""

MELTING_NB3SN_C = 2130.0
"""Above this no A15 is left to react (congruent melting near 2130 °C, Nb-Sn phase diagram; from memory)."""

GAS_CONSTANT = 8.31446261815324
"""Molar gas constant in J/(mol K): exact since 2019 (CODATA 2018)."""

SECONDS_PER_HOUR = 3600.0

_DOSE_NODES, _AROUND = 33, 8
"""Chebyshev points in Q between which the logarithm of the dose, a smooth, convex function, is interpolated to put
doses into order; and how many to both sides of an end of an interval are then computed in full."""


class Swing(NamedTuple):
    """A hold that swings: which piece it is, by how many K, with which period in s."""

    piece: int
    amplitude_k: float
    period_s: float


class History(ABC):
    """A temperature over time, piecewise linear but for holds that swing.

    Attributes
    ----------
    times_s, temperatures_k : ndarray, shape (n,)
        Break points of T(t) in s and K. Two equal times mark a jump (a ramp of unknown rate).
    swings : tuple of Swing
        Pieces (between break points) on which a sine stands on top of the linear course.
    """

    @property
    @abstractmethod
    def times_s(self) -> Array:
        """Break points in s."""

    @property
    @abstractmethod
    def temperatures_k(self) -> Array:
        """Temperatures at the break points in K, without swings."""

    @property
    @abstractmethod
    def swings(self) -> tuple[Swing, ...]:
        """Holds that swing."""

    @property
    @abstractmethod
    def short_name(self) -> str:
        """Name of the treatment in one short line."""

    @property
    @abstractmethod
    def peak_c(self) -> float:
        """Set point of the hottest hold in °C; noise of the furnace and swings go beyond it, to `highest_c`."""

    @property
    @abstractmethod
    def hold_at_peak_h(self) -> float:
        """Hours held at `peak_c`."""

    def temperature_at(self, time_s: ArrayLike) -> Array:
        """Give the temperature in K at times in s since the start; NaN before the start and after the end.

        At a jump the temperature after it is given.
        """
        t = np.asarray(time_s, dtype=float)
        times, temperatures = self.times_s, self.temperatures_k
        right = np.clip(np.searchsorted(times, t, side="right"), 1, times.size - 1)
        length = times[right] - times[right - 1]
        share = np.divide(t - times[right - 1], length, out=np.ones_like(t), where=length > 0)
        value = temperatures[right - 1] + share * (temperatures[right] - temperatures[right - 1])
        for piece, amplitude, period in self.swings:
            swing = amplitude * np.sin(2.0 * np.pi * (t - times[piece]) / period)
            value = value + np.where(right - 1 == piece, swing, 0.0)
        return np.where((t >= times[0]) & (t <= times[-1]), value, np.nan)

    def curve(self) -> tuple[Array, Array]:
        """Points to draw: hours and °C; break points, and swinging holds in sixteen points a period (at most 4096)."""
        extra = [
            np.linspace(
                self.times_s[piece],
                self.times_s[piece + 1],
                min(4096, 2 + int(16 * (self.times_s[piece + 1] - self.times_s[piece]) / period)),
            )[1:-1]
            for piece, _, period in self.swings
        ]
        inside = np.concatenate([np.zeros(0), *extra])
        times = np.concatenate([self.times_s, inside])
        values = np.concatenate([self.temperatures_k, self.temperature_at(inside)])
        order = np.argsort(times, kind="stable")
        return times[order] / SECONDS_PER_HOUR, values[order] - ZERO_CELSIUS_K

    @property
    def highest_c(self) -> float:
        """Highest temperature there was, even for a moment, in °C."""
        peaks = [float(np.max(self.temperatures_k))]
        for piece, amplitude, period in self.swings:
            turns = (self.times_s[piece + 1] - self.times_s[piece]) / period
            height = amplitude * (1.0 if turns >= 0.25 else np.sin(2.0 * np.pi * turns))
            peaks.append(float(self.temperatures_k[piece] + height))
        return max(peaks) - ZERO_CELSIUS_K

    @property
    def total_h(self) -> float:
        """Hours from the first ramp to the end."""
        return float((self.times_s[-1] - self.times_s[0]) / SECONDS_PER_HOUR)

    def _linear(self) -> tuple[Array, Array, Array]:
        """Lengths in s and end temperatures in K of the pieces that do not swing."""
        lengths = np.diff(self.times_s)
        lengths[[swing.piece for swing in self.swings]] = 0.0
        return lengths, self.temperatures_k[:-1], self.temperatures_k[1:]

    def time_above_h(self, temperature_c: float) -> float:
        """Hours at or above a temperature in °C.

        >>> from xrdorder.treatments import Schedule, Step
        >>> Schedule((Step(650, 100, 50), Step(25, 0, 50))).time_above_h(600)
        102.0
        """
        limit = temperature_c + ZERO_CELSIUS_K
        if not limit > 0.0:
            raise ValidityError(f"a temperature of {temperature_c:g} °C does not exist; give °C above -273.15")
        seconds = time_above_linear(*self._linear(), limit)
        for piece, amplitude, period in self.swings:
            length = float(self.times_s[piece + 1] - self.times_s[piece])
            seconds += time_above_swinging(length, float(self.temperatures_k[piece]), amplitude, period, limit)
        return seconds / SECONDS_PER_HOUR

    def doses_h(self, activation_energies_kj_per_mol: ArrayLike, reference_c: float) -> Array:
        """Give the thermal dose for several Q at once: as `dose_h`, shape of the energies.

        Doses of two treatments for the same Q belong together: their ratio is far better known than either.
        """
        energies = np.asarray(activation_energies_kj_per_mol, dtype=float)
        bad = ~((energies >= 0.0) & (energies < np.inf))
        if np.any(bad):
            raise ValidityError(
                f"an activation energy of {energies[bad].flat[0]:g} kJ/mol has no meaning; give zero or more"
            )
        reference_k = reference_c + ZERO_CELSIUS_K
        if not 0.0 < reference_k < np.inf:
            raise ValidityError(
                f"a reference temperature of {reference_c:g} °C does not exist; give °C above -273.15"
            )
        c = np.ravel(energies) * 1e3 / GAS_CONSTANT
        seconds = linear_doses(c, *self._linear(), reference_k)
        for piece, amplitude, period in self.swings:
            length = float(self.times_s[piece + 1] - self.times_s[piece])
            centre = float(self.temperatures_k[piece])
            seconds = seconds + swinging_doses(c, length, centre, amplitude, period, reference_k)
        return np.asarray(seconds / SECONDS_PER_HOUR).reshape(energies.shape)

    def dose_h(self, activation_energy_kj_per_mol: float, reference_c: float) -> float:
        r"""Give the thermal dose as equivalent hours at a reference temperature.

        .. math:: t_{eq} = \int \exp[-(Q/R) (1/T(t) - 1/T_{ref})] dt

        Parameters
        ----------
        activation_energy_kj_per_mol : float
            Q. For the growth of Nb3Sn layers values of about 200 to 400 kJ/mol are met, by tin content and
            stage of the reaction (from memory; no published number was checked): compare several Q.
        reference_c : float
            Reference temperature in °C.

        Returns
        -------
        float
            Hours at `reference_c` that do as much.

        Raises
        ------
        ValidityError
            If Q is negative or the reference is not above absolute zero.

        Examples
        --------
        With 250 kJ/mol, 100 h at 650 °C do as much as 35.9 h at 680 °C:

        >>> from xrdorder.treatments import Schedule, Step
        >>> round(Schedule((Step(650, 100),)).dose_h(250.0, 680.0), 1)
        35.9
        """
        return float(self.doses_h(activation_energy_kj_per_mol, reference_c))

    def dose(
        self,
        activation_energy_kj_per_mol: float,
        u_activation_energy_kj_per_mol: float,
        reference_c: float,
        level: float = 0.68,
    ) -> Dose:
        """Give the thermal dose with the interval that the doubt about Q leaves.

        Q is taken as normal, cut off at zero. The dose need not rise or fall with Q (a treatment may run above and
        below the reference), so the interval is taken from 2001 equally probable Q, not from the ends of Q.

        Parameters
        ----------
        activation_energy_kj_per_mol, u_activation_energy_kj_per_mol : float
            Q and its standard uncertainty.
        reference_c : float
            Near the temperature of the longest hold the doubt about Q matters least.
        level : float
            Probability of the interval.

        Raises
        ------
        ValidityError
            As `dose_h`; or the uncertainty is below zero, or the level no probability.

        Examples
        --------
        >>> from xrdorder.treatments import Schedule, Step
        >>> Schedule((Step(650, 100),)).dose(250.0, 25.0, 680.0).words
        '35.9 h at 680 °C (32.4 to 39.7 h, 68 %; Q = 250 ± 25 kJ/mol)'
        """
        q, u = activation_energy_kj_per_mol, u_activation_energy_kj_per_mol
        if not 0.0 <= u < np.inf:
            raise ValidityError(f"an uncertainty of Q of {u:g} kJ/mol has no meaning; give zero or more")
        if not 0.0 < level < 1.0:
            raise ValidityError(f"a level of {level:g} is no probability; give one between 0 and 1, for example 0.68")
        hours = self.dose_h(q, reference_c)
        low = high = hours
        if u > 0.0:
            probabilities = (np.arange(2001) + 0.5) / 2001
            cut = ndtr(-q / u)
            drawn = q + u * ndtri(cut + (1.0 - cut) * probabilities)
            first, last = max(0.0, float(drawn[0])), float(drawn[-1])
            fit = np.polynomial.Chebyshev.interpolate(
                lambda some: np.log(np.maximum(self.doses_h(some, reference_c), 1e-300)),
                _DOSE_NODES - 1,
                domain=[first, last],
            )
            ordered = drawn[np.argsort(fit(np.clip(drawn, first, last)))]
            low, high = (self._quantile(ordered, 0.5 + side * level / 2.0, reference_c) for side in (-1, 1))
        return Dose(hours, low, high, reference_c, q, u, level)

    def _quantile(self, energies: Array, probability: float, reference_c: float) -> float:
        """Quantile of the doses of energies that are nearly in the order of their doses."""
        rank = probability * (energies.size - 1)
        first = max(0, int(rank) - _AROUND)
        near = np.sort(self.doses_h(energies[first : first + 2 * _AROUND + 2], reference_c))
        return float(np.interp(rank - first, np.arange(near.size), near))
