"""What the laboratory measured itself: values with their uncertainty, kept beside the estimates.

A sample of `study.toml` may carry a table ``[samples.measured]``::

    [samples.measured]
    Tc_K = { value = 17.6, u = 0.1, criterion = "50 %" }
    Bc2_T = [
        { value = 25.3, u = 0.3, temperature_k = 4.2, criterion = "90 %" },
        { value = 18.1, u = 0.3, temperature_k = 8.0, criterion = "90 %" },
    ]
    grain_size_nm = { value = 140, u = 15, remark = "fracture surface, 200 grains" }

Every value has a standard uncertainty (k = 1); one without could not be held against anything. What a number means
hangs on how it was read off: `criterion`, temperature and field go with it. Measured values are read from the
description whenever results are put together. They never replace an estimate, and no fit sees them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from xrdorder.exceptions import ValidityError
from xrdorder.quantities.registry import UNIT_1, Quantity, measurable

CRITERIA = ("onset", "99 %", "90 %", "midpoint", "50 %", "10 %", "zero resistance", "specific heat", "extrapolated",
            "pinning force")  # fmt: skip
"""How a transition was read off: a share of the normal resistance, an onset, an entropy-conserving jump of the specific
heat, an extrapolation of the pinning force to zero. Words of the trade."""


QUANTITIES: Mapping[str, Quantity] = measurable()
"""Keys of ``[samples.measured]``, with units in the names."""

MOST_ABOVE = 3.0
"""Standard uncertainties of the difference by which an irreversibility field may exceed Bc2 at the same temperature:
beyond, one of the two is not what it is called (own choice: by chance in one of a thousand pairs that are equal)."""

CONDITIONS: Mapping[str, tuple[float, float, str]] = {
    "temperature_k": (0.01, 30.0, "the temperature of the measurement in K"),
    "field_t": (0.0, 60.0, "the field of the measurement in T"),
}
"""Conditions, their limits, and what belongs there."""


@dataclass(frozen=True)
class Measured:
    """One measured value.

    Attributes
    ----------
    quantity : str
        A key of `QUANTITIES`, which has the unit.
    value, u : float
        Value and its standard uncertainty (k = 1), in that unit.
    criterion : str
        One of `CRITERIA`; empty where it was not said.
    temperature_k, field_t : float or None
        Conditions of the measurement.
    remark : str
        Free text: how, where on the wire, by whom.

    Raises
    ------
    ValidityError
        The value cannot be what it is called, or a condition is missing; every problem in the message.

    Examples
    --------
    >>> Measured("Tc_K", 17.6, 0.1, "50 %").words
    'Tc (50 %)'
    >>> Measured("Bc2_T", 25.3, 0.3, "90 %", temperature_k=4.2).words
    'Bc2 at 4.2 K (90 %)'
    """

    quantity: str
    value: float
    u: float
    criterion: str = ""
    temperature_k: float | None = None
    field_t: float | None = None
    remark: str = ""

    def __post_init__(self) -> None:
        if self.quantity not in QUANTITIES:
            raise ValidityError(f"measured quantity '{self.quantity}' is unknown; known: {', '.join(QUANTITIES)}")
        table = {name: value for name, value in vars(self).items() if name != "quantity" and value not in (None, "")}
        found = [f"{self.quantity}.{key}: {complaint}" for key, complaint in value_problems(self.quantity, table)]
        if found:
            raise ValidityError("; ".join(found))

    @property
    def unit(self) -> str:
        """Unit of value and uncertainty; "1" for a plain number."""
        return QUANTITIES[self.quantity].of_column.unit or UNIT_1

    @property
    def conditions(self) -> str:
        """Temperature and field in words; empty where there are none."""
        parts = ((self.temperature_k, "K"), (self.field_t, "T"))
        return ", ".join(f"{number:g} {unit}" for number, unit in parts if number is not None)

    @property
    def words(self) -> str:
        """What was measured and how it was read off."""
        text = QUANTITIES[self.quantity].noun
        text += f" at {self.conditions}" if self.conditions else ""
        return f"{text} ({self.criterion})" if self.criterion else text


def value_problems(quantity: str, table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Find what is wrong with one measured value as it stands in the study file.

    Parameters
    ----------
    quantity : str
        A key of `QUANTITIES`.
    table : mapping
        ``value``, ``u``, ``criterion``, conditions. What is no number is passed over: the models complain about it.

    Yields
    ------
    key, complaint : str
        In the order of the table.
    """
    about = QUANTITIES[quantity]
    limits = about.limits
    value, u = _number(table.get("value")), _number(table.get("u"))
    possible = value is not None and limits.low <= value <= limits.high
    if value is not None and not possible:
        unit = f" in {about.of_column.unit}" if about.of_column.unit else ""
        yield "value", f"{value:g} is outside {limits.low:g} to {limits.high:g}; give the {limits.meaning}{unit}"
    if "u" not in table:
        yield "u", "is missing; give the standard uncertainty (k = 1), without which the value cannot be compared"
    elif u is not None and not 0.0 < u < math.inf:
        yield "u", f"{u:g} is not above zero; give the standard uncertainty (k = 1)"
    elif possible and u is not None and value is not None and u > value:
        yield "u", f"{u:g} is more than the value itself; give the standard uncertainty (k = 1) in the same unit"
    criterion = table.get("criterion")
    if isinstance(criterion, str) and criterion:
        if not limits.criteria:
            yield "criterion", f"a {about.noun} is not read off a transition; remove it, a remark may say more"
        elif criterion not in CRITERIA:
            yield "criterion", f"'{criterion}' is unknown; known: {', '.join(CRITERIA)}"
    for name, (low, high, wanted) in CONDITIONS.items():
        given = _number(table.get(name))
        if name in limits.needs and name not in table:
            yield name, f"is missing; give {wanted}"
        elif name not in limits.needs and name in table:
            yield name, f"does not belong to a {about.noun}; remove it"
        elif given is not None and not low <= given <= high:
            yield name, f"{given:g} is outside {low:g} to {high:g}; give {wanted}"


