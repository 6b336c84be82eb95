"""The table ``[samples.measured]`` of `study.toml`: its keys and their kinds.

What the numbers may be, and which contradict each other, is said by `xrdorder.description.measured_values`.
"""

from typing import Annotated

from pydantic import BeforeValidator, Field

from xrdorder.description.measured_values import Measured
from xrdorder.description.values import Table


def _as_list(value: object) -> object:
    """Take a single table for a list of one; so does a bare number, which is then refused as no table."""
    return value if isinstance(value, list) else [value]


class ValueTable(Table):
    """One measured value."""

    value: float = Field(description="the measured value as a number, in the unit of the key")
    u: float | None = Field(default=None, description="its standard uncertainty (k = 1) in the same unit")
    criterion: str = Field(default="", description="how it was read off the transition, as '50 %'")
    temperature_k: float | None = Field(default=None, description="the temperature of the measurement in K")
    field_t: float | None = Field(default=None, description="the field of the measurement in T")
    remark: str = Field(default="", description="how it was measured, as text in quotes")


Values = Annotated[list[ValueTable], Field(min_length=1), BeforeValidator(_as_list)]


def _field(meaning: str, example: str) -> list[ValueTable]:
    """A key that may be left out."""
    found: list[ValueTable] = Field(default=[], description=f"{meaning}, as {{ {example} }}")
    return found


class MeasuredTable(Table):
    """What the laboratory measured on a sample."""

    Tc_K: Values = _field("the critical temperature in K", 'value = 17.6, u = 0.1, criterion = "50 %"')
    Bc2_T: Values = _field("the upper critical field in T", "value = 25.3, u = 0.3, temperature_k = 4.2")
    irreversibility_field_T: Values = _field(
        "the irreversibility field in T", "value = 23.1, u = 0.4, temperature_k = 4.2"
    )
    rrr_copper: Values = _field("the resistivity ratio of the copper", "value = 180, u = 10")
    resistivity_ratio_a15: Values = _field("the resistivity ratio of the A15", "value = 3.1, u = 0.2")
    tin_at_percent: Values = _field("the tin content by electron probe in at.%", "value = 23.9, u = 0.4")
    grain_size_nm: Values = _field("the grain size seen in a microscope in nm", "value = 140, u = 15")
    a15_area_fraction: Values = _field("the share of A15 in the section without copper", "value = 0.55, u = 0.02")
    critical_current_a: Values = _field(
        "the critical current in A", "value = 620, u = 12, temperature_k = 4.2, field_t = 12"
    )

    def values(self) -> tuple[Measured, ...]:
        """All values, in the order of the keys.

        Raises
        ------
        ValidityError
            A value cannot be what it is called.
        """
        return tuple(
            Measured(name, one.value, one.u or 0.0, one.criterion, one.temperature_k, one.field_t, one.remark)
            for name in type(self).model_fields
            for one in getattr(self, name)
        )
