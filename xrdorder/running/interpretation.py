"""From what a fit found to what is stored of the sample: material and verdict.

A fit is dear, its interpretation cheap. What a fit hands on is therefore stored beside everything else (the
group ``fitted`` of a sample file), so that a sample whose strain, dopant uncertainty, tin scale or relations have
changed is interpreted again without being fitted again. What the interpretation left as it was stands there once.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from xrdorder import uncertainty
from xrdorder.description.own_files import OwnFiles
from xrdorder.description.sample import Sample
from xrdorder.exceptions import Flag
from xrdorder.material import characterise
from xrdorder.quantities.grades import CARE, UNFIT
from xrdorder.quantities.records import by_quantity
from xrdorder.results.sample_file import StoredSample
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

SEED = 0
"""Seed of all Monte Carlo draws: one for all studies, so that common sources are drawn alike everywhere."""

GROUP = "fitted"
"""Group of a sample file that holds what the fit handed on."""

_IN_FILE = {"quantity": "fitted_quantity", "source": "fitted_source"}
"""Dimensions of the group: in netCDF a group inherits those of the root, and those hold what was made of the fit."""


class FitContext(NamedTuple):
    """What the interpretation must know of a fit beside the quantities that are stored of it.

    Attributes
    ----------
    a15 : str
        Name of the A15 phase.
    tin_held : float
    by_tin : mapping of str to float
        As of `xrdorder.fitting.PatternFit`.
    two_theta_range : (float, float)
        First and last angle, degrees.
    radiation : str
    mount : str
        As the pattern file says, empty where it does not.
    temperature_c : float
        As the pattern file says, NaN where it does not.
    """

    a15: str
    tin_held: float
    by_tin: Mapping[str, float]
    two_theta_range: tuple[float, float]
    radiation: str
    mount: str = ""
    temperature_c: float = math.nan


def fitted_group(fit: StoredSample, context: FitContext, result: StoredSample) -> xr.Dataset:
    """Table for storage: what the interpretation changed as the fit had it, and the names of all that it left."""
    table, names = fit.contributions, list(fit.values)
    other = [name for name in names if not _kept(name, fit, result)]
    records = [record.to_json() for name, record in fit.records.items() if result.records.get(name) != record]
    changed = table.select(name for name in table.quantities if name in other)
    dataset = uncertainty.to_dataset(changed).rename(_IN_FILE)
    columns = _columns(_joined(result, table.quantities, changed))
    dataset["place"] = ("column", [columns.index(column) for column in _columns(table) if column in columns])
    dataset = dataset.assign_coords(name=np.array(names, dtype=object), changed=np.array(other, dtype=object))
    dataset["number"] = ("changed", np.array([fit.values[name] for name in other], dtype=float))
    dataset["with_table"] = ("name", np.array([name in table.quantities for name in names], dtype=np.int8))
    dataset["record"] = (
        "record_of",
        np.array(records, dtype=object),
        {"long_name": "how the fit computed a quantity, where the interpretation changed that; JSON"},
    )
    dataset["recorded"] = ("recorded_name", np.array(list(fit.records), dtype=object))
    dataset["number"].attrs["long_name"] = "quantity of the fit; unit in its name, fractions as fractions"
    dataset.attrs = {
        "flags": json.dumps(fit.flags, ensure_ascii=False),
        "quality_words": json.dumps(fit.quality_words, ensure_ascii=False),
        **context._asdict(),
        "by_tin": json.dumps(dict(context.by_tin)),
        "two_theta_range": list(context.two_theta_range),
        "mount": json.dumps(context.mount, ensure_ascii=False),
    }
    return dataset


def _kept(name: str, fit: StoredSample, result: StoredSample) -> bool:
    """Whether the result holds a quantity as the fit had it, with the same contributions."""
    same = np.array_equal(result.values.get(name, math.nan), fit.values[name], equal_nan=True)
    both = (fit.contributions, result.contributions)
    tables = [table.select([name] * (name in table.quantities)) for table in both]
    rows = [dict(zip(zip(t.sources, t.groups, strict=True), t.values.T.tolist(), strict=True)) for t in tables]
    return bool(same and tables[0].quantities == tables[1].quantities and rows[0] == rows[1])


def fit_of(stored: StoredSample) -> tuple[StoredSample, FitContext]:
    """Take out of a stored sample what its fit alone had found: what `fitted_group` made, and what the result kept.

    Raises
    ------
    KeyError, ValueError
        It is not there, or is no such table.
    """
    dataset = stored.groups[GROUP]
    attrs = dataset.attrs
    low, high = (float(angle) for angle in attrs["two_theta_range"])
    names = [str(name) for name in dataset["name"].values]
    values = {name: stored.values.get(name, math.nan) for name in names}
    values |= dict(zip(dataset["changed"].values.tolist(), dataset["number"].values.tolist(), strict=True))
    changed = uncertainty.from_dataset(dataset.rename({b: a for a, b in _IN_FILE.items()}))
    with_table = [name for name, yes in zip(names, dataset["with_table"].values, strict=True) if yes]
    table, order = _joined(stored, with_table, changed), dataset["place"].values.tolist()
    records = by_quantity(map(str, dataset["record"].values.tolist()))
    fit = replace(
        stored,
        values=values,
        contributions=Contributions(
            table.quantities,
            tuple(table.sources[k] for k in order),
            table.values[:, order],
            tuple(table.groups[k] for k in order),
        ),
        records={name: records.get(name) or stored.records[name] for name in dataset["recorded"].values.tolist()},
        flags=tuple((str(name), str(message)) for name, message in json.loads(attrs["flags"])),
        assumptions=(),
        quality_words=json.loads(attrs["quality_words"]),
        tables=xr.Dataset(),
    )
    return fit, FitContext(
        a15=str(attrs["a15"]),
        tin_held=float(attrs["tin_held"]),
        by_tin={str(name): float(slope) for name, slope in json.loads(attrs["by_tin"]).items()},
        two_theta_range=(low, high),
        radiation=str(attrs["radiation"]),
        mount=json.loads(attrs["mount"]),
        temperature_c=float(attrs["temperature_c"]),
    )


def _joined(stored: StoredSample, quantities: Sequence[str], changed: Contributions) -> Contributions:
    """Table of the fit from what the result holds of it and from what was changed, but for the order of its columns."""
    rest = stored.contributions.select(name for name in quantities if name not in changed.quantities)
    return rest.merge(changed).select(quantities)


def _columns(table: Contributions) -> list[tuple[str, str]]:
    return list(zip(table.sources, table.groups, strict=True))


def interpret(fit: StoredSample, context: FitContext, sample: Sample, own: OwnFiles) -> StoredSample:
    """Say what a fit means.

    Parameters
    ----------
    fit : StoredSample
        What is stored of the fit alone.
    context : FitContext
    sample : Sample
        Its description.
    own : OwnFiles

    Returns
    -------
    StoredSample
        The fit with quantities of the material, flags, assumptions and verdict; unchanged without an A15.

    Raises
    ------
    XrdorderError
        The description contradicts itself, or a file of the laboratory cannot be used.
    """
    result = fit if "a_nm" not in fit.values else _of_a15(fit, context, sample, own)
    return replace(result, groups={**fit.groups, GROUP: fitted_group(fit, context, result)})


def _of_a15(fit: StoredSample, context: FitContext, sample: Sample, own: OwnFiles) -> StoredSample:
    material = characterise(
        fit.values,
        fit.contributions,
        sample.specimen(context.mount, context.temperature_c),
        radiation=radiation(context.radiation),
        a15=context.a15,
        tin_held=context.tin_held,
        by_tin=context.by_tin,
        two_theta_range=context.two_theta_range,
        scale=own.scale(),
        records=fit.records,
    )
    return replace(
        fit,
        quality_words=weighed_words(fit.quality_words, material.flags),
        values=material.values,
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
