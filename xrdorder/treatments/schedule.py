"""Furnace schedules as an operator writes them: ramp to a temperature, hold it; repeat; let a hold swing."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import StudyError
from xrdorder.treatments.history import MELTING_NB3SN_C, SECONDS_PER_HOUR, ZERO_CELSIUS_K, History, Swing

Array = NDArray[np.float64]

MOST_STEPS = 100_000
"""Steps a schedule may have with its repeats written out: far beyond any furnace, small for a computer."""


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
    amplitude_k, period_h : float, optional
        A hold that swings: T = hold_c + amplitude_k sin(2π t / period_h), t from the begin of the hold. Its
        mean over whole periods is `hold_c`.

    Raises
    ------
    StudyError
        For values no furnace can follow. The message begins with the name of the field.
    """

    hold_c: float
    hours: float
    ramp_k_per_h: float | None = None
    amplitude_k: float = 0.0
    period_h: float | None = None

    def __post_init__(self) -> None:
        problems = step_problems(self.hold_c, self.hours, self.ramp_k_per_h, self.amplitude_k, self.period_h)
        for name, complaint in problems:
            raise StudyError(f"{name}: {complaint}")

    @property
    def short_name(self) -> str:
        """Temperature over hours, with the swing."""
        swing = f"±{self.amplitude_k:g}" if self.amplitude_k else ""
        return f"{self.hold_c:g}{swing}/{self.hours:g}"


@dataclass(frozen=True)
class Repeat:
    """A block of steps that is run several times.

    Parameters
    ----------
    times : int
    steps : tuple of Step or Repeat

    Raises
    ------
    StudyError
        Nothing to repeat, or a number of times that is none.
    """

    times: int
    steps: tuple["Step | Repeat", ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "steps", tuple(self.steps))
        for name, complaint in repeat_problems(self.times, len(self.steps)):
            raise StudyError(f"{name}: {complaint}")

    @property
    def short_name(self) -> str:
        """Times and steps."""
        return f"{self.times}×({' + '.join(step.short_name for step in self.steps)})"


def step_problems(
    hold_c: float,
    hours: float,
    ramp_k_per_h: float | None,
    amplitude_k: float = 0.0,
    period_h: float | None = None,
) -> list[tuple[str, str]]:
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
    if not (0.0 <= amplitude_k < np.inf and (amplitude_k == 0.0 or amplitude_k < hold_c + ZERO_CELSIUS_K)):
        problems.append(
            (
                "amplitude_k",
                f"a swing of {amplitude_k:g} K about {hold_c:g} °C is not possible; give K, zero or more, "
                "that stay above absolute zero",
            )
        )
    if period_h is not None and not 0.0 < period_h < np.inf:
        problems.append(("period_h", f"a period of {period_h:g} h is none; give hours above zero"))
    if amplitude_k > 0.0 and period_h is None:
        problems.append(("period_h", f"is missing, but the hold swings by {amplitude_k:g} K; give the period in hours"))
    if amplitude_k == 0.0 and period_h is not None:
        problems.append(("amplitude_k", "is missing, but a period is given; give the swing in K, or no period"))
    return problems


def repeat_problems(times: float, steps: int) -> list[tuple[str, str]]:
    """List what is wrong with a repeated block, as (field, complaint with remedy)."""
    problems = []
    if not (1 <= times <= MOST_STEPS and times == int(times)):
        problems.append(("repeat", f"{times:g} is no number of times; give a whole number, 1 to {MOST_STEPS}"))
    if steps == 0:
        problems.append(("steps", "there is nothing to repeat; give at least one step"))
    return problems


def written_out(steps: tuple[Step | Repeat, ...]) -> Iterator[Step]:
    """All steps in the order in which the furnace runs them."""
    for step in steps:
        if isinstance(step, Step):
            yield step
        else:
            for _ in range(step.times):
                yield from written_out(step.steps)


def number_of_steps(steps: tuple[Step | Repeat, ...]) -> int:
    """Count the steps with repeats written out, without writing them out."""
    return sum(1 if isinstance(s, Step) else s.times * number_of_steps(s.steps) for s in steps)


