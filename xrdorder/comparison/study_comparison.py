"""The variants of a study compared in several quantities: the one call behind `xrdorder compare` and notebooks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import xarray as xr

from xrdorder.comparison.quantity_draws import grouping
from xrdorder.comparison.variants import (
    QUANTITIES,
    Compared,
    Wires,
    compare_wires,
    fit_to_compare,
    wires_of,
)
from xrdorder.display import Displayed
from xrdorder.exceptions import StudyError, XrdorderError, did_you_mean, no_such_lot
from xrdorder.files.atomic import write_table
from xrdorder.quantities.registry import UNIT_1, unit_of
from xrdorder.results.columns import headed
from xrdorder.results.open_study import OpenStudy, open_study

UNITS = {"reaction-temperature": "°C", "hold-time": "h", "dose": "h"}
"""Of variables that trends are fitted over."""

LOGARITHMIC = ("hold-time", "dose")
"""Variables whose logarithm is what growth goes with."""

_OF_TREATMENT = ("treatment", "reaction-temperature", "hold-time", "dose")


@dataclass(frozen=True, eq=False)
class StudyComparison(Displayed, view="comparison"):
    """The variants of a study compared.

    Attributes
    ----------
    results : Dataset
        Of the samples that were compared.
    by : str
        What makes a variant, as for `grouping`.
    compared : dict of str to Compared
        By quantity; empty where there is one variant only.
    wires : dict of str to Wires
        Each quantity of all samples, compared or not.
    left_out : dict of str to str
        Samples left out, and why.
    not_compared : tuple of str
        Why quantities were not compared.
    all_pairs : bool
    """

    results: xr.Dataset
    by: str
    compared: dict[str, Compared]
    wires: dict[str, Wires]
    left_out: dict[str, str]
    not_compared: tuple[str, ...]
    all_pairs: bool

    @property
    def reference(self) -> str:
        """The variant that the others are compared with."""
        return next(iter(self.wires.values())).reference


def compare_study(
    study: OpenStudy | xr.Dataset | str | Path,
    by: str = "treatment",
    quantities: Sequence[str] = (),
    *,
    reference: str = "",
    without: Sequence[str] = (),
    lot: str = "",
    all_pairs: bool = False,
) -> StudyComparison:
    """Compare the variants of a study that has been run; what they share cancels, chance is corrected for.

    Parameters
    ----------
    study : OpenStudy, Dataset (collated results) or path
    by : str
        What makes a variant, as for `grouping`.
    quantities : sequence of str
        Columns of `results.csv`, headings of the printed table or quantities; the usual ones where empty.
    reference : str
        Sample whose variant the others are compared with; the first unless given.
    without : sequence of str
        Samples to leave out.
    lot : str
        Only samples of this wire lot.
    all_pairs : bool
        Compare every variant with every other.

    Raises
    ------
    StudyError
        No such sample or lot, or the samples tell nothing that they could be ordered by.
    UnknownNameError
        There is no such quantity.
    """
    opened = study if isinstance(study, OpenStudy | xr.Dataset) else open_study(study)
    everybody = opened if isinstance(opened, xr.Dataset) else opened.results
    results, left_out = fit_to_compare(_without(_of_lot(everybody, lot), without))
    left_out.update(dict.fromkeys(without, "--without"))
    if reference in left_out:
        raise StudyError(f"sample '{reference}' cannot be the reference: {left_out[reference]}")
    _require(results, by, reference)
    asked = tuple(dict.fromkeys(_quantity_named(word) for word in quantities)) or QUANTITIES
    compared: dict[str, Compared] = {}
    wires: dict[str, Wires] = {}
    skipped = []
    for quantity in asked:
        try:
            wires[quantity] = wires_of(results, quantity, by, reference)
            compared[quantity] = compare_wires(wires[quantity], all_pairs=all_pairs)
        except XrdorderError as error:
            if quantities and not (quantity in wires and len(wires[quantity].variants) == 1):
                raise
            skipped.append(str(error))
    if not compared and not any(wire.variants for wire in wires.values()):
        raise StudyError(skipped[0])
    return StudyComparison(results, by, compared, wires, left_out, tuple(skipped), all_pairs)


COLUMNS = (
    "quantity", "first", "second", "difference", "u", "probability_positive", "p", "p_adjusted", "distinguishable",
    "unit",
)  # fmt: skip
"""Of the table of differences."""


def difference_rows(comparison: StudyComparison) -> list[tuple[str | float, ...]]:
    """Give a row for each difference, in the order of `COLUMNS`."""
    return [
        (d.quantity, d.first, d.second, d.value, d.u, d.probability_positive, d.p, d.p_adjusted, int(d.distinguishable),
         unit_of(d.quantity) or UNIT_1)
        for entry in comparison.compared.values() for d in entry.comparison.differences()
    ]  # fmt: skip


def write_differences(comparison: StudyComparison, path: Path) -> None:
    """Write the table of differences.

    Raises
    ------
    StudyError
        The disk refuses.
    """
    forms = dict(difference=".8g", u=".4g", probability_positive=".4f", p=".4g", p_adjusted=".4g")
    rows = ([format(cell, forms.get(name, "")) for name, cell in zip(COLUMNS, row, strict=True)]
            for row in difference_rows(comparison))  # fmt: skip
    write_table(path, (COLUMNS, *rows))


def _quantity_named(word: str) -> str:
    """Take the headings of the printed table for the columns they head."""
    quantity = headed(word)
    return word if quantity is None else quantity.column


def _of_lot(results: xr.Dataset, lot: str) -> xr.Dataset:
    if not lot:
        return results
    lots = [str(lot) for lot in results["lot"].values]
    if lot not in lots:
        raise StudyError(no_such_lot(lot, lots))
    return results.isel(sample=[k for k, label in enumerate(lots) if label == lot])


def _without(results: xr.Dataset, names: Sequence[str]) -> xr.Dataset:
    if not names:
        return results
    known = [str(name) for name in results["sample"].values]
    for name in names:
        if name not in known:
            raise StudyError(f"no sample '{name}' to leave out; {did_you_mean(name, known)}")
    return results.isel(sample=[k for k, name in enumerate(known) if name not in names])


def _require(results: xr.Dataset, by: str, reference: str) -> None:
    """Refuse what holds for no quantity, once."""
    labels, _ = grouping(results, by)
    if not any(labels):
        key, needed = ("treatment", "a treatment") if by in _OF_TREATMENT else (by, f"a {by}")
        raise StudyError(
            f"no sample has {needed}, so there are no variants to compare: give {key} with each sample in study.toml "
            "and run it again, or choose another --by"
        )
    names = [str(name) for name in results["sample"].values]
    if reference and reference not in names:
        raise StudyError(f"no sample '{reference}' to compare with; {did_you_mean(reference, names)}")
    if reference and not labels[names.index(reference)]:
        raise StudyError(f"sample '{reference}' has no {by}; choose another --reference or --by")
