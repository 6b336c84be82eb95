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


class Chains:
    """The steps to all quantities of a sample; each step is worked out once."""

    def __init__(self, sample: StoredSample) -> None:
        self._sample, self._parameters = sample, StoredParameters.of(sample).values
        self._steps: dict[str, Step | None] = {}

    def to(self, quantity: str) -> tuple[Step, ...]:
        """All steps that lead to a quantity, what was fitted first, the quantity itself last."""
        done: dict[str, Step] = {}

        def go(name: str) -> None:
            step = self._step(name)
            if step is None or name in done:
                return
            for before in (*(given.quantity for given in step.record.inputs), *step.record.numbers):
                go(before)
            done[name] = step

        go(quantity)
        if quantity not in done:
            value = self._sample.values.get(quantity, math.nan)
            nothing = Record(quantity, symbol_of(quantity), value, remark="no record of it is stored")
            done[quantity] = Step(nothing, value, math.nan)
        return tuple(done.values())

    def _step(self, name: str) -> Step | None:
        if name not in self._steps:
            record = self._sample.records.get(name)
            if record is None and name in self._parameters:
                record = Record(name, name, self._parameters[name], remark=FITTED)
            known = self._sample.values
            step = Step(record, known.get(name, record.value), recomputed(record)) if record is not None else None
            self._steps[name] = step
        return self._steps[name]