@dataclass(frozen=True)
class Schedule(History):
    """A heat treatment as it was set: ramps and holds.

    Parameters
    ----------
    steps : tuple of Step or Repeat
        In the order in which the furnace ran them; at least one.
    start_c : float
        Temperature before the first ramp in °C.

    Attributes
    ----------
    times_s, temperatures_k : ndarray, shape (n,)
        Break points of T(t) in s and K, without swings. Two equal times mark a jump (a ramp of unknown rate).

    Examples
    --------
    Seven hours at 50 K/h from 25 °C:

    >>> round(float(Schedule((Step(650, 100, 50),)).temperature_at(7 * 3600.0)), 2)
    648.15
    """

    steps: tuple[Step | Repeat, ...]
    start_c: float = 25.0
    times_s: Array = field(init=False, repr=False, compare=False)
    temperatures_k: Array = field(init=False, repr=False, compare=False)
    swings: tuple[Swing, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "steps", tuple(self.steps))
        if not self.steps:
            raise StudyError("treatment: has no step; give at least one hold (hold_c in °C, hours)")
        if number_of_steps(self.steps) > MOST_STEPS:
            raise StudyError(
                f"treatment: has {number_of_steps(self.steps)} steps with its repeats; at most {MOST_STEPS} are taken"
            )
        if not -ZERO_CELSIUS_K < self.start_c <= MELTING_NB3SN_C:
            raise StudyError(f"start_c: {self.start_c:g} °C is not a temperature; give °C above -273.15")
        times, temperatures, swings = [0.0], [self.start_c + ZERO_CELSIUS_K], []
        for step in written_out(self.steps):
            goal = step.hold_c + ZERO_CELSIUS_K
            rate = step.ramp_k_per_h
            ramp_h = 0.0 if rate is None else abs(goal - temperatures[-1]) / rate
            times.append(times[-1] + ramp_h * SECONDS_PER_HOUR)
            if step.period_h is not None and step.hours > 0.0:
                swings.append(Swing(len(times) - 1, step.amplitude_k, step.period_h * SECONDS_PER_HOUR))
            times.append(times[-1] + step.hours * SECONDS_PER_HOUR)
            temperatures += [goal, goal]
        object.__setattr__(self, "times_s", np.array(times))
        object.__setattr__(self, "temperatures_k", np.array(temperatures))
        object.__setattr__(self, "swings", tuple(swings))

    @property
    def peak_c(self) -> float:
        """Highest temperature that was set, in °C; swings go beyond it."""
        return float(max(step.hold_c for step in written_out(self.steps)))

    @property
    def hold_at_peak_h(self) -> float:
        """Hours held at the hottest setting, all such holds together."""
        return float(sum(s.hours for s in written_out(self.steps) if s.hold_c == self.peak_c))

    @property
    def ramp_to_peak_k_per_h(self) -> float:
        """Rate of the ramp to the first hold at the hottest setting in K/h; NaN when unknown."""
        hottest = self.peak_c
        first = next(step for step in written_out(self.steps) if step.hold_c == hottest)
        return np.nan if first.ramp_k_per_h is None else float(first.ramp_k_per_h)

    @property
    def short_name(self) -> str:
        """Name the treatment by its holds in one line.

        >>> Schedule((Step(650, 100),)).short_name
        '650 °C/100 h'
        >>> Schedule((Step(210, 48), Repeat(3, (Step(650, 10, 50), Step(600, 5, 50))))).short_name
        '210/48 + 3×(650/10 + 600/5) h'
        """
        holds = [step for step in self.steps if isinstance(step, Repeat) or step.hours > 0]
        holds = holds or [self.steps[-1]]
        if len(holds) == 1 and isinstance(holds[0], Step):
            only = holds[0]
            swing = f"±{only.amplitude_k:g}" if only.amplitude_k else ""
            return f"{only.hold_c:g}{swing} °C/{only.hours:g} h"
        return " + ".join(step.short_name for step in holds) + " h"
