"""What the collated results say of one sample: what was told of it, who shares its sources, what was noticed.

The description of the study is not needed. Everything is empty where the results are gone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr

from xrdorder.exceptions import StudyError
from xrdorder.quantities.formatting import DOSE_DIGITS, digits
from xrdorder.quantities.registry import ESTIMATED
from xrdorder.results.collate import read_results
from xrdorder.results.columns import TOLD_COLUMNS
from xrdorder.results.sample_file import StoredSample
from xrdorder.results.study_table import flags_of
from xrdorder.uncertainty import DEFAULT_LEVEL, PRIVATE

Sharing = Mapping[tuple[str, str], Sequence[str]]
"""Samples that carry a source, by its family and group."""


@dataclass(frozen=True)
class ToldColumn:
    """A column of `results.csv` that repeats the description: its value in words, empty where nobody told it."""

    column: str
    value: str
    meaning: str


def read_collated(folder: Path) -> xr.Dataset:
    """Read the results of a study; without samples where there are none, or where they are damaged."""
    try:
        return read_results(folder)
    except StudyError:  # what is lost is told where results are shown; a sample is explained without it
        return xr.Dataset(coords={"sample": np.array([], dtype=object)})


def statuses(results: xr.Dataset) -> dict[str, str]:
    """How each sample was fitted, by its name."""
    texts = results["status"].values if "status" in results else ()
    return dict(zip(map(str, results["sample"].values), map(str, texts), strict=True))


def with_collated(sample: StoredSample, results: xr.Dataset) -> StoredSample:
    """Give a stored sample what needs the whole study: flags, assumptions, estimates."""
    names = results["sample"].values.tolist()
    if sample.name not in names:
        return sample
    row = results.isel(sample=names.index(sample.name))
    flags = flags_of(str(row["flag_messages"].item())) if "flag_messages" in row else []
    assumptions = sample.assumptions
    if "assumptions" in row:
        assumptions = tuple(filter(None, str(row["assumptions"].item()).split("; ")))
    return replace(
        sample,
        flags=tuple(dict.fromkeys([*sample.flags, *flags])),
        assumptions=assumptions,
        estimates=estimates_of(results, names.index(sample.name)),
    )


def told_columns(results: xr.Dataset, name: str) -> Iterator[ToldColumn]:
    """What the description told of a sample."""
    for k in np.flatnonzero(results["sample"].values == name)[:1]:
        for column, of in TOLD_COLUMNS.items():
            if of not in results.variables:
                continue
            variable = results[of]
            source = f"; {variable.attrs['source']}" if variable.attrs.get("source") else ""
            meaning = f"{variable.attrs.get('long_name', '')}{source}"
            yield ToldColumn(column, told_text(column, variable.values[k], variable.attrs), meaning)


def sharers(results: xr.Dataset, sample: StoredSample) -> Sharing:
    """Samples that carry the shared sources of this one."""
    if "source_group" not in results:
        return {}
    groups, names = results["source_group"].transpose("source", "sample").values, results["sample"].values
    columns = {str(source): k for k, source in enumerate(results["source"].values)}
    holders: dict[tuple[str, str], dict[str, None]] = {}
    for source, group in zip(sample.contributions.sources, sample.contributions.groups, strict=True):
        if group != PRIVATE and source in columns and (carry := names[groups[columns[source]] == group]).size:
            holders.setdefault((source.split("/", 1)[0], group), {}).update(dict.fromkeys(map(str, carry)))
    return {key: tuple(of) for key, of in holders.items()}


def estimates_of(results: xr.Dataset, k: int) -> xr.Dataset:
    """What is estimated of one sample, by its place; without the relations that were asked of other wires only."""
    if "estimate_draws" not in results:
        return xr.Dataset()
    dimensions = {name: set(results.variables[name].dims) for name in results.data_vars}
    of_relations = [name for name, over in dimensions.items() if over - {"sample"} == {"relation"}]
    sample = results[["estimate_draws", "wire", "bc2_branches", *of_relations]].isel(sample=k)
    half = DEFAULT_LEVEL / 2.0
    dataset = xr.Dataset(coords={"target": np.array(ESTIMATED, dtype=object)})
    draws = sample["estimate_draws"].sel(target=list(ESTIMATED)).transpose("target", "draw").values
    known = np.isfinite(draws).any(axis=1)
    for kind, level in (("median", 0.5), ("low", 0.5 - half), ("high", 0.5 + half)):
        ends = np.full(len(draws), np.nan)
        ends[known] = np.nanquantile(draws[known].astype(float), level, axis=1)
        dataset[f"target_{kind}"] = "target", ends
    asked = sample["relation_reason"].values != "no result"
    attrs = {name: str(sample[name].item()) for name in ("wire", "bc2_branches")}
    return dataset.merge(sample[of_relations].isel(relation=asked)).assign_attrs(attrs)


_UNITS = {"hour": " h", "degree_Celsius": " °C", "m": " m"}


def told_text(column: str, value: object, attrs: Mapping[str, str], *, exactly: bool = False) -> str:
    """What was told, as it is printed: numbers rounded unless `exactly`, with their unit; empty where nobody told it.

    >>> hours = {"units": "hour"}
    >>> told_text("dose_h", 48.5696053, hours), told_text("dose_h", 48.5696053, hours, exactly=True)
    ('48.6 h', '48.5696053 h')
    """
    if not isinstance(value, float | np.floating):
        return str(value)
    if not np.isfinite(value):
        return ""
    rounded = DOSE_DIGITS if column.startswith("dose") else 5
    return f"{digits(float(value), 9 if exactly else rounded)}{_UNITS.get(attrs.get('units', ''), '')}"
