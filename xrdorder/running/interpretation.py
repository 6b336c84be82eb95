"""From what a fit found to what is stored of the sample: material and verdict.

A fit is dear, its interpretation cheap. What a fit hands on is therefore stored beside everything else (`Fitted`, the
group ``fitted`` of a sample file), so that a sample whose strain, dopant uncertainty, tin scale or relations have
changed is interpreted again without being fitted again. What the interpretation left as it was stands there once.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr

from xrdorder import uncertainty
from xrdorder.description.own_files import OwnFiles
from xrdorder.description.sample import Sample
from xrdorder.exceptions import Flag
from xrdorder.material import characterise
from xrdorder.quantities.grades import CARE, UNFIT
from xrdorder.quantities.records import Record, by_quantity
from xrdorder.results.sample_file import StoredSample
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

SEED = 0
"""Seed of all Monte Carlo draws: one for all studies, so that common sources are drawn alike everywhere."""

GROUP = "fitted"
"""Group of a sample file that holds what the fit handed on."""

_IN_FILE = {"quantity": "fitted_quantity", "source": "fitted_source"}
"""Dimensions of the group: in netCDF a group inherits those of the root, and those hold what was made of the fit."""


@dataclass(frozen=True)
class Fitted:
    """What a fit hands on to the interpretation.

    Attributes
    ----------
    values : mapping of str to float
    contributions : Contributions
    flags : tuple of (name, message)
    quality_words : str
        Verdict of the fit alone.
    a15 : str
        Name of the A15 phase.
    tin_held : float
    by_tin : mapping of str to float
    two_theta_range : (float, float)
        First and last angle, degrees.
    radiation : str
    mount : str
        As the pattern file says, empty where it does not.
    temperature_c : float
        As the pattern file says, NaN where it does not.
    records : mapping of str to Record
        How the values were computed.
    """

    values: Mapping[str, float]
    contributions: Contributions
    flags: tuple[tuple[str, str], ...]
    quality_words: str
    a15: str
    tin_held: float
    by_tin: Mapping[str, float]
    two_theta_range: tuple[float, float]
    radiation: str
    mount: str = ""
    temperature_c: float = math.nan
    records: Mapping[str, Record] = field(default_factory=dict)

    def to_dataset(self, result: StoredSample) -> xr.Dataset:
        """Table for storage: what the interpretation changed as the fit had it, and the names of all that it left."""
        table, names = self.contributions, list(self.values)
        kept = {name for name in names if self._kept(name, result)}
        other = [name for name in names if name not in kept]
        records = [record.to_json() for name, record in self.records.items() if result.records.get(name) != record]
        changed = table.select(name for name in table.quantities if name in other)
        dataset = uncertainty.to_dataset(changed).rename(_IN_FILE)
        columns = _columns(_joined(result, table.quantities, changed))
        dataset["place"] = ("column", [columns.index(column) for column in _columns(table) if column in columns])
        dataset = dataset.assign_coords(name=np.array(names, dtype=object), changed=np.array(other, dtype=object))
        dataset["number"] = ("changed", np.array([self.values[name] for name in other], dtype=float))
        dataset["with_table"] = ("name", np.array([name in table.quantities for name in names], dtype=np.int8))
        dataset["record"] = (
            "record_of",
            np.array(records, dtype=object),
            {"long_name": "how the fit computed a quantity, where the interpretation changed that; JSON"},
        )
        dataset["recorded"] = ("recorded_name", np.array(list(self.records), dtype=object))
        dataset["number"].attrs["long_name"] = "quantity of the fit; unit in its name, fractions as fractions"
        dataset.attrs = {
            "flags": json.dumps(self.flags, ensure_ascii=False),
            "quality_words": json.dumps(self.quality_words, ensure_ascii=False),
            "a15": self.a15,
            "tin_held": self.tin_held,
            "by_tin": json.dumps(dict(self.by_tin)),
            "two_theta_range": list(self.two_theta_range),
            "radiation": self.radiation,
            "mount": json.dumps(self.mount, ensure_ascii=False),
            "temperature_c": self.temperature_c,
        }
        return dataset

    def _kept(self, name: str, result: StoredSample) -> bool:
        """Whether the result holds a quantity as the fit had it, with the same contributions."""
        same = np.array_equal(result.values.get(name, math.nan), self.values[name], equal_nan=True)
        both = (self.contributions, result.contributions)
        tables = [table.select([name] * (name in table.quantities)) for table in both]
        rows = [dict(zip(zip(t.sources, t.groups, strict=True), t.values.T.tolist(), strict=True)) for t in tables]
        return bool(same and tables[0].quantities == tables[1].quantities and rows[0] == rows[1])

    @classmethod
    def of_stored(cls, stored: StoredSample) -> Fitted:
        """Read what `to_dataset` made, and what the result holds as the fit had it.

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
        return cls(
            values=values,
            contributions=Contributions(
                table.quantities,
                tuple(table.sources[k] for k in order),
                table.values[:, order],
                tuple(table.groups[k] for k in order),
            ),
            flags=tuple((str(name), str(message)) for name, message in json.loads(attrs["flags"])),
            quality_words=json.loads(attrs["quality_words"]),
            a15=str(attrs["a15"]),
            tin_held=float(attrs["tin_held"]),
            by_tin={str(name): float(slope) for name, slope in json.loads(attrs["by_tin"]).items()},
            two_theta_range=(low, high),
            radiation=str(attrs["radiation"]),
            mount=json.loads(attrs["mount"]),
            temperature_c=float(attrs["temperature_c"]),
            records={name: records.get(name) or stored.records[name] for name in dataset["recorded"].values.tolist()},
        )


def _joined(stored: StoredSample, quantities: Sequence[str], changed: Contributions) -> Contributions:
    """Table of the fit from what the result holds of it and from what was changed, but for the order of its columns."""
    rest = stored.contributions.select(name for name in quantities if name not in changed.quantities)
    return rest.merge(changed).select(quantities)


def _columns(table: Contributions) -> list[tuple[str, str]]:
    return list(zip(table.sources, table.groups, strict=True))


def interpret(base: StoredSample, fitted: Fitted, sample: Sample, own: OwnFiles) -> StoredSample:
    """Say what a fit means.

    Parameters
    ----------
    base : StoredSample
        What is stored of the fit.
    fitted : Fitted
    sample : Sample
        Its description.
    own : OwnFiles

    Returns
    -------
    StoredSample
        `base` with quantities of the material, flags, assumptions and verdict; unchanged without an A15.

    Raises
    ------
    XrdorderError
        The description contradicts itself, or a file of the laboratory cannot be used.
    """
    result = base if "a_nm" not in fitted.values else _of_a15(base, fitted, sample, own)
    return replace(result, groups={**base.groups, GROUP: fitted.to_dataset(result)})


def _of_a15(base: StoredSample, fitted: Fitted, sample: Sample, own: OwnFiles) -> StoredSample:
    material = characterise(
        fitted.values,
        fitted.contributions,
        sample.specimen(fitted.mount, fitted.temperature_c),
        radiation=radiation(fitted.radiation),
        a15=fitted.a15,
        tin_held=fitted.tin_held,
        by_tin=fitted.by_tin,
        two_theta_range=fitted.two_theta_range,
        scale=own.scale(),
        records=fitted.records,
    )
    return replace(
        base,
        quality_words=weighed_words(fitted.quality_words, material.flags),
        values={**fitted.values, **material.values},
        contributions=material.contributions,
        records=material.records,
        flags=joined(fitted.flags, material.flags),
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
