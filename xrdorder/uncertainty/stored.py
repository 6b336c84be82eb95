"""Tables of contributions as datasets: of one sample, and of all samples of a study together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from xrdorder.uncertainty.contributions import Contributions

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]


def to_dataset(contributions: Contributions) -> xr.Dataset:
    """Table of one sample as a dataset: ``contribution`` (quantity, source) and ``source_group`` (source)."""
    import xarray as xr

    return xr.Dataset(
        {
            "contribution": (
                ("quantity", "source"),
                contributions.values.copy(),
                {"long_name": "signed standard contribution, in the unit of the quantity"},
            ),
            "source_group": (
                ("source",),
                np.array(contributions.groups, dtype=object),
                {"long_name": "who shares the source; empty: private to the sample"},
            ),
        },
        coords={
            "quantity": ("quantity", np.array(contributions.quantities, dtype=object)),
            "source": ("source", np.array(contributions.sources, dtype=object)),
        },
    )


def from_dataset(dataset: xr.Dataset) -> Contributions:
    """Table of one sample from a dataset written by `to_dataset`, or from one sample of `collate`.

    Columns that are zero for every quantity are dropped; a quantity that was not given comes back as NaN.
    """
    return _table(
        [str(name) for name in dataset["quantity"].values],
        [str(name) for name in dataset["source"].values],
        np.array(dataset["contribution"].transpose("quantity", "source").values, dtype=np.float64),
        [str(name) for name in dataset["source_group"].values],
    )


def separate(dataset: xr.Dataset) -> dict[str, Contributions]:
    """Tables of all samples from a dataset of `collate`, each as `from_dataset` gives it."""
    quantities = [str(name) for name in dataset["quantity"].values]
    sources = [str(name) for name in dataset["source"].values]
    values = np.array(dataset["contribution"].transpose("sample", "quantity", "source").values, dtype=np.float64)
    groups = dataset["source_group"].transpose("sample", "source").values
    return {
        str(sample): _table(quantities, sources, values[k], [str(name) for name in groups[k]])
        for k, sample in enumerate(dataset["sample"].values)
    }


def _table(quantities: Sequence[str], sources: Sequence[str], values: Array, groups: Sequence[str]) -> Contributions:
    # A quantity that a sample of a collated table does not have, or that could not be given, is NaN.
    values[np.any(np.isnan(values), axis=1)] = np.nan
    keep = np.flatnonzero(np.any(values != 0.0, axis=0)).tolist()
    return Contributions(
        tuple(quantities), tuple(sources[k] for k in keep), values[:, keep], tuple(groups[k] for k in keep)
    )


def collate(tables: Mapping[str, Contributions]) -> xr.Dataset:
    """Join the tables of many samples: ``contribution`` (sample, quantity, source) and ``source_group``.

    ``source_group`` has the dimensions (sample, source).

    A source a sample does not have contributes 0 and has the group ``""``; a quantity it does not have is
    NaN.

    Raises
    ------
    ValueError
        A source stands under two groups in one sample, which the stored form cannot hold.
    """
    import xarray as xr

    quantities = list(dict.fromkeys(name for table in tables.values() for name in table.quantities))
    sources = list(dict.fromkeys(name for table in tables.values() for name in table.sources))
    values = np.full((len(tables), len(quantities), len(sources)), np.nan)
    groups = np.full((len(tables), len(sources)), "", dtype=object)
    for i, (sample, table) in enumerate(tables.items()):
        if len(set(table.sources)) != len(table.sources):
            twice = next(name for name in table.sources if table.sources.count(name) > 1)
            raise ValueError(
                f"sample {sample!r}: source {twice!r} stands under two groups; "
                f"name them {twice}/1 and {twice}/2"
            )
        columns = [sources.index(name) for name in table.sources]
        rows = [quantities.index(name) for name in table.quantities]
        values[i, rows, :] = 0.0
        values[i, np.array(rows, dtype=int)[:, None], columns] = table.values
        groups[i, columns] = np.array(table.groups, dtype=object)
    return xr.Dataset(
        {
            "contribution": (
                ("sample", "quantity", "source"),
                values,
                {"long_name": "signed standard contribution, in the unit of the quantity"},
            ),
            "source_group": (
                ("sample", "source"),
                groups,
                {"long_name": "who shares the source; empty: private to the sample"},
            ),
        },
        coords={
            "sample": ("sample", np.array(list(tables), dtype=object)),
            "quantity": ("quantity", np.array(quantities, dtype=object)),
            "source": ("source", np.array(sources, dtype=object)),
        },
    )
