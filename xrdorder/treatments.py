"""What was done to the wire: furnace schedules as an operator writes them, and what they amount to.

A `Schedule` is a list of `Step`: ramp to a temperature at so many kelvin an hour, hold it so many hours.
Outside, temperatures are in °C and times in hours, as on a furnace sheet; `Schedule.temperature_at` and the
break points are in kelvin and seconds, as in formulas. The schedule below is one published in arXiv:2302.07825.

>>> schedule = Schedule((Step(210, 48, 25), Step(400, 48, 50), Step(665, 75, 50)))
>>> schedule.short_name
'210/48 + 400/48 + 665/75 h'
>>> schedule.peak_c, schedule.hold_at_peak_h, schedule.total_h
(665.0, 75.0, 187.5)
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import hyperu

from xrdorder.exceptions import StudyError, ValidityError

Array = NDArray[np.float64]

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin: exact, by the definition of the Celsius scale (BIPM, SI Brochure, 9th edition, 2019)."""

MELTING_NB3SN_C = 2130.0
"""Above this no A15 is left to react (congruent melting near 2130 °C, Nb-Sn phase diagram; from memory)."""

GAS_CONSTANT = 8.31446261815324
"""Molar gas constant in J/(mol K): exact since 2019 (CODATA 2018)."""

SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True)
class Step:
    """One line of a furnace sheet: go to a temperature, stay there.

    Parameters
    ----------
    hold_c : float
        Temperature of the hold in °C.
    hours : float
        Length of the hold in h; 0 for a ramp that is followed at once by the next step.
    ramp_k_per_h : float, optional
        Rate of the ramp to `hold_c` in K/h, without sign: whether it heats or cools follows from the
        temperatures. None when it was not written down; the change then takes no time.

    Raises
    ------
    StudyError
        For values no furnace can follow. The message begins with the name of the field.
    """

    hold_c: float
    hours: float
    ramp_k_per_h: float | None = None

    def __post_init__(self) -> None:
        for name, complaint in step_problems(self.hold_c, self.hours, self.ramp_k_per_h):
            raise StudyError(f"{name}: {complaint}")


def step_problems(hold_c: float, hours: float, ramp_k_per_h: float | None) -> list[tuple[str, str]]:
    """List what is wrong with a step, as (field, complaint with remedy); empty when nothing is."""
    problems = []
    if not -ZERO_CELSIUS_K < hold_c <= MELTING_NB3SN_C:  # also catches NaN
        problems.append(
            (
                "hold_c",
                f"{hold_c:g} °C is not a furnace temperature; give °C between absolute zero (-273.15) "
                f"and the melting of Nb3Sn ({MELTING_NB3SN_C:g})",
            )
        )
    if not 0.0 <= hours < np.inf:
        problems.append(("hours", f"{hours:g} h is not a time; give hours, zero or more"))
    if ramp_k_per_h is not None and not 0.0 < ramp_k_per_h < np.inf:
        problems.append(
            (
                "ramp_k_per_h",
                f"a ramp of {ramp_k_per_h:g} K/h leads nowhere; give the rate as a number above zero "
                "(heating or cooling follows from the temperatures), or leave it out when unknown",
            )
        )
    return problems


