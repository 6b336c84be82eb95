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

import math
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError, ValidationInfo

from xrdorder.description.locations import place
from xrdorder.exceptions import did_you_mean
from xrdorder.files.checked_table import (
    CheckedTable,
    Context,
    Location,
    Problem,
    inner_problems,
    key,
    needed,
    quoted,
    refusal,
)
from xrdorder.quantities.registry import UNIT_1, Quantity, measurable

CRITERIA = ("onset", "99 %", "90 %", "midpoint", "50 %", "10 %", "zero resistance", "specific heat", "extrapolated",
            "pinning force")  # fmt: skip
"""How a transition was read off: a share of the normal resistance, an onset, an entropy-conserving jump of the specific
heat, an extrapolation of the pinning force to zero. Words of the trade."""


MEASURABLE: Mapping[str, Quantity] = measurable()
"""Keys of ``[samples.measured]``, with units in the names."""

MOST_ABOVE = 3.0
"""Standard uncertainties of the difference by which an irreversibility field may exceed Bc2 at the same temperature:
beyond, one of the two is not what it is called (own choice: by chance in one of a thousand pairs that are equal)."""

CONDITIONS: Mapping[str, tuple[float, float]] = {"temperature_k": (0.01, 30.0), "field_t": (0.0, 60.0)}
"""Conditions and their limits."""


