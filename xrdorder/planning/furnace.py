"""What a furnace can do, and the variables in which treatments are compared."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import StudyError
from xrdorder.treatments import History, Schedule, Step

Array = NDArray[np.float64]

MOST_CANDIDATES = 2500

LEAST_SPAN = {"temperature": 5.0, "hold": np.log(1.2), "dose": np.log(1.2), "ramp": np.log(1.2)}
"""K, and logarithms of factors: treatments nearer together than that are alike in the variable (a choice: how near
furnaces come to what they are set to)."""


@dataclass(frozen=True)
class Furnace:
    """Limits of the last hold, the one that is chosen, and of the whole treatment.

    Parameters
    ----------
    temperature_c, hours : tuple of float
        Least and largest temperature and length of the hold.
    ramp_k_per_h : tuple of float or float
        Least and largest ramp to the hold, or the one ramp there is.
    total_h : float
        Longest treatment, ramps and everything before the hold included.
    before : tuple of Step
        Holds that come first and stay as they are (tin is brought into the copper at lower temperatures).
    step_c : float
        Temperatures are proposed in steps of this.

    Raises
    ------
    StudyError
        Limits that leave nothing, or that no furnace has.
    """

    temperature_c: tuple[float, float]
    hours: tuple[float, float]
    ramp_k_per_h: tuple[float, float] | float = 50.0
    total_h: float = np.inf
    before: tuple[Step, ...] = ()
    step_c: float = 5.0

    def __post_init__(self) -> None:
        ramps = self.ramps
        for name, (low, high), least in (
            ("temperature_c", self.temperature_c, -273.15),
            ("hours", self.hours, 0.0),
            ("ramp_k_per_h", (ramps[0], ramps[-1]), 0.0),
        ):
            if not least < low <= high < np.inf:
                raise StudyError(f"furnace: {name}: {low:g} to {high:g} is no range; give the lower limit first")
        if not 0.0 < self.step_c < np.inf:
            raise StudyError(f"furnace: step_c: steps of {self.step_c:g} K lead nowhere; give K above zero")
        if not self.total_h > 0.0:
            raise StudyError(f"furnace: total_h: {self.total_h:g} h leaves no time; give hours above zero")

    @property
    def ramps(self) -> tuple[float, ...]:
        """Ramps that are proposed: the one there is, or both limits and their geometric mean."""
        if not isinstance(self.ramp_k_per_h, tuple):
            return (float(self.ramp_k_per_h),)
        low, high = self.ramp_k_per_h
        return (low,) if low == high else (low, float(f"{np.sqrt(low * high):.2g}"), high)

    def schedule(self, temperature_c: float, hours: float, ramp_k_per_h: float) -> Schedule:
        """Write a treatment as a schedule."""
        return Schedule((*self.before, Step(float(temperature_c), float(hours), float(ramp_k_per_h))))

    def candidates(self) -> tuple[Schedule, ...]:
        """Treatments that may be proposed: a grid over the limits, round numbers, none longer than allowed.

        Raises
        ------
        StudyError
            None fits into the hours, or the step makes too many.
        """
        low, high = self.temperature_c
        steps = np.arange(np.ceil(low / self.step_c - 1e-9), np.floor(high / self.step_c + 1e-9) + 1) * self.step_c
        temperatures = np.unique([low, *steps, high])
        hours = _round_series(*self.hours)
        if temperatures.size * hours.size * len(self.ramps) > MOST_CANDIDATES:
            raise StudyError(
                f"furnace: steps of {self.step_c:g} K make {temperatures.size * hours.size * len(self.ramps)} "
                f"treatments to choose from; take larger steps (at most {MOST_CANDIDATES} are compared)"
            )
        every = (self.schedule(t, h, ramp) for t in temperatures for h in hours for ramp in self.ramps)
        fitting = tuple(one for one in every if one.total_h <= self.total_h * (1 + 1e-9))
        if not fitting:
            least = self.schedule(low, self.hours[0], self.ramps[-1]).total_h
            raise StudyError(
                f"furnace: no treatment fits into {self.total_h:g} h; the shortest within the limits "
                f"takes {least:.4g} h"
            )
        return fitting


_ROUND = (10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 80.0)
"""Ten hours a decade that people set, in steps of a quarter, roughly."""


def _round_series(low: float, high: float) -> Array:
    """Round hours between both limits, and the limits.

    >>> _round_series(45.0, 100.0).tolist()
    [45.0, 50.0, 60.0, 80.0, 100.0]
    """
    decades = range(int(np.floor(np.log10(low))) - 1, int(np.ceil(np.log10(high))))
    inside = [float(f"{x * 10.0**k:.2g}") for k in decades for x in _ROUND]
    return np.unique([low, *[x for x in inside if low < x < high], high])


@dataclass(frozen=True, eq=False)
class Space:
    """Treatments as points: temperature, logarithm of the hold or of the dose, logarithm of the ramp; 0 to 1.

    Parameters
    ----------
    furnace : Furnace
    dose : tuple of float, optional
        Activation energy in kJ/mol and reference temperature in °C: the dose takes the place of the hold. It also
        counts ramps and earlier holds. Its own doubt is left out: it is common to all treatments, and what is
        compared are measured values at given treatments.

    Attributes
    ----------
    variables : tuple of str
        The ramp is among them where the furnace has a range of it.
    candidates : tuple of Schedule
    grid : array, (m, d)
        Coordinates of the candidates.
    """

    furnace: Furnace
    dose: tuple[float, float] | None = None
    variables: tuple[str, ...] = field(init=False)
    candidates: tuple[Schedule, ...] = field(init=False, repr=False)
    grid: Array = field(init=False, repr=False)
    _low: Array = field(init=False, repr=False)
    _width: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        names = ["temperature", "hold" if self.dose is None else "dose"]
        if len(self.furnace.ramps) > 1:
            names.append("ramp")
        object.__setattr__(self, "variables", tuple(names))
        object.__setattr__(self, "candidates", self.furnace.candidates())
        raw = self._raw(self.candidates)
        low, width = raw.min(axis=0), np.ptp(raw, axis=0)
        object.__setattr__(self, "_low", low)
        object.__setattr__(self, "_width", np.where(width > 0.0, width, 1.0))
        object.__setattr__(self, "grid", (raw - low) / self._width)

    def _raw(self, treatments: Sequence[History]) -> Array:
        return np.array([self._of(one) for one in treatments]).reshape(len(treatments), len(self.variables))

    def _of(self, one: History) -> list[float]:
        hold = one.hold_at_peak_h if self.dose is None else one.dose_h(*self.dose)
        found = [one.peak_c, np.log(max(hold, 1e-3))]
        if "ramp" in self.variables:
            ramp = one.ramp_to_peak_k_per_h if isinstance(one, Schedule) else np.nan
            # not written down: the middle of what the furnace does
            usual = self.furnace.ramps[len(self.furnace.ramps) // 2]
            found.append(np.log(ramp if np.isfinite(ramp) else usual))
        return found

    def coordinates(self, treatments: Sequence[History]) -> Array:
        """Coordinates of treatments, shape (n, d); those outside the limits lie outside 0 to 1."""
        return np.asarray((self._raw(treatments) - self._low) / self._width)

    def varied(self, treatments: Sequence[History]) -> NDArray[np.bool_]:
        """Mark the variables in which treatments differ, shape (d,)."""
        if not treatments:
            return np.zeros(len(self.variables), dtype=bool)
        return np.asarray(np.ptp(self._raw(treatments), axis=0) >= self._least)

    def widths(self, treatments: Sequence[History]) -> Array:
        """Span of treatments in coordinates, shape (d,); where they are alike that of the limits, 1, must serve."""
        if not treatments:
            return np.ones(len(self.variables))
        spans = np.ptp(self.coordinates(treatments), axis=0)
        return np.where(self.varied(treatments), spans, np.maximum(1.0, self._least / self._width))

    @property
    def _least(self) -> Array:
        return np.array([LEAST_SPAN[name] for name in self.variables])
