"""From what a fit found to what is stored of the sample: material and verdict.

A fit is dear, its interpretation cheap. What a fit hands on is therefore stored beside everything else (the group
``fitted`` of a sample file), so that a sample whose strain, dopant uncertainty, tin scale or relations have changed is
interpreted again without being fitted again. What the interpretation left as it was stands in the file once.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from xrdorder.description.own_files import OwnFiles
from xrdorder.description.sample import Sample
from xrdorder.exceptions import Flag
from xrdorder.material import characterise
from xrdorder.quantities.grades import CARE, UNFIT
from xrdorder.results.sample_file import StoredSample, from_tables, tables_of
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

GROUP = "fitted"
"""Group of a sample file that holds what the fit handed on."""

_BEFORE = "fitted_"
"""How dimensions of the group begin: in netCDF a group inherits those of the root, which hold what was made of it."""


def handed_on(fit: StoredSample, result: StoredSample) -> xr.Dataset:
    """Table for storage of what a fit handed on: what the interpretation changed, and the names of all that it left.

    Parameters
    ----------
    fit, result : StoredSample
        The sample before and after its interpretation.
    """
    table, names = fit.contributions, list(fit.values)
    changed = table.select(name for name in table.quantities if not _kept(name, fit, result))
    values = {name: value for name, value in fit.values.items() if not _kept(name, fit, result)}
    records = {name: record for name, record in fit.records.items() if result.records.get(name) != record}
    dataset = tables_of(values, changed, records)
    dataset = dataset.rename({name: f"{_BEFORE}{name}" for name in dataset.dims})
    columns = _columns(_joined(result, names, changed))
    dataset["place"] = "column", [columns.index(column) for column in _columns(table) if column in columns]
    for over, all_names in (("name", names), ("record_name", fit.records)):
        dataset[over] = over, np.array(list(all_names), dtype=object)
    told = {"flags": fit.flags, "quality_words": fit.quality_words}
    return dataset.assign_attrs({key: json.dumps(value, ensure_ascii=False) for key, value in told.items()})


def fit_of(stored: StoredSample) -> StoredSample:
    """Give a stored sample as its fit handed it on (`handed_on`), read with its groups.

    Raises
    ------
    KeyError, ValueError
        What the fit handed on is not there, or is no such table.
    """
    group = stored.groups[GROUP]
    names, record_names = (group[over].values.tolist() for over in ("name", "record_name"))
    arrays = {str(name): variable.values for name, variable in group.variables.items()}
    values, changed, records = from_tables(arrays, _BEFORE)
    table, order = _joined(stored, [name for name in names if name not in values], changed), arrays["place"].tolist()
    table = table.select(name for name in names if name in table.quantities)
    return replace(
        stored,
        values={name: values[name] if name in values else stored.values[name] for name in names},
        contributions=Contributions(
            table.quantities,
            tuple(table.sources[k] for k in order),
            table.values[:, order],
            tuple(table.groups[k] for k in order),
        ),
        records={name: records.get(name) or stored.records[name] for name in record_names},
        flags=joined(json.loads(group.attrs["flags"])),
        quality_words=json.loads(group.attrs["quality_words"]),
        assumptions=(),
    )


def _kept(name: str, fit: StoredSample, result: StoredSample) -> bool:
    """Whether the result holds a quantity as the fit had it, with the same contributions."""
    same = np.array_equal(result.values.get(name, math.nan), fit.values[name], equal_nan=True)
    both = (fit.contributions, result.contributions)
    tables = [table.select([name] * (name in table.quantities)) for table in both]
    rows = [dict(zip(_columns(table), table.values.T.tolist(), strict=True)) for table in tables]
    return bool(same and tables[0].quantities == tables[1].quantities and rows[0] == rows[1])


def _joined(stored: StoredSample, names: Iterable[str], changed: Contributions) -> Contributions:
    """Table of the fit from what the result holds of it and from what was changed, in some order."""
    there = {*stored.contributions.quantities} - {*changed.quantities}
    return stored.contributions.select(name for name in names if name in there).merge(changed)


def _columns(table: Contributions) -> list[tuple[str, str]]:
    return list(zip(table.sources, table.groups, strict=True))


def interpret(fit: StoredSample, sample: Sample, own: OwnFiles) -> StoredSample:
    """Say what a fit means.

    Parameters
    ----------
    fit : StoredSample
        What is stored of the fit, with the facts that go with it.
    sample : Sample
        Its description.
    own : OwnFiles

    Returns
    -------
    StoredSample
        `fit` with quantities of the material, flags, assumptions and verdict; unchanged without an A15.

    Raises
    ------
    XrdorderError
        The description contradicts itself, or a file of the laboratory cannot be used.
    """
    result = fit if "a_nm" not in fit.values else _of_a15(fit, sample, own)
    return replace(result, groups={**fit.groups, GROUP: handed_on(fit, result)})


def _of_a15(fit: StoredSample, sample: Sample, own: OwnFiles) -> StoredSample:
    facts = dict(fit.facts)
    specimen = sample.specimen(facts.pop("mount"), facts.pop("temperature_c"))
    material = characterise(
        fit.values,
        fit.contributions,
        specimen,
        scale=own.scale(),
        records=fit.records,
        **facts | {"radiation": radiation(facts["radiation"]), "two_theta_range": tuple(facts["two_theta_range"])},
    )
    return replace(
        fit,
        quality_words=weighed_words(fit.quality_words, material.flags),
        values={**fit.values, **material.values},
        contributions=material.contributions,
        records=material.records,
        flags=joined(fit.flags, material.flags),
        assumptions=tuple(material.assumptions),
    )


REASONS = {
    "tin-outside-a15": "tin is outside the field of the A15",
    "tin-scale": "order and lattice contradict each other about tin",
    "order-above-one": "order exceeds one",
    "order-unusually-low": "order is lower than was ever measured in a wire",
    "niobium-lattice": "the Nb lattice parameter deviates from the reference",
    "strain-state": "tin depends on a strain that was not stated",
    "temperature-in-kelvin": "the specimen temperature may have been given in kelvin",
    "corrections-off": "corrections are switched off",
    "strain-gauge-absent": "the strain gauge is not in the pattern",
    "strain-gauge-blind": "the strain gauge does not show along the scattering vector",
}
"""Flags of the material that speak against a result, in the words of the verdict."""
_GRAVE = {"order-above-one"}  # no crystal does that: what was fitted is something else


def weighed_words(words: str, flags: Sequence[Flag]) -> str:
    """Add to the verdict of the fit what the material says against it."""
    flag_names = dict.fromkeys(flag.name for flag in flags if flag.name in REASONS)
    if not words or not flag_names:
        return words
    verdict, _, reasons = words.partition(": ")
    grave = [REASONS[name] for name in flag_names if name in _GRAVE]
    care = [REASONS[name] for name in flag_names if name not in _GRAVE]
    verdict = UNFIT if grave or verdict == UNFIT else CARE
    return f"{verdict}: " + "; ".join([*grave, *filter(None, [reasons]), *care])


def joined(*lists: Iterable[Any]) -> tuple[tuple[str, str], ...]:
    """Join flags; the same flag with the same message is kept once."""
    pairs = [(str(name), str(message)) for flags in lists for name, message in flags]
    return tuple(dict.fromkeys(pairs))
