"""What the A15 of a sample is like: quantities, their uncertainty table, how each was computed, and remarks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Unpack

from xrdorder.exceptions import Flag
from xrdorder.quantities.records import How, Record, as_fitted, record_of, symbol_of
from xrdorder.uncertainty import Contributions


class Material:
    """What the A15 of a sample is like, grown one quantity at a time.

    Parameters
    ----------
    values : mapping of str to float
        Quantities of the fit.
    contributions : Contributions
        Table of (at least some of) these values.
    records : mapping of str to Record, optional
        How these values were computed.

    Attributes
    ----------
    values : dict of str to float
        Quantities of the fit and those derived from them: ``a_nm`` (at 22.5 °C), ``order_contrast``, ``site_order``,
        ``tin_fraction_lattice``, ``tin_fraction_order``, ``tin_lower_bound``, ``domain_size_nm``, ``microstrain``,
        ``tin_spread``, ``a15_fraction``. NaN where one cannot be given. Only where they say something:
        ``lattice_strain`` and ``a_strain_free_nm`` (where the strain is known), ``size_breadth_deg``,
        ``strain_breadth_deg`` (integral breadths), ``largest_resolvable_size_nm``, ``domain_size_at_least_nm``, and
        with two populations ``tin_fraction_lattice_lean``, ``domain_size_nm_lean`` and so on.
    contributions : Contributions
        Their uncertainty by source and group.
    flags : list of Flag
        What the reader must know.
    assumptions : list of str
        What was taken for granted because nobody said otherwise.
    records : dict of str to Record
        How each value was computed, and what only carried others.
    """

    def __init__(
        self, values: Mapping[str, float], contributions: Contributions, records: Mapping[str, Record] | None = None
    ) -> None:
        self.values = dict(values)
        self.contributions = contributions
        self.records = dict(records or {})
        self.flags: list[Flag] = []
        self.assumptions: list[str] = []

    def add(
        self,
        quantity: str,
        value: float,
        derivatives: Mapping[str, float],
        extra: Mapping[str, tuple[float, str]] | None = None,
        **how: Unpack[How],
    ) -> None:
        """Add (or replace) a quantity with its uncertainty, and record how it was computed.

        A value without a table is one held as exact.

        Parameters
        ----------
        quantity : str
        value : float
        derivatives, extra
            By other quantities, and contributions of its own, see `Contributions.extend`.
        **how
            ``formula`` in the names of quantities (a corrected one names by `as_fitted` what it was) and ``numbers``;
            ``source``; where needed ``symbol`` and ``remark``: see `Record`.

        Raises
        ------
        KeyError
            The formula names what nobody gave.
        """
        if not math.isfinite(value):
            self.absent(quantity, how.get("remark", "") or "no number with these inputs")
            return
        self.tell(quantity, value, **how)
        exact = self.values.keys() - set(self.contributions.quantities)
        self.values[quantity] = float(value)
        inexact = {name: slope for name, slope in derivatives.items() if name not in exact}
        self.contributions = self.contributions.extend(quantity, inexact, extra)

    def add_given(self, quantity: str, value: float, contributions: Mapping[str, tuple[float, str]]) -> None:
        """Add (or replace) a quantity that was told, with its signed contributions and groups by source."""
        how: How = {"formula": "given", "numbers": {"given": value}, "source": "given"}
        self.add(quantity, value, {}, contributions, **how)

    def add_bare(self, quantity: str, value: float, **how: Unpack[How]) -> None:
        """Add a quantity without an uncertainty of its own, such as a bound; otherwise as `add`."""
        self.tell(quantity, value, **how)
        self.values[quantity] = value

    def tell(self, quantity: str, value: float, **how: Unpack[How]) -> None:
        """Record how a quantity was computed, without a change of its value."""
        known = {symbol_of(name): (name, number) for name, number in self.values.items()}
        known |= {record.symbol: (name, self.values.get(name, record.value)) for name, record in self.records.items()}
        before = as_fitted(quantity)
        if quantity in self.values:
            known.setdefault(symbol_of(before), (before, self.values[quantity]))
        record = record_of(quantity, value, known, **how)
        if any(given.quantity == before for given in record.inputs):
            self._rename(quantity, before)
        self.records[quantity] = record

    def _rename(self, quantity: str, before: str) -> None:
        """Keep the record of what is corrected under another name, also where others were computed from it."""
        if quantity in self.records and before not in self.records:
            self.records[before] = replace(self.records.pop(quantity), quantity=before, symbol=symbol_of(before))
        for name, record in self.records.items():
            inputs = tuple(
                given._replace(quantity=before) if given.quantity == quantity else given for given in record.inputs
            )
            self.records[name] = replace(record, inputs=inputs)

    def absent(self, quantity: str, reason: str) -> None:
        """Add a quantity that cannot be given: NaN, with an uncertainty of NaN, and the reason."""
        self.values[quantity] = math.nan
        everything = dict.fromkeys(self.contributions.quantities, math.nan)
        self.contributions = self.contributions.extend(quantity, everything)
        self.records[quantity] = Record(quantity, symbol_of(quantity), math.nan, remark=reason)

    def given(self, quantity: str) -> bool:
        """Tell whether a quantity is there and finite."""
        return math.isfinite(self.values.get(quantity, math.nan))

    def u(self, quantity: str) -> float:
        """Total standard uncertainty of a quantity; 0 for one without a table."""
        return self.contributions.total(quantity) if quantity in self.contributions.quantities else 0.0

    @property
    def u_tin_independent(self) -> float:
        """Part of the standard uncertainty of the tin fraction that no other sample shares."""
        return self.contributions.part("tin_fraction_lattice", shared=False)

    def flag(self, name: str, message: str) -> None:
        """Remark on something the reader must know."""
        self.flags.append(Flag(name, message))
