"""What a single value of a study file may be.

A validator of this module says in its complaint what is wrong with the value; what belongs there is added by the table
that knows the field (`xrdorder.files.checked_table`). Each accepts what it has made itself.
"""

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import gemmi
from pydantic import (
    AfterValidator,
    BeforeValidator,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)
from pydantic_core import PydanticCustomError

from xrdorder.crystals.standards import standard
from xrdorder.exceptions import StudyError, XrdorderError, did_you_mean
from xrdorder.files.checked_table import ABSENT, Context, as_tuple, quoted
from xrdorder.files.names import is_safe_name, safe_name
from xrdorder.xrays import radiation


def accept(test: Callable[[Any], bool], said: Callable[[Any], str]) -> AfterValidator:
    """Accept what passes the test; the complaint says what is wrong with the rest."""

    def checked(value: Any) -> Any:
        if not test(value):
            raise ValueError(said(value))
        return value

    return AfterValidator(checked)


def one_of(*names: str) -> AfterValidator:
    """Accept one of these names."""
    return accept(names.__contains__, lambda value: f"'{value}' is unknown; {did_you_mean(value, names)}")


def spelt(*names: str) -> AfterValidator:
    """Accept one of these names, in capitals or not, with spaces or hyphens; or nothing."""

    def test(value: str) -> str:
        name = "-".join(value.casefold().replace("_", " ").replace("-", " ").split())
        if name and name not in names:
            raise ValueError(f"'{value}' is unknown; {did_you_mean(name, names)}")
        return name

    return AfterValidator(test)


def between(low: float, high: float) -> AfterValidator:
    """Accept what lies within the limits."""
    return accept(lambda value: low <= value <= high, lambda value: f"{value:g} is outside {low:g} to {high:g}")


def known_to(get: Callable[[str], object]) -> AfterValidator:
    """Accept what `get` accepts; its own message is the complaint."""

    def test(value: str) -> str:
        try:
            get(value)
        except XrdorderError as error:
            raise ValueError(str(error)) from None
        return value

    return AfterValidator(test)


def several(n: int, *, whole: bool = False) -> BeforeValidator:
    """Accept a list of exactly n numbers, and make it a tuple."""
    kind, words = (int, "whole numbers") if whole else ((int, float), "numbers")

    def test(value: object) -> object:
        if isinstance(value, list | tuple) and len(value) == n:
            if all(isinstance(x, kind) and not isinstance(x, bool) for x in value):
                return tuple(value)
        raise ValueError(f"{quoted(value)} is not {n} {words} in [ ]")

    return BeforeValidator(test)


_ALLOY = re.compile(r"[A-Z][a-z]?(?:-?(?:\d+(?:\.\d+)?)?(?:(?:wt|at)?\.?%)?[A-Z][a-z]?)*")


def alloy(value: str) -> str:
    """Accept a metal or an alloy by the symbols of its elements.

    >>> alloy("Nb-7.5Ta"), alloy("NbTa")
    ('Nb-7.5Ta', 'NbTa')
    """
    symbols = re.findall(r"[A-Z][a-z]?", value)
    if not _ALLOY.fullmatch(value) or not all(gemmi.Element(symbol).atomic_number for symbol in symbols):
        raise ValueError(f"'{value}' names no metal by its symbols")
    return value


def as_day(value: object) -> str:
    """Take a date of TOML, or a text like one, for the day as in ISO 8601.

    >>> as_day("2026-03-14"), as_day("2026-03-14T09:30:00")
    ('2026-03-14', '2026-03-14')
    """
    if isinstance(value, date):  # a time of day, of TOML or in a text, is left out
        return value.isoformat()[:10]
    if isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\d([T ].*)?", value):
        try:
            return date.fromisoformat(value[:10]).isoformat()
        except ValueError as error:
            raise ValueError(f"'{value}' is no date ({error})") from None
    raise ValueError(f"{quoted(value)} is no date")


def one_or_several(value: object, handler: ValidatorFunctionWrapHandler, info: ValidationInfo) -> object:
    """Take the path of a pattern file, or a list of them; what is wrong with a single one is no. 1 of nothing."""
    if isinstance(value, str | Path):
        return (pattern_file(as_path(value, info), info),)
    return handler(as_tuple(value))


def as_numbers(value: object) -> object:
    """Take a list, or a single number, for a tuple."""
    return (value,) if isinstance(value, int | float) else as_tuple(value)


not_empty = accept(bool, lambda value: "is empty")
"""Accept what has at least one item, or letter."""


def as_path(value: object, info: ValidationInfo) -> Path:
    """Take a text for a path from the study folder."""
    if isinstance(value, Path):
        return value
    if not isinstance(value, str):
        raise ValueError(f"{quoted(value)} is not text in quotes")
    if not value:
        raise ValueError("is empty")
    context: Context = info.context or Context()
    return context.folder / value


