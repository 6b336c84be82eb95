"""Heat treatments of a study file, in whichever way they are told.

A treatment is a list of steps and blocks; a table ``{ steps = [...], start_c = 25 }`` or ``{ log = "furnace.csv" }``;
the name of such a table under ``[treatments.<name>]``; the path of a logged table; or the holds in one line. What is
wrong is told all at once, in the words of `xrdorder.treatments`.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from xrdorder.description.locations import place as place_words
from xrdorder.exceptions import StudyError, did_you_mean
from xrdorder.treatments import History, looks_like_holds, read_log, read_schedule, schedule_of_holds

Problem = tuple[str, str]

WAYS = "the steps as [{ ramp_k_per_h, hold_c, hours }], a name of [treatments.<name>], or the path of a log"
_LOGS = (".csv", ".txt", ".tsv", ".dat", ".log")
_KEYS = ("steps", "start_c", "log")


@dataclass(frozen=True)
class Told:
    """A treatment and the file it was logged in; None for one that was told by its steps, or not at all."""

    history: History | None = None
    log: Path | None = None


class Treatments:
    """Reads the treatments of a study; a name and a log are read, and complained about, once."""

    def __init__(self, named: object, folder: Path) -> None:
        self.folder = folder
        self._logs: dict[Path, History | None] = {}
        self._names: dict[str, Told] = {}
        self.problems: list[Problem] = []
        for name, table in named.items() if isinstance(named, dict) else ():
            where = place_words(("treatments", name), {})
            if isinstance(table, dict):
                self._names[name], found = self._of_table(table, where)
            else:
                self._names[name] = Told()
                found = [(where, f"{table!r} is not a table; give steps = [...], or log = \"furnace.csv\"")]
            self.problems += found

    def read(self, given: object, where: str = "treatment") -> tuple[Told, list[Problem]]:
        """Read what a sample says of its treatment.

        Parameters
        ----------
        given : object
            What stands in the file; None and an empty list are no treatment.
        where : str
            What the places of the problems start with.

        Returns
        -------
        told : Told
            Empty where there are problems, here or in the table that is named.
        problems : list of (place, complaint)
        """
        if given is None or given == []:
            return Told(), []
        if isinstance(given, Mapping):
            return self._of_table(given, where)
        if isinstance(given, list):
            return _of_steps(given, 25.0, where)
        if isinstance(given, str):
            return self._of_text(given.strip(), where)
        return Told(), [(where, f"{given!r} is no heat treatment; give {WAYS}")]

    def _of_text(self, text: str, where: str) -> tuple[Told, list[Problem]]:
        if text in self._names:
            return self._names[text], []
        if looks_like_holds(text):
            try:
                return Told(schedule_of_holds(text)), []
            except StudyError as error:
                return Told(), [(where, str(error))]
        if text.lower().endswith(_LOGS):
            return self._of_log(text, where)
        if not text:
            return Told(), [(where, f"is empty; give {WAYS}")]
        hint = did_you_mean(text, self._names) if self._names else f"add a table [treatments.{text}]"
        return Told(), [(where, f"no treatment '{text}' is described; {hint}")]

    def _of_table(self, table: Mapping[str, Any], where: str) -> tuple[Told, list[Problem]]:
        found: list[Problem] = [
            (f"{where}.{key}", f"unknown key; {did_you_mean(str(key), _KEYS)}") for key in table if key not in _KEYS
        ]
        if ("steps" in table) == ("log" in table):
            has = "both steps and a log" if "log" in table else "neither steps nor a log"
            found.append((where, f"has {has}; give either steps = [...], or log = \"furnace.csv\""))
            if "log" in table:
                return Told(), found
        if "log" in table:
            if "start_c" in table:
                found.append((f"{where}.start_c", "a log tells where it starts; leave this out"))
            if not isinstance(table["log"], str) or not table["log"]:
                return Told(), [*found, (f"{where}.log", f"{table['log']!r} is no path; give the path of a CSV file")]
            told, more = self._of_log(table["log"], f"{where}.log")
            return (Told(), found + more) if found else (told, more)
        start = table.get("start_c", 25.0)
        if isinstance(start, bool) or not isinstance(start, int | float):
            found.append((f"{where}.start_c", f"{start!r} is not a number; give the temperature before the first ramp"))
            start = 25.0
        told = Told()
        if "steps" in table:
            steps = table["steps"]
            if isinstance(steps, list):
                told, more = _of_steps(steps, float(start), f"{where}.steps")
            else:
                more = [(f"{where}.steps", f"{steps!r} is not a list in [ ]; give steps = [{{ hold_c, hours }}]")]
            found += [(at.replace(".steps.start_c", ".start_c"), said) for at, said in more]
        return (Told(), found) if found else (told, [])

    def _of_log(self, name: str, where: str) -> tuple[Told, list[Problem]]:
        path = self.folder / name
        if path in self._logs:
            return Told(self._logs[path], path), []
        found: list[Problem] = []
        self._logs[path] = None
        if path.exists():
            try:
                self._logs[path] = read_log(path)
            except StudyError as error:
                found.append((where, str(error).replace(f"{path}: ", f"{name}: ", 1)))
        else:
            beside = [item.name for item in path.parent.iterdir()] if path.parent.is_dir() else []
            hint = did_you_mean(path.name, beside)
            hint = hint if hint.startswith("did you") else "correct the path"
            found.append((where, f"there is no file '{name}' in {self.folder}; {hint}"))
        return Told(self._logs[path], path), found


def _of_steps(steps: list[Any], start_c: float, where: str) -> tuple[Told, list[Problem]]:
    schedule, found = read_schedule(steps, start_c, place="")
    return Told(schedule), [(f"{where}{_words(at)}", said) for at, said in found]


def _words(at: str) -> str:
    """Turn places of `read_schedule` into words.

    >>> _words("[2].steps[1].hours")
    ' no. 2, steps no. 1, hours'
    """
    return re.sub(r"\[(\d+)\](\.?)", lambda m: f" no. {m[1]}{', ' if m[2] else ''}", at)
