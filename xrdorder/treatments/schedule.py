"""Furnace schedules as an operator writes them: ramp to a temperature, hold it; repeat; let a hold swing."""

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Annotated, Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    PlainValidator,
    ValidationError,
    ValidationInfo,
    model_validator,
)

from xrdorder.exceptions import StudyError
from xrdorder.files.checked_table import (
    CheckedTable,
    Context,
    Problem,
    as_tuple,
    inner_problems,
    key,
    needed,
    refusal,
)
from xrdorder.treatments.history import MELTING_NB3SN_C, SECONDS_PER_HOUR, ZERO_CELSIUS_K, History, Swing

Array = NDArray[np.float64]

MOST_STEPS = 100_000
"""Steps a schedule may have with its repeats written out: far beyond any furnace, small for a computer."""

_DEEPEST = 8


class SheetTable(CheckedTable):
    """Base of what stands on a furnace sheet; made by hand, it raises a `StudyError` that names the first field.

    The constructors take fields by position. What is read from a table does not pass them (`__pydantic_base_init__`),
    and is told with the places of all that is wrong.
    """

    # what is not finite is no furnace temperature, and said to be none
    model_config = ConfigDict(allow_inf_nan=True)
    slips: ClassVar = {
        "ramp": "ramp_k_per_h", "rate": "ramp_k_per_h", "time_h": "hours", "time": "hours", "hold_h": "hours",
        "temperature_c": "hold_c", "temperature": "hold_c", "swing_k": "amplitude_k", "times": "repeat",
    }  # fmt: skip

    def _made(self, **told: Any) -> None:
        """Take the fields.

        Raises
        ------
        StudyError
            Something is wrong with one of them.
        """
        try:
            super().__init__(**told)
        except ValidationError as error:
            ((name, *_), said), *_ = inner_problems(error)
            whole = name == "steps" and isinstance(self, History)
            raise StudyError(f"{'treatment' if whole else name}: {said}") from None


class Step(SheetTable):
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

    ramp_k_per_h: float | None = key("the rate of the ramp to the hold in K/h")
    hold_c: float = needed("the temperature of the hold in °C")
    hours: float = needed("the length of the hold in hours")
    amplitude_k: float = key("the swing about the hold in K", 0.0)
    period_h: float | None = key("the period of the swing in hours")

    def __init__(
        self, hold_c: float, hours: float, ramp_k_per_h: float | None = None, amplitude_k: float = 0.0,
        period_h: float | None = None,
    ) -> None:  # fmt: skip
        self._made(hold_c=hold_c, hours=hours, ramp_k_per_h=ramp_k_per_h, amplitude_k=amplitude_k, period_h=period_h)

    __init__.__pydantic_base_init__ = True  # type: ignore[attr-defined]

    @property
    def short_name(self) -> str:
        """Temperature over hours, with the swing."""
        swing = f"±{self.amplitude_k:g}" if self.amplitude_k else ""
        return f"{self.hold_c:g}{swing}/{self.hours:g}"

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find what no furnace can follow; what is missing or no number is taken for what harms nothing."""
        hold, hours = _number(given, "hold_c"), _number(given, "hours")
        ramp, period = _number(given, "ramp_k_per_h"), _number(given, "period_h")
        amplitude = _number(given, "amplitude_k") or 0.0
        if hold is not None and not -ZERO_CELSIUS_K < hold <= MELTING_NB3SN_C:  # also catches NaN
            yield ("hold_c",), (
                f"{hold:g} °C is not a furnace temperature; give °C between absolute zero (-273.15) "
                f"and the melting of Nb3Sn ({MELTING_NB3SN_C:g})"
            )
        if hours is not None and not 0.0 <= hours < np.inf:
            yield ("hours",), f"{hours:g} h is not a time; give hours, zero or more"
        if ramp is not None and not 0.0 < ramp < np.inf:
            yield ("ramp_k_per_h",), (
                f"a ramp of {ramp:g} K/h leads nowhere; give the rate as a number above zero "
                "(heating or cooling follows from the temperatures), or leave it out when unknown"
            )
        if hold is not None and not 0.0 <= amplitude < (hold + ZERO_CELSIUS_K if amplitude else np.inf):
            yield ("amplitude_k",), (
                f"a swing of {amplitude:g} K about {hold:g} °C is not possible; give K, zero or more, "
                "that stay above absolute zero"
            )
        if period is not None and not 0.0 < period < np.inf:
            yield ("period_h",), f"a period of {period:g} h is none; give hours above zero"
        if amplitude > 0.0 and period is None:
            yield ("period_h",), f"is missing, but the hold swings by {amplitude:g} K; give the period in hours"
        if amplitude == 0.0 and period is not None:
            yield ("amplitude_k",), "is missing, but a period is given; give the swing in K, or no period"


def _number(given: Mapping[str, Any], name: str) -> float | None:
    """Give what was told where it is a number: the types complain about the rest."""
    value = given.get(name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _element(given: object, info: ValidationInfo) -> "Step | Repeat":
    if isinstance(given, Step | Repeat):
        return given
    if not isinstance(given, Mapping):
        raise ValueError(f"{given!r} is no step; give a table, as {{ hold_c = 650, hours = 100 }}")
    return (Repeat if "repeat" in given else Step).model_validate(given, context=info.context)


def _list(given: object) -> object:
    if not isinstance(given, list | tuple):
        raise ValueError(f"{given!r} is no list of steps")
    return tuple(given)


def _times(given: float) -> int:
    if not (1 <= given <= MOST_STEPS and given == int(given)):
        raise ValueError(f"{given:g} is no number of times; give a whole number, 1 to {MOST_STEPS}")
    return int(given)


Element = Annotated["Step | Repeat", PlainValidator(_element)]


class Repeat(SheetTable):
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

    repeat: Annotated[float, AfterValidator(_times)] = needed("how many times the block is run, as a whole number")
    steps: Annotated[tuple[Element, ...], BeforeValidator(_list)] = key("the list of steps of the block", ())

    def __init__(self, times: int, steps: "tuple[Step | Repeat, ...]") -> None:
        self._made(repeat=times, steps=steps)

    __init__.__pydantic_base_init__ = True  # type: ignore[attr-defined]

    @property
    def times(self) -> int:
        """How many times the block is run."""
        return int(self.repeat)

    @property
    def short_name(self) -> str:
        """Times and steps."""
        return f"{self.times}×({' + '.join(step.short_name for step in self.steps)})"

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find a block of nothing or of too many blocks."""
        if given.get("steps", ()) in ((), []):
            yield ("steps",), "there is nothing to repeat; give at least one step"
        if _depth(given) == _DEEPEST + 1:
            yield (), f"blocks stand in blocks more than {_DEEPEST} deep; write them out"


