"""How far samples differ, once what they share has cancelled.

Quantities with an uncertainty table (lattice parameter, tin by the lattice, order, domain size) are subtracted source
by source: columns of one source and one group cancel with their signs. Tc and Bc2 are subtracted draw by draw, both
samples by the same relation with the same values of what they share, so that the spread between relations and the
doubt about the a(tin) scale count only by what they do to the difference. Tin is that of the lattice throughout, as its
scale cancels; Tc by the order takes no part.

How specimens stray from a relation cancels in part between samples of one lot (`xrdorder.superconductivity.asking`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from xrdorder import uncertainty
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.material import Material
from xrdorder.quantities.registry import PREDICTED
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity.asking import LEAST_SHARE, REPLACED, three
from xrdorder.superconductivity.prediction import Prediction, predict
from xrdorder.superconductivity.targets import targets_at
from xrdorder.uncertainty import DEFAULT_DRAWS, Contributions

if TYPE_CHECKING:
    import xarray as xr

QUANTITIES = ("a_nm", "tin_fraction", "site_order", "domain_size_nm", "Tc_K", "Bc2_0K_T", "Bc2_4K2_T")
"""What is compared unless told otherwise."""

_HALF_INTERVAL = 0.9945
"""Half of the central 68 % of a normal distribution, in standard deviations."""


@dataclass(frozen=True)
class Sample:
    """What is compared.

    Attributes
    ----------
    name : str
        To which what it shares with nobody is tied; no two samples may have the same.
    values, contributions
        Quantities and their uncertainty table, as of `xrdorder.material.Material`.
    wire : str
        "binary", "Ta", "Ti" or "any".
    lot : str
        Wire lot; empty where not known.
    """

    name: str
    values: Mapping[str, float] = field(repr=False)
    contributions: Contributions = field(repr=False)
    wire: str = "any"
    lot: str = ""

    @classmethod
    def of(cls, name: str, material: Material, *, wire: str = "any", lot: str = "") -> Sample:
        """Make a sample of a characterised material."""
        return cls(name, material.values, material.contributions, wire, lot)


def samples_of(results: xr.Dataset) -> tuple[Sample, ...]:
    """Samples of the collated results of a study, those without an A15 lattice parameter left out.

    Parameters
    ----------
    results : Dataset
        As `run_study` gives it: ``value`` and ``contribution`` over sample and quantity; ``wire`` and ``lot`` where
        known.
    """
    quantities = [str(name) for name in results["quantity"].values]
    numbers = results["value"].transpose("sample", "quantity").values
    wires, lots = (
        results[what].values if what in results else [""] * results.sizes["sample"] for what in ("wire", "lot")
    )
    found = []
    for k, (name, table) in enumerate(uncertainty.separate(results).items()):
        values = {of: float(value) for of, value in zip(quantities, numbers[k], strict=True) if math.isfinite(value)}
        if "a_nm" in values:
            found.append(Sample(name, values, table.select(values), str(wires[k]) or "any", str(lots[k])))
    return tuple(found)


@dataclass(frozen=True)
class SampleDifference:
    """First sample less second (the reference).

    Attributes
    ----------
    quantity, sample, reference : str
    value, low, high : float
        Difference and its 68 % interval, in the unit of the quantity; NaN where it cannot be had.
    u : float
        Standard uncertainty; NaN for Tc and Bc2, whose differences are skewed.
    probability_positive : float
        That the sample truly has the larger value; 0.5 where nothing can be told.
    share : float
        Share of the draws in which both are predicted by one relation inside its validity; 1 for measured quantities.
    remark : str
        Why there is no difference, or how it must be read.
    """

    quantity: str
    sample: str
    reference: str
    value: float
    u: float
    low: float
    high: float
    probability_positive: float
    share: float = 1.0
    remark: str = ""


def difference(
    sample_1: Sample,
    sample_2: Sample,
    quantity: str,
    *,
    seed: int = 0,
    n: int = DEFAULT_DRAWS,
    library: Library = PUBLISHED,
    temperatures_k: Sequence[float] = (),
) -> SampleDifference:
    """Subtract one quantity of two samples, first less second, with what they share cancelled.

    Parameters
    ----------
    sample_1, sample_2 : Sample
    quantity : str
        Of the uncertainty tables ("a_nm", "tin_fraction", "site_order", "domain_size_nm"...), or predicted ("Tc_K",
        "Bc2_4K2_T"...).
    seed, n : int
        Seed and number of draws of predicted quantities.
    library : Library
    temperatures_k : sequence of float
        Further temperatures at which Bc2 may be asked for.

    Raises
    ------
    UnknownNameError
        Neither sample knows the quantity.
    ValidityError
        Both samples have the same name.

    Examples
    --------
    >>> from xrdorder.uncertainty import Contributions
    >>> doubts = {"a(tin) scale": (0.015, "published"), "counting": (0.001, "")}
    >>> table = Contributions.empty().extend("tin_fraction", {}, doubts)
    >>> one, two = (Sample(name, {"tin_fraction": tin}, table) for name, tin in (("A", 0.238), ("B", 0.232)))
    >>> tin = difference(one, two, "tin_fraction")
    >>> print(f"{tin.value:.3f} +- {tin.u:.4f}")  # the scale has cancelled
    0.006 +- 0.0014
    """
    found = differences(
        [sample_1, sample_2],
        sample_2.name,
        quantities=[quantity],
        seed=seed,
        n=n,
        library=library,
        temperatures_k=temperatures_k,
    )
    return found[0]


def differences(
    samples: Iterable[Sample],
    reference: str,
    *,
    quantities: Sequence[str] = QUANTITIES,
    seed: int = 0,
    n: int = DEFAULT_DRAWS,
    library: Library = PUBLISHED,
    temperatures_k: Sequence[float] = (),
) -> tuple[SampleDifference, ...]:
    """Subtract a reference sample from all others, see `difference`.

    Parameters
    ----------
    samples : iterable of Sample
        Among them the reference.
    reference : str
        Its name.
    quantities : sequence of str

    Returns
    -------
    tuple of SampleDifference
        Every quantity of the first sample, then of the next.

    Raises
    ------
    UnknownNameError
        No sample has the name of the reference, or none knows a quantity.
    ValidityError
        Two samples have one name.
    """
    by_name: dict[str, Sample] = {}
    for sample in samples:
        if sample.name in by_name:
            raise ValidityError(f"two samples are called '{sample.name}'; give each its own name")
        by_name[sample.name] = sample
    if reference not in by_name:
        raise UnknownNameError(f"no sample '{reference}' to refer to; known are: {', '.join(by_name) or 'none'}")
    predicted = {*PREDICTED, *targets_at(temperatures_k)}
    for quantity in quantities:
        if quantity not in predicted and not any(quantity in sample.values for sample in by_name.values()):
            raise UnknownNameError(
                f"no sample has the quantity '{quantity}'; compare one of {', '.join((*QUANTITIES, *predicted))}"
            )

    def of(sample: Sample) -> Prediction | None:
        if not predicted.intersection(quantities):
            return None
        return predict(
            (sample.values, sample.contributions),
            seed=seed,
            n=n,
            key=sample.name,
            lot=sample.lot,
            library=library,
            wire=sample.wire,
            tin="lattice",
            routes=("tin",),
            temperatures_k=temperatures_k,
            pairs=False,
        )

    second = by_name.pop(reference)
    second_prediction = of(second)
    found = []
    for first in by_name.values():
        first_prediction = of(first)
        for quantity in quantities:
            if quantity in predicted and first_prediction is not None and second_prediction is not None:
                found.append(_predicted(quantity, first, second, first_prediction, second_prediction))
            else:
                found.append(_measured(quantity, first, second))
    return tuple(found)


def _measured(quantity: str, first: Sample, second: Sample) -> SampleDifference:
    values = [sample.values.get(quantity, math.nan) for sample in (first, second)]
    for sample, value in zip((first, second), values, strict=True):
        if not math.isfinite(value):
            return _nothing(quantity, first, second, f"sample '{sample.name}' has no {quantity}")
    # a value without a table is one held as exact
    tables = [
        sample.contributions if quantity in sample.contributions.quantities else Contributions.empty([quantity])
        for sample in (first, second)
    ]
    found = uncertainty.difference(tables[0], tables[1], quantity, *values)
    half = _HALF_INTERVAL * found.u
    return SampleDifference(
        quantity,
        first.name,
        second.name,
        found.value,
        found.u,
        found.value - half,
        found.value + half,
        found.probability_positive,
    )


def _predicted(
    quantity: str, first: Sample, second: Sample, one: Prediction, two: Prediction
) -> SampleDifference:
    for sample, prediction in ((first, one), (second, two)):
        if not prediction.combined[quantity].count:
            why = "; ".join(flag.message for flag in prediction.flags if flag.name == "no-relation")
            reason = f"sample '{sample.name}': {why or f'no relation gives {quantity}'}"
            return _nothing(quantity, first, second, reason)
    codes = one.codes[quantity], two.codes[quantity]
    whole = (codes[0] != REPLACED) & (codes[1] != REPLACED)
    alike = whole & (codes[0] == codes[1])
    remark = ""
    if np.mean(alike) < LEAST_SHARE and first.wire != second.wire:
        # no relation holds for both: each by its own, and what relations differ among themselves counts
        alike = whole
        remark = f"by different relations, for {first.wire} and {second.wire} wire: the spread between them is in it"
    share = float(np.mean(alike))
    if share < LEAST_SHARE:
        return _nothing(quantity, first, second, "hardly any draw has both samples inside the validity of one relation")
    draws = one.draws[quantity][alike] - two.draws[quantity][alike]
    median, low, high = three(draws)
    positive = float(np.mean(draws > 0.0) + 0.5 * np.mean(draws == 0.0))
    if share < 0.68 and not remark:
        remark = f"holds for the {100 * share:.0f} % of the possible states in which one relation is valid for both"
    return SampleDifference(
        quantity, first.name, second.name, median, math.nan, low, high, positive, share, remark
    )


def _nothing(quantity: str, first: Sample, second: Sample, reason: str) -> SampleDifference:
    nan = math.nan
    return SampleDifference(quantity, first.name, second.name, nan, nan, nan, nan, 0.5, 0.0, reason)
