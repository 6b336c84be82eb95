"""Heat treatments of a study file, in whichever way they are told.

A treatment is a list of steps and blocks; a table ``{ steps = [...], start_c = 25 }`` or ``{ log = "furnace.csv" }``;
the name of such a table under ``[treatments.<name>]``; the path of a logged table; or the holds in one line. What is
wrong is told all at once, in the words of `xrdorder.treatments`.
"""

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from pydantic import ValidationError, ValidationInfo

from xrdorder.description.values import closest_file
from xrdorder.exceptions import did_you_mean
from xrdorder.files.checked_table import Context, Problem, inner_problems, refusal
from xrdorder.treatments import History, looks_like_holds, read_log, read_schedule, schedule_of_holds

WAYS = "the steps as [{ ramp_k_per_h, hold_c, hours }], a name of [treatments.<name>], or the path of a log"
_LOGS = (".csv", ".txt", ".tsv", ".dat", ".log")
_KEYS = ("steps", "start_c", "log")

T = TypeVar("T")

_LOGS_READ, _NAMED, _TOLD = "logs", "treatments", "lines"
"""What of the file has been read so far (`Context.read`): log, name, and steps or line of holds are read once, and the
first two complained about once."""


def named_treatments(given: object, info: ValidationInfo) -> dict[str, History | None]:
    """Read the tables ``[treatments.<name>]``; samples take them by their names."""
    context: Context = info.context or Context()
    if not isinstance(given, Mapping):
        raise ValueError(f"{given!r} is not a table")
    named: dict[str, History | None] = context.read.setdefault(_NAMED, {})
    problems: list[Problem] = []
    for name, table in given.items():
        named[name] = None  # a sample may name it, though it is broken
        try:
            if isinstance(table, History):
                named[name] = table
            elif isinstance(table, Mapping):
                named[name] = _of_table(table, context)
            else:
                problems.append(((name,), f"{table!r} is not a table; give steps = [...], or log = \"furnace.csv\""))
        except ValidationError as error:
            problems += inner_problems(error, name)
    if problems:
        raise refusal(problems)
    return named


def read_treatment(given: object, info: ValidationInfo) -> History | None:
    """Read what a sample says of its treatment; None and an empty list are no treatment.

    What is wrong with a table or a log that several samples name is told where it stands first.
    """
    context: Context = info.context or Context()
    if isinstance(given, History):
        return given
    if given is None or given == []:
        return None
    if isinstance(given, Mapping):
        return _of_table(given, context)
    if isinstance(given, list):
        made, problems = _once(context, repr(given), lambda: read_schedule(given))
        if problems:
            raise refusal(problems)
        return made
    if isinstance(given, str):
        return _of_text(given.strip(), context)
    raise ValueError(f"{given!r} is no heat treatment; give {WAYS}")


def _of_text(text: str, context: Context) -> History | None:
    named: dict[str, History | None] = context.read.setdefault(_NAMED, {})
    if text in named:
        return named[text]
    if looks_like_holds(text):
        return _once(context, text, lambda: schedule_of_holds(text))
    if text.lower().endswith(_LOGS):
        return _of_log(text, context)
    if not text:
        raise ValueError(f"is empty; give {WAYS}")
    hint = did_you_mean(text, named) if named else f"add a table [treatments.{text}]"
    raise ValueError(f"no treatment '{text}' is described; {hint}")


def _once(context: Context, line: str, read: Callable[[], T]) -> T:
    """Read a line that tells a treatment, however many samples have it."""
    lines: dict[str, T] = context.read.setdefault(_TOLD, {})
    if line not in lines:
        lines[line] = read()
    return lines[line]


def _of_table(table: Mapping[str, Any], context: Context) -> History | None:
    """Read ``{ steps = [...], start_c = 25 }`` or ``{ log = "furnace.csv" }``."""
    problems: list[Problem] = [
        ((str(key),), f"unknown key; {did_you_mean(str(key), _KEYS)}") for key in table if key not in _KEYS
    ]
    made, log = None, table.get("log")
    if ("log" in table) == ("steps" in table):
        has = "both steps and a log" if "log" in table else "neither steps nor a log"
        problems.append(((), f"has {has}; give either steps = [...], or log = \"furnace.csv\""))
    if "log" in table:
        if "start_c" in table:
            problems.append((("start_c",), "a log tells where it starts; leave this out"))
        if not isinstance(log, str) or not log:
            problems.append((("log",), f"{log!r} is no path; give the path of a CSV file"))
        elif "steps" not in table:
            try:
                made = _of_log(log, context)
            except ValueError as error:
                problems.append((("log",), str(error)))
    elif "steps" in table:
        steps, start = table["steps"], table.get("start_c", 25.0)
        made, wrong = _once(context, repr((steps, start)), lambda: read_schedule(steps, start))
        problems += [(at if at == ("start_c",) else ("steps", *at), said) for at, said in wrong]
    if problems:
        raise refusal(problems)
    return made


def _of_log(name: str, context: Context) -> History | None:
    path = context.folder / name
    logs: dict[Any, History | None] = context.read.setdefault(_LOGS_READ, {})
    if path not in logs:
        logs[path] = None
        if not path.exists():
            raise ValueError(f"there is no file '{name}' in {context.folder}; {closest_file(path)}")
        logs[path] = read_log(path, name)
    return logs[path]
