"""Quantities of a whole study compared."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import xarray as xr

from xrdorder.comparison.differences import Comparison, compare
from xrdorder.comparison.quantity_draws import Values, grouping, in_order, mounts_of, values_of
from xrdorder.comparison.replicates import NONE, Repeatability, about_course
from xrdorder.exceptions import StudyError
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


@dataclass(frozen=True, eq=False)
class Wires:
    """One quantity of the samples of a study, before anything is compared.

    Attributes
    ----------
    values : Values
        Samples in the order of the variable where there is one.
    labels, treatments : sequence of str
        Variant, and lot with treatment, of each sample; empty for none.
    variable : sequence of float
        What the samples are ordered by; NaN for none.
    reference : str
        Variant that others are compared with: that of the reference, or of the first sample that has one.
    course : Repeatability
        Scatter about a smooth course, on the scale of `Values.on_scale`.
    telling : sequence of bool, optional
        Samples that may tell how far wires scatter: those whose fit is trusted without reserve; all unless given.
    """

    values: Values
    labels: Sequence[str]
    treatments: Sequence[str]
    variable: Sequence[float]
    reference: str = ""
    course: Repeatability = NONE
    telling: Sequence[bool] | None = None

    @property
    def variants(self) -> list[str]:
        """Different labels."""
        return list(dict.fromkeys(label for label in self.labels if label))


@dataclass(frozen=True, eq=False)
class Compared(Wires):
    """One quantity of the samples of a study, and its variants compared."""

    comparison: Comparison = field(kw_only=True)

    @property
    def against(self) -> str:
        """The variant all others are compared with.

        Raises
        ------
        StudyError
            There are several: pairs were compared.
        """
        against = np.unique(self.comparison.second)
        if against.size != 1:
            raise StudyError("variants were compared in pairs, not with one reference; leave out --all-pairs")
        return self.comparison.variants[int(against[0])]


def wires_of(results: xr.Dataset, quantity: str, by: str = "treatment", reference: str = "") -> Wires:
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
    quality = results["quality"].values if "quality" in results else [""] * results.sizes["sample"]
    telling = [grade(str(quality[k])) != "B" for k in rows]  # not where something speaks against a fit
    course = _course(results.isel(sample=rows), values, telling)
    variable = [float(numbers[k]) if numbers is not None else float("nan") for k in rows]
    return Wires(values, [labels[k] for k in rows], [treatments[k] for k in rows], variable, against, course, telling)


def _course(results: xr.Dataset, values: Values, telling: Sequence[bool]) -> Repeatability:
    """Scatter about a smooth course, with a level of its own for each lot and mount."""
    which = np.flatnonzero(telling)
    lots = [f"{results['lot'].values[k]} {mount}" for k, mount in enumerate(mounts_of(results))]
    peaks, holds = (results[name].values.astype(float)[which] for name in ("peak_c", "hold_at_peak_h"))
    return about_course(values.select(which).on_scale(), [lots[k] for k in which], peaks, holds)


def compare_wires(wires: Wires, *, all_pairs: bool = False) -> Compared:
    """Compare the variants of wires that were taken out of a study.

    Raises
    ------
    StudyError
        There are fewer than two variants.
    """
    comparison = compare(
        wires.values, wires.labels, replicates=wires.treatments, reference=None if all_pairs else wires.reference,
        scatter=wires.course, telling=wires.telling,
    )  # fmt: skip
    return Compared(**vars(wires), comparison=comparison)