class MeasuredValue(CheckedTable):
    """One measured value.

    Attributes
    ----------
    quantity : str
        A key of `MEASURABLE`, which has the unit.
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
    ValidationError
        The value cannot be what it is called, or a condition is missing; every problem in the message.

    Examples
    --------
    >>> MeasuredValue(quantity="Tc_K", value=17.6, u=0.1, criterion="50 %").words
    'Tc (50 %)'
    >>> MeasuredValue(quantity="Bc2_T", value=25.3, u=0.3, criterion="90 %", temperature_k=4.2).words
    'Bc2 at 4.2 K (90 %)'
    """

    quantity: str
    value: float = needed("the measured value as a number, in the unit of the key")
    u: float = needed("the standard uncertainty (k = 1), without which the value cannot be compared")
    criterion: str = key("how it was read off the transition, as '50 %'", "")
    temperature_k: float | None = key("the temperature of the measurement in K")
    field_t: float | None = key("the field of the measurement in T")
    remark: str = key("how it was measured, as text in quotes", "")

    @property
    def unit(self) -> str:
        """Unit of value and uncertainty; "1" for a plain number."""
        return MEASURABLE[self.quantity].of_column.unit or UNIT_1

    @property
    def conditions(self) -> str:
        """Temperature and field in words; empty where there are none."""
        parts = ((self.temperature_k, "K"), (self.field_t, "T"))
        return ", ".join(f"{number:g} {unit}" for number, unit in parts if number is not None)

    @property
    def words(self) -> str:
        """What was measured and how it was read off."""
        text = MEASURABLE[self.quantity].noun
        text += f" at {self.conditions}" if self.conditions else ""
        return f"{text} ({self.criterion})" if self.criterion else text

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find what cannot be of this quantity; what is no number is passed over: the types complain about it."""
        name = str(given.get("quantity"))
        about = MEASURABLE.get(name)
        if about is None:
            yield ("quantity",), f"measured quantity '{name}' is unknown; known: {', '.join(MEASURABLE)}"
            return
        yield from _number_problems(about, given)
        criterion = given.get("criterion")
        if isinstance(criterion, str) and criterion:
            if not about.limits.criteria:
                yield ("criterion",), f"a {about.noun} is not read off a transition; remove it, a remark may say more"
            elif criterion not in CRITERIA:
                yield ("criterion",), f"'{criterion}' is unknown; known: {', '.join(CRITERIA)}"
        for name, (low, high) in CONDITIONS.items():
            wanted, number = cls.model_fields[name].description, _number(given.get(name))
            if name in about.limits.needs and given.get(name) is None:
                yield (name,), f"is missing; give {wanted}"
            elif name not in about.limits.needs and given.get(name) is not None:
                yield (name,), f"does not belong to a {about.noun}; remove it"
            elif number is not None and not low <= number <= high:
                yield (name,), f"{number:g} is outside {low:g} to {high:g}; give {wanted}"


def _wanted(about: Quantity) -> str:
    """What belongs there."""
    unit = about.of_column.unit
    return f"the {about.limits.meaning}{f' in {unit}' if unit else ''}"


def _number_problems(about: Quantity, given: Mapping[str, Any]) -> Iterator[Problem]:
    value, u = _number(given.get("value")), _number(given.get("u"))
    low, high = about.limits.low, about.limits.high
    possible = value is not None and low <= value <= high
    if value is not None and not possible:
        yield ("value",), f"{value:g} is outside {low:g} to {high:g}; give {_wanted(about)}"
    if u is not None and not 0.0 < u < math.inf:
        yield ("u",), f"{u:g} is not above zero; give the standard uncertainty (k = 1)"
    elif possible and u is not None and value is not None and u > value:
        yield ("u",), f"{u:g} is more than the value itself; give the standard uncertainty (k = 1) in the same unit"


def measured_values(given: object, info: ValidationInfo) -> tuple[MeasuredValue, ...]:
    """Read a table ``[samples.measured]``: single values, then what contradicts each other.

    Returns
    -------
    tuple of MeasuredValue
        In the order of `MEASURABLE`.
    """
    if isinstance(given, tuple):
        return given
    if not isinstance(given, Mapping):
        raise ValueError(f"{quoted(given)} is not a table")
    problems: list[Problem] = [
        ((key,), f"unknown key; {did_you_mean(str(key), MEASURABLE)}") for key in given if key not in MEASURABLE
    ]
    made = []
    entries = dict(_entries(given))
    for location, entry in entries.items():
        quantity = str(location[0])
        if not isinstance(entry, Mapping):
            about = MEASURABLE[quantity]
            said = "is empty" if entry == [] else f"{quoted(entry)} is not a table"
            keys = ("value", "u", *["criterion"] * about.limits.criteria, *about.limits.needs)
            example = ", ".join(f"{key} = ..." for key in keys)
            problems.append((location, f"{said}; give {_wanted(about)}, as {{ {example} }}"))
            continue
        if "quantity" in entry:
            problems.append(((*location, "quantity"), "unknown key; the key of the value says which quantity it is"))
        try:
            made.append(MeasuredValue.model_validate({**entry, "quantity": quantity}))
        except ValidationError as error:
            problems += inner_problems(error, *location)
    problems += _contradictions({at: entry for at, entry in entries.items() if isinstance(entry, Mapping)})
    if problems:
        raise refusal(problems)
    return tuple(made)


def _entries(table: Mapping[str, Any]) -> Iterator[tuple[Location, Any]]:
    """Values by their place within the table, in the order of `MEASURABLE`."""
    for quantity in MEASURABLE:
        given = table.get(quantity)
        if isinstance(given, list) and given:
            yield from (((quantity, k), entry) for k, entry in enumerate(given))
        elif given is not None:
            yield (quantity,), given


def _contradictions(entries: Mapping[Location, Mapping[str, Any]]) -> Iterator[Problem]:
    """Find values under the same conditions, above Tc, and fields without loss above Bc2."""
    seen: dict[str, Location] = {}
    numbers = {
        at: [_number(entry.get(key)) for key in ("value", "u", "temperature_k")] for at, entry in entries.items()
    }
    tc = [value + 3.0 * (u or 0.0) for at, (value, u, _) in numbers.items() if at[0] == "Tc_K" and value is not None]
    highest = max(tc, default=math.inf)
    for location, entry in entries.items():
        same = repr((location[0], *(entry.get(key) for key in ("criterion", *CONDITIONS))))
        if (other := seen.setdefault(same, location)) != location:
            yield location, f"is measured under the conditions of {place(other)}; give one value, or say what differs"
        value, u, temperature = numbers[location]
        # beyond the limits it is no temperature, and said already
        if temperature is not None and highest < temperature <= CONDITIONS["temperature_k"][1]:
            said = f"{temperature:g} K is above the Tc measured on this sample; correct one of the two"
            yield (*location, "temperature_k"), said
        if location[0] == "irreversibility_field_T" and value is not None and temperature is not None:
            upper = [(bc2, u or 0.0) for at, (bc2, u, at_k) in numbers.items()
                     if at[0] == "Bc2_T" and at_k == temperature and bc2 is not None]  # fmt: skip
            most, u_most = max(upper, default=(math.inf, 0.0))
            allowed = MOST_ABOVE * math.hypot(u or 0.0, u_most)
            if value - most > allowed:
                text = f"{value:g} T is above the Bc2 of {most:g} T measured at {temperature:g} K"
                by = f"{value - most:.2g} T, more than {MOST_ABOVE:g} standard uncertainties ({allowed:.2g} T)"
                yield location, f"{text} by {by}; correct one of the two"


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None
