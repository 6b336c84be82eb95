"""Furnace schedules from plain tables, as a TOML file holds them, with all that is wrong told at once."""

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from xrdorder.exceptions import StudyError
from xrdorder.treatments.history import ZERO_CELSIUS_K
from xrdorder.treatments.schedule import (
    MOST_STEPS,
    Repeat,
    Schedule,
    Step,
    number_of_steps,
    repeat_problems,
    step_problems,
)

_STEP = {
    "hold_c": "the temperature of the hold in °C",
    "hours": "the length of the hold in hours",
    "ramp_k_per_h": "the rate of the ramp to the hold in K/h",
    "amplitude_k": "the swing about the hold in K",
    "period_h": "the period of the swing in hours",
}
_REPEAT = {"repeat": "how many times the block is run, as a whole number", "steps": "the list of steps of the block"}
_SLIPS = {
    "ramp": "ramp_k_per_h", "rate": "ramp_k_per_h", "time_h": "hours", "time": "hours", "hold_h": "hours",
    "temperature_c": "hold_c", "temperature": "hold_c", "swing_k": "amplitude_k", "times": "repeat",
}  # fmt: skip
"""What people write for a key that is spelt quite differently."""

_DEEPEST = 8

Location = tuple[int | str, ...]
Problem = tuple[Location, str]


def read_schedule(
    steps: Sequence[Mapping[str, Any]], start_c: float = 25.0
) -> tuple[Schedule | None, list[Problem]]:
    """Make a schedule of tables of steps, and list all that is wrong with them.

    Parameters
    ----------
    steps : sequence of mapping
        A step has `hold_c` and `hours`, and may have `ramp_k_per_h`, `amplitude_k` and `period_h`; a block has
        `repeat` (how many times) and `steps`.
    start_c : float
        Temperature before the first ramp.

    Returns
    -------
    schedule : Schedule or None
        None when there are problems.
    problems : list of (location, complaint with remedy)
        A location is numbers of steps, counted from zero, and keys.

    Examples
    --------
    >>> schedule, _ = read_schedule([{"repeat": 2, "steps": [{"hold_c": 650, "hours": 50}]}])
    >>> schedule.total_h
    100.0
    >>> for problem in read_schedule([{"hold_c": -300, "hours": 1}, {"hold_c": 650, "hour": 2}])[1]:
    ...     print(*problem)
    (0, 'hold_c') -300 °C is not a furnace temperature; give °C between absolute zero (-273.15) and the \
melting of Nb3Sn (2130)
    (1, 'hour') unknown key; did you mean 'hours'?
    (1, 'hours') is missing; give the length of the hold in hours
    """
    problems: list[Problem] = []
    made = _block(steps, (), problems, 0)
    if not problems and not made:
        problems.append(((), "has no step; give at least one hold (hold_c in °C, hours)"))
    if not problems and number_of_steps(made) > MOST_STEPS:
        problems.append(((), f"has {number_of_steps(made)} steps with its repeats; at most {MOST_STEPS} are taken"))
    problems += _idle(made, start_c)
    if problems:
        return None, problems
    try:
        return Schedule(made, start_c), []
    except StudyError as error:
        name, _, complaint = str(error).partition(": ")
        return None, [((name,), complaint)]


def _block(
    tables: Sequence[Mapping[str, Any]], before: Location, problems: list[Problem], depth: int
) -> tuple[Step | Repeat, ...]:
    made: list[Step | Repeat] = []
    for number, table in enumerate(tables):
        here = (*before, number)
        if not isinstance(table, Mapping):
            problems.append((here, f"{table!r} is no step; give a table, as {{ hold_c = 650, hours = 100 }}"))
            continue
        element = _repeat(table, here, problems, depth) if "repeat" in table else _step(table, here, problems)
        if element is not None:
            made.append(element)
    return tuple(made)


