"""Quantities of a whole study compared."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from xrdorder.comparison.compared import Compared
from xrdorder.comparison.differences import compare, scatter_of
from xrdorder.comparison.drifts import ORDERS, Drift, drifts, in_order
from xrdorder.comparison.quantity_draws import Values, grouping, mounts_of, values_of
from xrdorder.comparison.replicates import NONE, Repeatability, about_course
from xrdorder.quantities.grades import UNFIT, grade
from xrdorder.quantities.registry import standing_in

QUANTITIES = tuple(quantity.column for quantity in standing_in("compare"))
"""What is compared unless told otherwise."""

AHEAD_BY = ("Bc2_4K2_T", "Tc_K", "tin_at_percent", "tin_fraction", "site_order")
"""What puts a variant ahead of others: the first of these that was compared."""


def fit_to_compare(results: xr.Dataset) -> tuple[xr.Dataset, dict[str, str]]:
    """Leave out samples whose fit is not to be used, and those of a pattern that stands under another name already.

    Returns
    -------
    results : Dataset
        The others.
    left_out : dict of str to str
        Why, by sample.
    """
    words = [str(text) for text in results["quality"].values] if "quality" in results else []
    names = [str(name) for name in results["sample"].values]
    left_out = {names[k]: text for k, text in enumerate(words) if text.startswith(UNFIT)}
    twins = [str(name) for name in results["same_pattern_as"].values] if "same_pattern_as" in results else []
    left_out |= {names[k]: f"the pattern of {twin} once more" for k, twin in enumerate(twins) if twin}
    if not left_out:
        return results, {}
    return results.isel(sample=[k for k, name in enumerate(names) if name not in left_out]), left_out


class Wires(NamedTuple):
    """One quantity of the samples of a study, before anything is compared.

    Attributes
    ----------
    values : Values
        Samples in the order of the variable where there is one.
    labels, treatments : list of str
        Variant, and lot with treatment, of each sample; empty for none.
    variable : list of float
        NaN for none.
    against : str
        Variant that others are compared with: that of the reference, or of the first sample that has one.
    course : Repeatability
        Scatter about a smooth course, on the scale of `Values.on_scale`.
    telling : list of bool
        Samples that may tell how far wires scatter: those whose fit is trusted without reserve.
    """

    values: Values
    labels: list[str]
    treatments: list[str]
    variable: list[float]
    against: str
    course: Repeatability
    telling: list[bool]

    @property
    def variants(self) -> list[str]:
        """Different labels."""
        return list(dict.fromkeys(label for label in self.labels if label))


def wires_of(
    results: xr.Dataset,
    quantity: str,
    by: str = "treatment",
    reference: str = "",
) -> Wires:
    """Take one quantity of all samples, with what they are ordered by.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    quantity : str
        Column of the results, quantity of the uncertainty tables, or an estimated one.
    by : str
        What makes a variant, see `grouping`.
    reference : str
        Sample whose variant the others are compared with; the first that has one unless given.

    Raises
    ------
    StudyError
        The results cannot be ordered so.
    UnknownNameError
        There is no such quantity.
    """
    values = values_of(results, quantity)
    labels, numbers = grouping(results, by)
    treatments, _ = grouping(results, "treatment")
    place = {str(name): k for k, name in enumerate(results["sample"].values)}
    rows = np.array([place[name] for name in values.samples], dtype=np.intp)
    against = labels[place[reference]] if reference else next((labels[k] for k in rows if labels[k]), "")
    along = in_order(labels) if by == "date" else numbers
    if along is not None:  # variants of a number stand in its order, whatever that of the samples
        order = np.argsort(along[rows], kind="stable")
        rows, values = rows[order], values.select(order)
    tells = _telling(results)
    telling = [tells[k] for k in rows]
    course = _course(results.isel(sample=rows), values, telling)
    variable = [float(numbers[k]) if numbers is not None else float("nan") for k in rows]
    return Wires(values, [labels[k] for k in rows], [treatments[k] for k in rows], variable, against, course, telling)


def _telling(results: xr.Dataset) -> list[bool]:
    """Whether the scatter of a sample may stand for that of others: not where something speaks against its fit."""
    if "quality" not in results:
        return [True] * results.sizes["sample"]
    return [grade(str(words)) != "B" for words in results["quality"].values]


def alike(results: xr.Dataset) -> dict[str, str]:
    """Mount of each sample whose scatter may stand for that of others of its mount, by name; none in doubt."""
    names, tells = (str(name) for name in results["sample"].values), _telling(results)
    return {name: mount for name, mount, sure in zip(names, mounts_of(results), tells, strict=True) if sure}


def _course(results: xr.Dataset, values: Values, telling: Sequence[bool]) -> Repeatability:
    """Scatter about a smooth course, with a level of its own for each lot and mount."""
    which = np.flatnonzero(telling)
    lots = [f"{results['lot'].values[k]} {mount}" for k, mount in enumerate(mounts_of(results))]
    peaks, holds = (results[name].values.astype(float)[which] for name in ("peak_c", "hold_at_peak_h"))
    return about_course(values.select(which).on_scale(), [lots[k] for k in which], peaks, holds)


def drifts_of(results: xr.Dataset, wires: Iterable[Wires]) -> list[Drift]:
    """Look for drifts of these quantities along the spool and over dates, inside wires of one lot and treatment."""
    if not any(name in results for name in ORDERS):
        return []
    asked = []
    for wire in wires:
        known = [bool(label) for label in wire.treatments]
        some = wire.values.select(known)
        equal = [label for label in wire.treatments if label]
        telling = [tells for tells, given in zip(wire.telling, known, strict=True) if given]
        asked.append((some, equal, scatter_of(some.on_scale(), equal, equal, wire.course, telling) if equal else NONE))
    return drifts(results, asked)


def compare_wires(wires: Wires, *, all_pairs: bool = False) -> Compared:
    """Compare the variants of wires that were taken out of a study.

    Raises
    ------
    StudyError
        There are fewer than two variants.
    """
    comparison = compare(
        wires.values,
        wires.labels,
        replicates=wires.treatments,
        reference=None if all_pairs else wires.against,
        scatter=wires.course,
        telling=wires.telling,
    )
    return Compared(comparison, wires.values, wires.labels, wires.variable)
