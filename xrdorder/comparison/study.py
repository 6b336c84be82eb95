"""Quantities of a whole study compared: predicted ones by draws that all samples have in common."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from xrdorder.comparison.compared import Compared
from xrdorder.comparison.differences import compare, scatter_of
from xrdorder.comparison.drifts import ORDERS, Drift, drifts, in_order
from xrdorder.comparison.quantity_draws import Values, grouping, mounts_of, values_from_draws, values_of
from xrdorder.comparison.replicates import NONE, Repeatability, about_course
from xrdorder.quantities.grades import UNFIT, trust
from xrdorder.quantities.registry import PREDICTED, standing_in
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity import predict
from xrdorder.superconductivity.asking import REPLACED
from xrdorder.superconductivity.differences import samples_of

QUANTITIES = tuple(one.column for one in standing_in("compare"))
"""What is compared unless told otherwise."""

AHEAD_BY = ("Bc2_4K2_T", "Tc_K", "tin_at_percent", "tin_fraction", "site_order")
"""What puts a variant ahead of others: the first of these that was compared."""

_DRAWS = 4_000


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


def predicted_values(
    results: xr.Dataset,
    quantities: Iterable[str],
    progress: Callable[[int, int, str], None] | None = None,
    library: Library = PUBLISHED,
) -> dict[str, Values]:
    """Values of those quantities that are predicted, with the tin of the lattice, whose scale cancels.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    quantities : iterable of str
        Those that are not predicted are passed over.
    progress : callable, optional
        Called with number done, number in all and name of the sample in work.
    library : Library
        Relations to predict by.
    """
    asked = [quantity for quantity in quantities if quantity in PREDICTED]
    samples = samples_of(results) if asked else ()
    draws = {quantity: np.full((len(samples), _DRAWS), np.nan) for quantity in asked}
    for k, sample in enumerate(samples):
        if progress is not None:
            progress(k, len(samples), sample.name)
        prediction = predict(
            (sample.values, sample.contributions),
            n=_DRAWS, key=sample.name, lot=sample.lot, wire=sample.wire, tin="lattice", routes=("tin",),
            library=library, pairs=False,
        )  # fmt: skip
        for quantity in asked:
            if prediction.draws[quantity].size:
                # a draw from outside a validity was replaced by another, which has nothing in common with other samples
                lost = prediction.codes[quantity] == REPLACED
                draws[quantity][k] = np.where(lost, np.nan, prediction.draws[quantity])
    names = [sample.name for sample in samples]
    return {quantity: values_from_draws(quantity, names, draws[quantity]) for quantity in asked}


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
    predicted: Mapping[str, Values] | None = None,
) -> Wires:
    """Take one quantity of all samples, with what they are ordered by; parameters as for `compare_quantity`.

    Raises
    ------
    StudyError
        The results cannot be ordered so.
    UnknownNameError
        There is no such quantity.
    """
    if quantity in PREDICTED:
        values = (predicted_values(results, [quantity]) if predicted is None else predicted)[quantity]
    else:
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
    return [trust(str(words)) != "care" for words in results["quality"].values]


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
    for one in wires:
        known = [bool(label) for label in one.treatments]
        some = one.values.select(known)
        equal = [label for label in one.treatments if label]
        telling = [tells for tells, given in zip(one.telling, known, strict=True) if given]
        asked.append((some, equal, scatter_of(some.on_scale(), equal, equal, one.course, telling) if equal else NONE))
    return drifts(results, asked)


def compare_quantity(
    results: xr.Dataset,
    quantity: str,
    by: str = "treatment",
    reference: str = "",
    *,
    all_pairs: bool = False,
    predicted: Mapping[str, Values] | None = None,
) -> Compared:
    """Compare the variants of a study by one quantity.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    quantity : str
        Column of the results, quantity of the uncertainty tables, or a predicted one.
    by : str
        What makes a variant, see `grouping`.
    reference : str
        Sample whose variant the others are compared with; the first that has one unless given.
    all_pairs : bool
        Compare every variant with every other instead.
    predicted : mapping of str to Values, optional
        From `predicted_values`, where more than one quantity is asked for.

    Raises
    ------
    StudyError
        The results cannot be ordered so, or hold fewer than two variants with the quantity.
    UnknownNameError
        There is no such quantity.
    """
    return compare_wires(wires_of(results, quantity, by, reference, predicted), all_pairs=all_pairs)


def compare_wires(wires: Wires, *, all_pairs: bool = False) -> Compared:
    """Compare the variants of wires that were taken out of a study.

    Raises
    ------
    StudyError
        There are fewer than two variants.
    """
    found = compare(
        wires.values,
        wires.labels,
        replicates=wires.treatments,
        reference=None if all_pairs else wires.against,
        scatter=wires.course,
        telling=wires.telling,
    )
    return Compared(found, wires.values, wires.labels, wires.variable)
