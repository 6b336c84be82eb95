"""What the collated results say of one sample: what was told of it, who shares its sources, what was noticed.

The description of the study is not needed. Everything is empty where the results are gone.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import xarray as xr

from xrdorder.files.sealed import read_sealed
from xrdorder.quantities.formatting import DOSE_DIGITS, digits
from xrdorder.quantities.registry import ESTIMATED
from xrdorder.results.columns import TOLD
from xrdorder.results.netcdf import read_root
from xrdorder.results.sample_file import StoredSample
from xrdorder.uncertainty import DEFAULT_LEVEL, PRIVATE

Sharing = Mapping[tuple[str, str], Sequence[str]]
"""Samples that carry a source, by its family and group."""


@dataclass(frozen=True)
class ToldColumn:
    """A column of `results.csv` that repeats the description: its value in words, empty where nobody told it."""

    column: str
    value: str
    meaning: str


@dataclass(frozen=True)
class Collated:
    """What stands in the results of a study.

    Attributes
    ----------
    statuses : mapping of str to str
        By sample.
    told : mapping of str to tuple of ToldColumn
        By sample.
    flags : mapping of str to tuple of (name, message)
        By sample; with those that need the whole study.
    assumptions : mapping of str to tuple of str
        By sample; with what estimates are anchored to.
    holders : mapping of (source, group) to tuple of str
        Samples that carry a shared source.
    estimates : mapping of str to Dataset
        What is estimated of a sample: median and limits over ``target``, and what each relation says over ``relation``.
    """

    statuses: Mapping[str, str] = field(default_factory=dict)
    told: Mapping[str, tuple[ToldColumn, ...]] = field(default_factory=dict)
    flags: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    assumptions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    holders: Mapping[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)
    estimates: Mapping[str, xr.Dataset] = field(default_factory=dict)

    def sharing(self, sample: StoredSample) -> Sharing:
        """Samples that carry the shared sources of this one."""
        groups: dict[tuple[str, str], dict[str, None]] = {}
        for source, group in zip(sample.contributions.sources, sample.contributions.groups, strict=True):
            if group != PRIVATE and (source, group) in self.holders:
                key = (source.split("/", 1)[0], group)
                groups.setdefault(key, {}).update(dict.fromkeys(self.holders[source, group]))
        return {key: tuple(names) for key, names in groups.items()}


def read_collated(path: Path) -> Collated:
    """Read the results of a study; empty where there are none, or where they are damaged."""
    try:
        return _of(read_root(read_sealed(path)))
    except Exception:  # what is lost is told by `read_results`; a sample is explained without it
        return Collated()


def _of(results: xr.Dataset) -> Collated:
    samples = [str(name) for name in results["sample"].values]
    sources = [str(name) for name in results["source"].values]
    groups = np.asarray(results["source_group"].transpose("sample", "source").values)
    holders: dict[tuple[str, str], list[str]] = {}
    for k, i in np.argwhere(groups != PRIVATE):
        holders.setdefault((sources[i], str(groups[k, i])), []).append(samples[k])
    there = {column: results[name] for column, name in TOLD.items() if name in results.variables}
    columns = [(column, variable.values, variable.attrs) for column, variable in there.items()]
    messages = results["flag_messages"].values if "flag_messages" in results.variables else ["[]"] * len(samples)
    return Collated(
        dict(zip(samples, map(str, results["status"].values), strict=True)),
        {
            name: tuple(_told(column, values[k], attrs) for column, values, attrs in columns)
            for k, name in enumerate(samples)
        },
        {name: tuple((str(a), str(b)) for a, b in json.loads(messages[k])) for k, name in enumerate(samples)},
        _assumptions(results),
        {key: tuple(names) for key, names in holders.items()},
        {name: estimates_of(results, k) for k, name in enumerate(samples)},
    )


def _assumptions(results: xr.Dataset) -> dict[str, tuple[str, ...]]:
    if "assumptions" not in results:
        return {}
    pairs = zip(results["sample"].values, results["assumptions"].values, strict=True)
    return {str(name): tuple(filter(None, str(texts).split("; "))) for name, texts in pairs}


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


def _told(column: str, value: object, attrs: Mapping[str, str]) -> ToldColumn:
    source = f"; {attrs['source']}" if attrs.get("source") else ""
    return ToldColumn(column, told_text(column, value, attrs), f"{attrs.get('long_name', '')}{source}")


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