def _depth(given: object) -> int:
    """How deep blocks stand within a block."""
    inner = given.get("steps") if isinstance(given, Mapping) else getattr(given, "steps", None)
    return 1 + max(map(_depth, inner), default=0) if isinstance(inner, list | tuple) else 0


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


class Schedule(SheetTable, History):
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

    steps: Annotated[tuple[Element, ...], BeforeValidator(as_tuple)] = needed("steps = [{ hold_c, hours }]")
    start_c: float = key("the temperature before the first ramp", 25.0)

    def __init__(self, steps: tuple[Step | Repeat, ...], start_c: float = 25.0) -> None:
        self._made(steps=steps, start_c=start_c)

    __init__.__pydantic_base_init__ = True  # type: ignore[attr-defined]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Schedule) and (self.steps, self.start_c) == (other.steps, other.start_c)

    def __hash__(self) -> int:
        return hash((self.steps, self.start_c))

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find a temperature that is none before the first ramp, and a treatment without a step."""
        start = _number(given, "start_c")
        if start is not None and not -ZERO_CELSIUS_K < start <= MELTING_NB3SN_C:
            yield ("start_c",), f"{start:g} °C is not a temperature; give °C above -273.15"
        if given.get("steps") in ((), []):
            yield ("steps",), "has no step; give at least one hold (hold_c in °C, hours)"

    @model_validator(mode="after")
    def _not_too_many(self) -> Self:
        if (many := number_of_steps(self.steps)) > MOST_STEPS:
            raise refusal([(("steps",), f"has {many} steps with its repeats; at most {MOST_STEPS} are taken")])
        return self

    @cached_property
    def _course(self) -> tuple[Array, Array, tuple[Swing, ...]]:
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
        return np.array(times), np.array(temperatures), tuple(swings)

    @property
    def times_s(self) -> Array:
        """Break points in s."""
        return self._course[0]

    @property
    def temperatures_k(self) -> Array:
        """Temperatures at the break points in K, without swings."""
        return self._course[1]

    @property
    def swings(self) -> tuple[Swing, ...]:
        """Holds that swing."""
        return self._course[2]

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
