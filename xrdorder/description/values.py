"""What a single value of a study file may be.

A validator of this module says in its complaint what is wrong with the value; what belongs there is added by whoever
knows the field (`xrdorder.description.reading`).
"""

import re
from collections.abc import Callable
from datetime import date
from typing import Annotated

import gemmi
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from xrdorder.crystals.standards import standard
from xrdorder.exceptions import XrdorderError, did_you_mean
from xrdorder.files.names import is_safe_name, safe_name
from xrdorder.xrays import radiation


def one_of(*names: str) -> AfterValidator:
    """Accept one of these names."""

    def test(value: str) -> str:
        if value not in names:
            raise ValueError(f"'{value}' is unknown; {did_you_mean(value, names)}")
        return value

    return AfterValidator(test)


def between(low: float, high: float) -> AfterValidator:
    """Accept what lies within the limits."""

    def test(value: float) -> float:
        if not low <= value <= high:
            raise ValueError(f"{value:g} is outside {low:g} to {high:g}")
        return value

    return AfterValidator(test)


def positive(value: float) -> float:
    """Accept what is above zero."""
    if not value > 0.0:
        raise ValueError(f"{value:g} is not above zero")
    return value


def known(get: Callable[[str], object]) -> AfterValidator:
    """Accept what `get` accepts; its own message is the complaint."""

    def test(value: str) -> str:
        try:
            get(value)
        except XrdorderError as error:
            raise ValueError(str(error)) from None
        return value

    return AfterValidator(test)


def safe(value: str) -> str:
    """Accept what is safe as a file name."""
    if not is_safe_name(value):
        raise ValueError(f"'{value}' is not safe as a file name; take '{safe_name(value)}'")
    return value


def several(n: int, *, whole: bool = False) -> BeforeValidator:
    """Accept a list of exactly n numbers, and make it a tuple."""
    kind, words = (int, "whole numbers") if whole else ((int, float), "numbers")

    def test(value: object) -> object:
        if isinstance(value, list) and len(value) == n:
            if all(isinstance(x, kind) and not isinstance(x, bool) for x in value):
                return tuple(value)
        raise ValueError(f"{shown(value)} is not {n} {words} in [ ]")

    return BeforeValidator(test)


def direction(indices: tuple[int, ...]) -> tuple[int, ...]:
    """Accept the indices of a plane."""
    if not any(indices):
        raise ValueError("0 0 0 is no plane")
    return indices


def rough(numbers: tuple[float, ...]) -> tuple[float, ...]:
    """Accept share and length of a surface roughness."""
    if not (0.0 <= numbers[0] <= 1.0 and numbers[1] >= 0.0):
        raise ValueError(f"{numbers[0]:g} and {numbers[1]:g} describe no surface")
    return numbers


def shown(value: object) -> str:
    """Show what stands in the file, shortened."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


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
    raise ValueError(f"{shown(value)} is no date")


def as_list(value: object) -> object:
    """Take a single text for a list of one."""
    return [value] if isinstance(value, str) else value


def as_numbers(value: object) -> object:
    """Take a single number for one of several."""
    return (value,) if isinstance(value, (int, float)) else tuple(value) if isinstance(value, list) else value


RadiationName = Annotated[str, known(radiation)]
StandardName = Annotated[str, known(standard)]
Positive = Annotated[float, AfterValidator(positive)]
PathText = Annotated[str, Field(min_length=1)]
Lengths = Annotated[tuple[Positive, ...], Field(min_length=1), BeforeValidator(as_numbers)]
Paths = Annotated[list[PathText], Field(min_length=1), BeforeValidator(as_list)]
# no A15 takes more of a dopant than a fifth of its atoms, which also catches weight shares and slips
AtPercent = Annotated[float, between(0.0, 20.0)]
# pm per at.%: one at.% of tin itself is 0.136, and radii of dopants differ less from niobium than tin does
LatticeEffect = Annotated[float, between(-1.0, 1.0)]
Share = Annotated[float, between(0.0, 1.0)]
Pair = Annotated[tuple[float, ...], several(2)]
Roughness = Annotated[Pair, AfterValidator(rough)]
PlaneNormal = Annotated[tuple[int, ...], several(3, whole=True), AfterValidator(direction)]
NotNegative = Annotated[float, between(0.0, 1e6)]
Alloy = Annotated[str, AfterValidator(alloy)]
Day = Annotated[str, BeforeValidator(as_day)]
SafeName = Annotated[str, AfterValidator(safe)]
# Below absolute zero nothing exists; above 1500 °C no diffractometer stage measures a wire (no source).
MeasuringTemperature = Annotated[float, between(-273.15, 1500.0)]


class Table(BaseModel):
    """Base of all tables: no unknown keys, no silent conversions, finite numbers."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