def _unknown(table: Mapping[str, Any], known: Mapping[str, str], here: Location) -> list[Problem]:
    problems: list[Problem] = []
    for key in table:
        if key not in known:
            meant = _SLIPS.get(str(key), "")
            close = [meant] if meant in known else get_close_matches(str(key), known, n=1)
            advice = f"did you mean '{close[0]}'?" if close else f"known: {', '.join(known)}"
            problems.append(((*here, str(key)), f"unknown key; {advice}"))
    return problems


def _number(table: Mapping[str, Any], key: str, here: Location, problems: list[Problem]) -> float | None:
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        problems.append(((*here, str(key)), f"{value!r} is not a number; give {(_STEP | _REPEAT)[key]}"))
        return None
    return float(value)


def _step(table: Mapping[str, Any], here: Location, problems: list[Problem]) -> Step | None:
    complaints = _unknown(table, _STEP, here)
    numbers = {key: _number(table, key, here, complaints) for key in _STEP}
    for key in ("hold_c", "hours"):
        if key not in table:
            complaints.append(((*here, str(key)), f"is missing; give {_STEP[key]}"))
    # what is missing or no number is replaced by what harms nothing, so that the rest is still checked
    hold = 600.0 if numbers["hold_c"] is None else numbers["hold_c"]
    hours = 1.0 if numbers["hours"] is None else numbers["hours"]
    amplitude = numbers["amplitude_k"] or 0.0
    values = (hold, hours, numbers["ramp_k_per_h"], amplitude, numbers["period_h"])
    wrong = step_problems(*values)
    if isinstance(table.get("hold_c"), int | float):
        complaints += [((*here, str(key)), complaint) for key, complaint in wrong]
    else:
        complaints += [((*here, str(key)), complaint) for key, complaint in wrong if key != "amplitude_k"]
    problems += complaints
    return None if complaints else Step(*values)


def _repeat(table: Mapping[str, Any], here: Location, problems: list[Problem], depth: int) -> Repeat | None:
    complaints = _unknown(table, _REPEAT, here)
    inner = table.get("steps", [])
    if depth >= _DEEPEST:
        problems.append((here, f"blocks stand in blocks more than {_DEEPEST} deep; write them out"))
        return None
    if not isinstance(inner, Sequence) or isinstance(inner, str):
        complaints.append(((*here, "steps"), f"{inner!r} is no list of steps"))
        inner = [{}]
    times = _number(table, "repeat", here, complaints)
    wrong = repeat_problems(1 if times is None else times, len(inner))
    complaints += [((*here, str(key)), complaint) for key, complaint in wrong]
    problems += complaints
    steps = _block(inner, (*here, "steps"), problems, depth + 1) if isinstance(inner, list | tuple) else ()
    return None if complaints or times is None or not steps else Repeat(int(times), steps)


def _idle(steps: tuple[Step | Repeat, ...], start_c: float) -> list[Problem]:
    """Steps after which nothing has happened: no hold, and no ramp, or one to where the furnace is already."""
    problems: list[Problem] = []
    before = start_c
    for number, step in enumerate(steps):
        if isinstance(step, Repeat):
            before = _last(step)
            continue
        if step.hours == 0.0 and abs(step.hold_c - before) < 1e-9 * ZERO_CELSIUS_K:
            problems.append(
                (
                    (number,),
                    f"leads nowhere: the furnace is at {before:g} °C already and nothing is held; leave the step out",
                )
            )
        elif step.hours == 0.0 and step.ramp_k_per_h is None:
            problems.append(
                (
                    (number, "hours"),
                    f"a hold of no hours at {step.hold_c:g} °C, and no ramp that leads there; give the hours of the "
                    "hold, or ramp_k_per_h for a ramp without a hold",
                )
            )
        before = step.hold_c
    return problems


def _last(block: Repeat) -> float:
    last = block.steps[-1]
    return last.hold_c if isinstance(last, Step) else _last(last)