def existing(remedy: str) -> AfterValidator:
    """Accept a file that is there; the remedy is what may be done beside correcting its path."""

    def test(path: Path, info: ValidationInfo) -> Path:
        if info.context is not None and (said := _no_file(path, info.context.folder)):
            raise ValueError(said if ";" in said else f"{said}; correct the path, or {remedy}")
        return path

    return AfterValidator(test)


def pattern_file(path: Path, info: ValidationInfo) -> Path:
    """Accept a pattern file; one that is not there is a complaint of a kind of its own, where the study is to run."""
    context: Context | None = info.context
    if context is None or not context.to_run or not (said := _no_file(path, context.folder, "pattern ")):
        return path
    if ";" not in said:
        beside, asked = context.read.setdefault("beside", {}), context.read.setdefault("absent", [])
        asked.append(path)
        said += f"; {_closest(path, beside) if len(asked) <= _HINTS else _CORRECT}"
    raise PydanticCustomError(ABSENT, "{said}", {"said": said})


_HINTS, _CORRECT = 20, "correct the path, or put the file there"
"""Missing files that get a suggestion: to compare each of a thousand names with all files would take a minute."""


def name_in(path: Path, folder: Path) -> str:
    """Give the name of a file as a study in that folder tells it."""
    return str(path.relative_to(folder)) if path.is_relative_to(folder) else str(path)


def _no_file(path: Path, folder: Path, kind: str = "") -> str:
    """Say why a file of that name cannot be read, empty where it can; without a remedy where there is none."""
    if path.is_file():
        return ""
    name, said = name_in(path, folder), not_regular(path, kind)
    return f"'{name}' {said}" if said else f"there is no file '{name}' in {folder}"


def not_regular(path: Path, kind: str = "") -> str:
    """Say what stands there in place of a file; empty where one does, or nothing."""
    if path.is_dir():
        return f"is a folder; name a {kind + 'file in it' if kind else 'regular file'}"
    return "is a pipe or device; name a regular file" if path.exists() and not path.is_file() else ""


def closest_file(path: Path) -> str:
    """Suggest a file that is there for one that is not."""
    return _closest(path, {})


def require_files(paths: tuple[Path, ...]) -> None:
    """Check that pattern files are there.

    Raises
    ------
    StudyError
        One is not; the message names a file of similar name in the same folder.
    """
    for path in paths:
        if not path.is_file():
            said = not_regular(path, "pattern ") or f"no such pattern file; {closest_file(path)}"
            raise StudyError(f"{path}: {said}")


def _closest(path: Path, beside: dict[Path, list[str]]) -> str:
    if path.parent not in beside:
        beside[path.parent] = [item.name for item in path.parent.iterdir()] if path.parent.is_dir() else []
    # a name that differs in its numbers alone is the file of another specimen, not a slip
    hint = did_you_mean(path.name, [name for name in beside[path.parent] if _worded(name) != _worded(path.name)])
    return hint if hint.startswith("did you") else _CORRECT


def _worded(name: str) -> str:
    return re.sub(r"\d+", "0", name)


RadiationName = Annotated[str, known_to(radiation)]
StandardName = Annotated[str, known_to(standard)]
Positive = Annotated[float, accept(lambda value: value > 0.0, lambda value: f"{value:g} is not above zero")]
Text = Annotated[str, not_empty]
FilePath = Annotated[Path, BeforeValidator(as_path)]
PatternPath = Annotated[Path, AfterValidator(pattern_file), BeforeValidator(as_path)]
Paths = Annotated[tuple[PatternPath, ...], not_empty, WrapValidator(one_or_several)]
Lengths = Annotated[tuple[Positive, ...], not_empty, BeforeValidator(as_numbers)]
# no A15 takes more of a dopant than a fifth of its atoms, which also catches weight shares and slips
AtPercent = Annotated[float, between(0.0, 20.0)]
# pm per at.%: one at.% of tin itself is 0.136, and radii of dopants differ less from niobium than tin does
LatticeEffect = Annotated[float, between(-1.0, 1.0)]
Share = Annotated[float, between(0.0, 1.0)]
Pair = Annotated[tuple[float, float], several(2)]
Roughness = Annotated[
    Pair,
    accept(lambda of: 0.0 <= of[0] <= 1.0 and of[1] >= 0.0, lambda of: f"{of[0]:g} and {of[1]:g} describe no surface"),
]
PlaneNormal = Annotated[tuple[int, int, int], several(3, whole=True), accept(any, lambda of: "0 0 0 is no plane")]
NotNegative = Annotated[float, between(0.0, 1e6)]
Alloy = Annotated[str, AfterValidator(alloy)]
Day = Annotated[str, BeforeValidator(as_day)]
SafeName = Annotated[
    str, accept(is_safe_name, lambda name: f"'{name}' is not safe as a file name; take '{safe_name(name)}'")
]
# Below absolute zero nothing exists; above 1500 °C no diffractometer stage measures a wire (no source).
MeasuringTemperature = Annotated[float, between(-273.15, 1500.0)]
