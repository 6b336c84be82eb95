"""Which wire has the highest Tc and Bc2, by how much, and how surely: the first thing a study is asked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from xrdorder.comparison.differences import Difference
from xrdorder.comparison.variants import Compared, compare_wires, fit_to_compare, wires_of
from xrdorder.comparison.wording import manner, probability_words
from xrdorder.exceptions import XrdorderError
from xrdorder.quantities.formatting import rounded
from xrdorder.quantities.registry import ESTIMATE, column_name, quantity

_OF = ("Tc_K", "Bc2_4K2_T")


@dataclass(frozen=True)
class Leading:
    """The variant (lot and treatment) with the highest estimate of a quantity, against the next one.

    Attributes
    ----------
    quantity : str
    first, second : str
        The only sample of a variant by its name, or the variant.
    value, u : float
        Of the first, in the unit of the quantity; of a single wire those of its row in the table.
    difference : Difference
        First less second, corrected for all pairs there are, as both were picked from the data.
    pairs : int
        How many there are.
    """

    quantity: str
    first: str
    second: str
    value: float
    u: float
    difference: Difference
    pairs: int

    @property
    def words(self) -> str:
        """The answer in one sentence."""
        how, d = manner(self.quantity), self.difference
        value = rounded(how.absolute.factor * self.value, how.absolute.factor * self.u, how.absolute.unit)
        margin = how.amount(d.value, d.u)
        surely = "significant" if d.distinguishable else "not significant"
        among = f" among {self.pairs} pairs" if self.pairs > 1 else ""
        return (
            f"Highest {how.noun}: {self.first}, {value}; {margin} above {self.second}, {surely}{among} "
            f"(P higher {probability_words(d.probability_positive)})"
        )


def leading(results: xr.Dataset, names: Sequence[str] = _OF) -> Iterator[Leading]:
    """Find what leads in these quantities; nothing where there are fewer than two variants.

    Parameters
    ----------
    results : Dataset
        Collated results. Samples whose fit is not to be used take no part.
    names : sequence of str
        Columns of the results; Tc and Bc2 at 4.2 K unless given.
    """
    usable, _ = fit_to_compare(results)
    for name in names:
        try:
            compared = compare_wires(wires_of(usable, name), all_pairs=True)
        except XrdorderError:  # fewer than two variants, or no estimate
            continue
        comparison = compared.comparison
        first, second = (int(k) for k in np.argsort(-np.asarray(comparison.value))[:2])
        pair = comparison.pair(comparison.variants[first], comparison.variants[second])
        called = _called(compared, first), _called(compared, second)
        alone = called[0] if quantity(name).predicted and called[0] in usable["sample"].values else ""
        value, u = _as_in_the_table(usable, name, alone) if alone else (comparison.value[first], comparison.u[first])
        yield Leading(name, *called, value, u, pair, len(comparison.first))


def _as_in_the_table(results: xr.Dataset, name: str, sample: str) -> tuple[float, float]:
    """Estimate of one wire and half of its 68 % interval; the scatter of equal wires is part of a difference only."""
    row = results.sel(sample=sample)
    value, low, high = (float(row[column_name(quantity(name), part)]) for part in ESTIMATE)
    return value, 0.5 * (high - low)


def _called(compared: Compared, variant: int) -> str:
    label = compared.comparison.variants[variant]
    names = [name for name, of in zip(compared.values.samples, compared.labels, strict=True) if of == label]
    return names[0] if len(names) == 1 else f"{label} ({len(names)} wires)"
