"""The stored records that lead to a quantity, and whether they still give the stored values."""

from __future__ import annotations

import math
from dataclasses import dataclass

from xrdorder.material.formulas import recomputed
from xrdorder.quantities.records import Record, symbol_of
from xrdorder.results.parameters import StoredParameters
from xrdorder.results.sample_file import StoredSample

FITTED = "fitted to the pattern"


@dataclass(frozen=True)
class Step:
    """One step from the pattern to a quantity.

    Attributes
    ----------
    record : Record
        How the quantity was computed; without inputs for what was fitted.
    value : float
        As stored.
    recomputed : float
        The formula evaluated with the stored inputs; NaN where there is none.
    """

    record: Record
    value: float
    recomputed: float

    @property
    def quantity(self) -> str:
        """What the step gives."""
        return self.record.quantity

    @property
    def reproduced(self) -> bool | None:
        """Whether this version finds the stored value again; None where it cannot tell.

        Inputs are stored in full precision: only rounding of a few operations may remain.
        """
        if math.isnan(self.recomputed) or math.isnan(self.value):
            return None
        return math.isclose(self.recomputed, self.value, rel_tol=1e-9, abs_tol=1e-15)


def steps(quantity: str, sample: StoredSample) -> tuple[Step, ...]:
    """All steps that lead to a quantity, what was fitted first, the quantity itself last."""
    parameters = StoredParameters.of(sample).values
    done: dict[str, Step] = {}

    def go(name: str) -> None:
        record = sample.records.get(name)
        if record is None and name in parameters:
            record = Record(name, name, parameters[name], remark=FITTED)
        if record is None or name in done:
            return
        for before in (*(given.quantity for given in record.inputs), *record.numbers):
            go(before)
        done[name] = Step(record, sample.values.get(name, record.value), recomputed(record))

    go(quantity)
    if quantity not in done:
        value = sample.values.get(quantity, math.nan)
        nothing = Record(quantity, symbol_of(quantity), value, remark="no record of it is stored")
        done[quantity] = Step(nothing, value, math.nan)
    return tuple(done.values())
