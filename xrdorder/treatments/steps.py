"""Furnace schedules from plain tables, as a TOML file holds them, with all that is wrong told at once."""


from pydantic import ValidationError

from xrdorder.files.checked_table import Problem, inner_problems
from xrdorder.treatments.history import ZERO_CELSIUS_K
from xrdorder.treatments.schedule import Repeat, Schedule, Step


def read_schedule(steps: object, start_c: object = 25.0) -> tuple[Schedule | None, list[Problem]]:
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
    (1, 'hours') is missing; give the length of the hold in hours
    (1, 'hour') unknown key; did you mean 'hours'?
    """
    try:
        schedule = Schedule.model_validate({"steps": steps, "start_c": start_c})
    except ValidationError as error:
        return None, [(at[1:] if at[0] == "steps" else at, said) for at, said in inner_problems(error)]
    idle = _idle(schedule.steps, schedule.start_c)
    return (None if idle else schedule), idle


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
