"""Quantities, their uncertainty table and remarks, grown together one quantity at a time."""

from __future__ import annotations

import math
from collections.abc import Mapping

from xrdorder.exceptions import Flag
from xrdorder.uncertainty import Contributions


class Account:
    """Values, contributions and flags of one sample while they are being worked out.

    Parameters
    ----------
    values : mapping of str to float
    contributions : Contributions
        Table of (at least some of) these values.
    """

    def __init__(self, values: Mapping[str, float], contributions: Contributions) -> None:
        self.values = dict(values)
        self.contributions = contributions
        self.flags: list[Flag] = []
        self.assumptions: list[str] = []

    def add(
        self,
        quantity: str,
        value: float,
        derivatives: Mapping[str, float],
        extra: Mapping[str, tuple[float, str]] | None = None,
    ) -> None:
        """Add (or replace) a quantity that depends on others, see `Contributions.extend`.

        A value without a table is one held as exact.
        """
        if math.isfinite(value):
            exact = self.values.keys() - set(self.contributions.quantities)
            self.values[quantity] = float(value)
            inexact = {name: slope for name, slope in derivatives.items() if name not in exact}
            self.contributions = self.contributions.extend(quantity, inexact, extra)
        else:
            self.absent(quantity)

    def absent(self, quantity: str) -> None:
        """Add a quantity that cannot be given: NaN, with an uncertainty of NaN."""
        self.values[quantity] = math.nan
        everything = dict.fromkeys(self.contributions.quantities, math.nan)
        self.contributions = self.contributions.extend(quantity, everything)

    def given(self, quantity: str) -> bool:
        """Tell whether a quantity is there and finite."""
        return math.isfinite(self.values.get(quantity, math.nan))

    def u(self, quantity: str) -> float:
        """Total standard uncertainty of a quantity; 0 for one without a table."""
        return self.contributions.total(quantity) if quantity in self.contributions.quantities else 0.0

    def flag(self, name: str, message: str) -> None:
        """Remark on something the reader must know."""
        self.flags.append(Flag(name, message))