@dataclass(frozen=True)
class Schedule:
    """A heat treatment: temperature as a function of time, piecewise linear.

    Parameters
    ----------
    steps : tuple of Step
        In the order in which the furnace ran them; at least one.
    start_c : float
        Temperature before the first ramp in °C.

    Attributes
    ----------
    times_s, temperatures_k : ndarray, shape (n,)
        Break points of T(t) in s and K. Two equal times mark a jump (a ramp of unknown rate).
    """

    steps: tuple[Step, ...]
    start_c: float = 25.0
    times_s: Array = field(init=False, repr=False, compare=False)
    temperatures_k: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "steps", tuple(self.steps))
        if not self.steps:
            raise StudyError("treatment: has no step; give at least one hold (hold_c in °C, hours)")
        if not -ZERO_CELSIUS_K < self.start_c <= MELTING_NB3SN_C:
            raise StudyError(f"start_c: {self.start_c:g} °C is not a temperature; give °C above -273.15")
        times, temperatures = [0.0], [self.start_c + ZERO_CELSIUS_K]
        for step in self.steps:
            goal = step.hold_c + ZERO_CELSIUS_K
            rate = step.ramp_k_per_h
            ramp_h = 0.0 if rate is None else abs(goal - temperatures[-1]) / rate
            times.append(times[-1] + ramp_h * SECONDS_PER_HOUR)
            times.append(times[-1] + step.hours * SECONDS_PER_HOUR)
            temperatures += [goal, goal]
        object.__setattr__(self, "times_s", np.array(times))
        object.__setattr__(self, "temperatures_k", np.array(temperatures))

    def temperature_at(self, time_s: ArrayLike) -> Array:
        """Give the temperature in K at times in s since the start; NaN before the start and after the end.

        At a jump the temperature after it is given.

        An hour at 50 K/h from 25 °C:

        >>> round(float(Schedule((Step(650, 100, 50),)).temperature_at(3600.0)), 2)
        348.15
        """
        t = np.asarray(time_s, dtype=float)
        times, temperatures = self.times_s, self.temperatures_k
        right = np.clip(np.searchsorted(times, t, side="right"), 1, times.size - 1)
        length = times[right] - times[right - 1]
        share = np.divide(t - times[right - 1], length, out=np.ones_like(t), where=length > 0)
        value = temperatures[right - 1] + share * (temperatures[right] - temperatures[right - 1])
        return np.where((t >= times[0]) & (t <= times[-1]), value, np.nan)

    @property
    def peak_c(self) -> float:
        """Highest hold temperature in °C."""
        return float(max(step.hold_c for step in self.steps))

    @property
    def hold_at_peak_h(self) -> float:
        """Hours held at the highest temperature, all such holds together."""
        return float(sum(step.hours for step in self.steps if step.hold_c == self.peak_c))

    @property
    def total_h(self) -> float:
        """Hours from the first ramp to the end of the last hold."""
        return float(self.times_s[-1] / SECONDS_PER_HOUR)

    @property
    def short_name(self) -> str:
        """Name the treatment by its holds in one line.

        >>> Schedule((Step(650, 100),)).short_name
        '650 °C/100 h'
        """
        holds = [step for step in self.steps if step.hours > 0] or [self.steps[-1]]
        if len(holds) == 1:
            return f"{holds[0].hold_c:g} °C/{holds[0].hours:g} h"
        return " + ".join(f"{step.hold_c:g}/{step.hours:g}" for step in holds) + " h"

    def dose_h(self, activation_energy_kj_per_mol: float, reference_c: float) -> float:
        r"""Give the thermal dose as equivalent hours at a reference temperature.

        .. math:: t_{eq} = \int \exp[-(Q/R) (1/T(t) - 1/T_{ref})] dt

        Holds are exact; along a linear ramp the integral has the closed form
        :math:`\int e^{-c/T} dT = T e^{-c/T} - c\,E_1(c/T)` with c = Q/R and E1 the exponential integral.

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

        >>> round(Schedule((Step(650, 100),)).dose_h(250.0, 680.0), 1)
        35.9
        """
        if not 0.0 <= activation_energy_kj_per_mol < np.inf:
            raise ValidityError(
                f"an activation energy of {activation_energy_kj_per_mol:g} kJ/mol has no meaning; "
                "give zero or more"
            )
        reference_k = reference_c + ZERO_CELSIUS_K
        if not 0.0 < reference_k < np.inf:
            raise ValidityError(
                f"a reference temperature of {reference_c:g} °C does not exist; give °C above -273.15"
            )
        c = activation_energy_kj_per_mol * 1e3 / GAS_CONSTANT
        seconds = 0.0
        points = zip(self.times_s, self.temperatures_k, strict=True)
        for (t0, low), (t1, high) in pairwise(points):
            if high == low:
                seconds += (t1 - t0) * np.exp(c / reference_k - c / low)
            elif t1 > t0:
                span = _ramp_antiderivative(high, c, reference_k) - _ramp_antiderivative(low, c, reference_k)
                seconds += (t1 - t0) / (high - low) * span
        return float(seconds / SECONDS_PER_HOUR)


def _ramp_antiderivative(temperature_k: float, c: float, reference_k: float) -> float:
    """Antiderivative over T of exp(c/T_ref - c/T); exp(x) E1(x) = U(1, 1, x) neither under- nor overflows."""
    x = c / temperature_k
    if x == 0.0:
        return temperature_k
    return float(temperature_k * np.exp(c / reference_k - x) * (1.0 - x * hyperu(1.0, 1.0, x)))