def table_problems(table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Find what is wrong with a table ``[samples.measured]``: single values, then what contradicts each other.

    Yields
    ------
    place, complaint : str
        The place within the table, as ``Bc2_T[1].temperature_k``.
    """
    found = dict(_entries(table))
    for place, (quantity, entry) in found.items():
        for key, complaint in value_problems(quantity, entry):
            yield f"{place}.{key}", complaint
    seen: dict[str, str] = {}
    for place, (quantity, entry) in found.items():
        same = repr((quantity, *(entry.get(key) for key in ("criterion", *CONDITIONS))))
        if seen.setdefault(same, place) != place:
            yield place, f"is measured under the conditions of {seen[same]}; give one value, or say what differs"
    yield from _contradictions(found)


def _entries(table: Mapping[str, Any]) -> Iterator[tuple[str, tuple[str, Mapping[str, Any]]]]:
    for quantity in QUANTITIES:
        given = table.get(quantity)
        entries = given if isinstance(given, list) else [given]
        for k, entry in enumerate(entries):
            if isinstance(entry, Mapping):
                yield f"{quantity}[{k}]" if isinstance(given, list) else quantity, (quantity, entry)


def _contradictions(found: Mapping[str, tuple[str, Mapping[str, Any]]]) -> Iterator[tuple[str, str]]:
    tc = [(_number(e.get("value")), _number(e.get("u")) or 0.0) for q, e in found.values() if q == "Tc_K"]
    highest = max((value + 3.0 * u for value, u in tc if value is not None), default=math.inf)
    fields: dict[float, list[tuple[str, str, float, float]]] = {}
    for place, (quantity, entry) in found.items():
        temperature = _number(entry.get("temperature_k"))
        if temperature is None:
            continue
        if highest < temperature <= CONDITIONS["temperature_k"][1]:  # more is no temperature, and said already
            yield (
                f"{place}.temperature_k",
                f"{temperature:g} K is above the Tc measured on this sample; correct one of the two",
            )
        value, u = _number(entry.get("value")), _number(entry.get("u")) or 0.0
        if value is not None:
            fields.setdefault(temperature, []).append((place, quantity, value, u))
    for temperature, values in fields.items():
        upper = [(value, u) for _, quantity, value, u in values if quantity == "Bc2_T"]
        for place, quantity, value, u in values:
            if quantity == "irreversibility_field_T" and upper:
                most, u_most = max(upper)
                allowed = MOST_ABOVE * math.hypot(u, u_most)
                if value - most > allowed:
                    text = f"{value:g} T is above the Bc2 of {most:g} T measured at {temperature:g} K"
                    by = f"{value - most:.2g} T, more than {MOST_ABOVE:g} standard uncertainties ({allowed:.2g} T)"
                    yield place, f"{text} by {by}; correct one of the two"


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None
