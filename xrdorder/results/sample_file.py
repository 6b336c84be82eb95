"""One small netCDF file a sample: everything the fit found, and where it came from.

The root group holds the tables that later steps need: ``value`` and ``contribution`` (quantity, source), ``record``
(how each quantity was computed), ``relation_...`` (relation), ``target_...`` (target), and the provenance as
attributes. The groups ``curves``, ``lines``, ``phases``, ``parameters`` hold the fit itself, ``cross_checks`` lattice
and order by other routes, ``single_lines`` lines of the A15 fitted one by one, ``fitted`` what the interpretation
changed of the fit: the rest stands in the root alone. Every file is ordinary netCDF-4 with a checksum behind it
(`xrdorder.files.sealed`); it is written whole or not at all.
"""

import io
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.exceptions import StudyError
from xrdorder.files.atomic import disk_reason
from xrdorder.files.sealed import read_sealed, write_sealed
from xrdorder.quantities.records import Record, by_quantity
from xrdorder.quantities.registry import unit_of
from xrdorder.results.conventions import about, units_beside
from xrdorder.results.netcdf import arrays, netcdf, plain, read_groups
from xrdorder.uncertainty import Contributions

FORMAT = 7
"""Layout of the sample files; a file of another layout counts as not there and is made again."""

GROUPS = ("curves", "lines", "phases", "parameters", "cross_checks", "single_lines", "fitted")

OK, NO_A15, FAILED = "ok", "no A15", "failed: "
STATES = {
    OK: "the A15 was fitted",
    NO_A15: "the pattern was fitted and holds no A15; other phases have their lattices and amounts",
    FAILED.strip(): "nothing was fitted; the reason follows",
}
"""What stands in `status`."""


@dataclass(frozen=True)
class Provenance:
    """Where a result came from: enough to repeat it.

    Attributes
    ----------
    fingerprint : str
        Hash over input, options and version: a result with the same one need not be computed again. Empty
        when it must be, in any case.
    fit_fingerprint : str
        Hash over what the fit alone depends on: with the same one a result need only be interpreted again.
    input_sha256 : mapping of str to str
        SHA-256 of every input file by its name.
    version : str
        Version of the package.
    options : mapping
        Everything that was chosen, resolved, fit for JSON.
    calibration : str
        Identity of the instrument.
    created : str
        Time in UTC, ISO 8601.
    """

    fingerprint: str = ""
    fit_fingerprint: str = ""
    input_sha256: Mapping[str, str] = field(default_factory=dict)
    version: str = ""
    options: Mapping[str, Any] = field(default_factory=dict)
    calibration: str = ""
    created: str = ""


@dataclass(frozen=True)
class StoredSample:
    """The result of one sample, as stored.

    Attributes
    ----------
    name : str
    status : str
        "ok", "no A15", another word of the fit, or "failed: " and the reason.
    values : mapping of str to float
        Quantities by name, fractions as fractions.
    contributions : Contributions
        Their uncertainty by source and group.
    flags : tuple of (name, message)
    assumptions : tuple of str
        What was taken for granted because nobody said otherwise.
    quality : mapping of str to float
        Figures of the fit as a whole: r_wp, chi2_reduced and so on.
    tables : Dataset
        What published relations say: dims relation and target; attributes: kind of wire, quantity that served as tin.
    groups : mapping of str to Dataset
        "curves", "lines", "phases", "parameters" of the fit, "cross_checks" and "single_lines" where there are any;
        empty for a failure, and where a sample was read without them.
    provenance : Provenance
    quality_words : str
        How far the result can be trusted and why; empty where the fit says nothing of it.
    model : tuple of str
        What the model of the fit was made of, in words (`xrdorder.running.model_summary`).
    trace : str
        Python's account of an unexpected failure, for whoever looks into it.
    records : mapping of str to Record
        How each quantity was computed, and what only carried others.
    """

    name: str
    status: str
    values: Mapping[str, float] = field(default_factory=dict)
    contributions: Contributions = field(default_factory=Contributions.empty)
    flags: tuple[tuple[str, str], ...] = ()
    assumptions: tuple[str, ...] = ()
    quality: Mapping[str, float] = field(default_factory=dict)
    tables: xr.Dataset = field(default_factory=xr.Dataset)
    groups: Mapping[str, xr.Dataset] = field(default_factory=dict)
    provenance: Provenance = field(default_factory=Provenance)
    quality_words: str = ""
    model: tuple[str, ...] = ()
    trace: str = ""
    records: Mapping[str, Record] = field(default_factory=dict)

    @property
    def failed(self) -> bool:
        """Whether there is no result."""
        return self.status.startswith(FAILED)

    @property
    def curves(self) -> xr.Dataset:
        """Fitted curves over two_theta."""
        return self._group("curves")

    @property
    def lines(self) -> xr.Dataset:
        """Line list of all phases."""
        return self._group("lines")

    @property
    def cross_checks(self) -> xr.Dataset | None:
        """Lattice and order by independent routes over route; None where there are none."""
        return self.groups.get("cross_checks")

    @property
    def r_wp(self) -> float:
        """Weighted profile residual."""
        return self.quality.get("r_wp", np.nan)

    @property
    def chi2_reduced(self) -> float:
        """Reduced chi square."""
        return self.quality.get("chi2_reduced", np.nan)

    def u(self, quantity: str) -> float:
        """Standard uncertainty of a quantity; NaN where none is stored."""
        known = quantity in self.contributions.quantities
        return self.contributions.total(quantity) if known else np.nan

    def _group(self, name: str) -> xr.Dataset:
        if name not in self.groups:
            raise StudyError(
                f"sample '{self.name}': has no {name} (status '{self.status}'); look at its status"
            )
        return self.groups[name]


def write_sample(sample: StoredSample, path: Path) -> None:
    """Write a sample file, whole or not at all.

    Raises
    ------
    StudyError
        The disk refuses; the old file, if any, is untouched.
    """
    write_sealed(path, netcdf(_root(sample), sample.groups))


def _root(sample: StoredSample) -> xr.Dataset:
    contributions = sample.contributions
    plain_names = [name for name in sample.values if name not in contributions.quantities]
    root = xr.Dataset(
        {
            "value": (
                "quantity",
                np.array([sample.values.get(name, np.nan) for name in contributions.quantities], dtype=float),
                {"long_name": "value of the quantity, fractions as fractions"},
            ),
            "quantity_units": (
                "quantity",
                *units_beside(map(unit_of, contributions.quantities), "value and contribution"),
            ),
            "contribution": (
                ("quantity", "source"),
                contributions.values,
                {"long_name": "signed standard contribution of the source, in the unit of the quantity"},
            ),
            "source_group": (
                "source",
                _texts(contributions.groups),
                {"long_name": "who shares the source; empty: private to the sample"},
            ),
            # names without an uncertainty table (bounds, counts) are kept beside those with one
            "plain_value": (
                "plain_quantity",
                np.array([sample.values[name] for name in plain_names], dtype=float),
                {"long_name": "value of a quantity without an uncertainty table"},
            ),
            "record": (
                "recorded_quantity",
                _texts(record.to_json() for record in sample.records.values()),
                {"long_name": "how the quantity was computed: formula, inputs, numbers, source; JSON"},
            ),
            "plain_quantity_units": ("plain_quantity", *units_beside(map(unit_of, plain_names), "plain_value")),
            "quality": (
                "figure_of_fit",
                np.array(list(sample.quality.values()), dtype=float),
                {"long_name": "figures of the fit as a whole"},
            ),
        },
        coords={
            "quantity": _texts(contributions.quantities),
            "source": _texts(contributions.sources),
            "plain_quantity": _texts(plain_names),
            "recorded_quantity": _texts(sample.records),
            "figure_of_fit": _texts(sample.quality),
        },
    ).merge(sample.tables)
    return root.assign_attrs(_attributes(sample))


def _attributes(sample: StoredSample) -> dict[str, Any]:
    provenance = sample.provenance
    made = f"fitted and interpreted by xrdorder {provenance.version}".rstrip()
    return {
        **about(f"sample {sample.name}", made, provenance.created),
        "format": FORMAT,
        "sample": sample.name,
        "status": sample.status,
        "flags": json.dumps(sample.flags, ensure_ascii=False),
        "assumptions": json.dumps(sample.assumptions, ensure_ascii=False),
        "prediction": json.dumps(dict(sample.tables.attrs), ensure_ascii=False),
        "quality_words": sample.quality_words,
        "model": json.dumps(sample.model, ensure_ascii=False),
        "trace": sample.trace,
        "fingerprint": provenance.fingerprint,
        "fit_fingerprint": provenance.fit_fingerprint,
        "input_sha256": json.dumps(dict(provenance.input_sha256), ensure_ascii=False),
        "xrdorder_version": provenance.version,
        "options": json.dumps(dict(provenance.options), ensure_ascii=False, sort_keys=True),
        "calibration": provenance.calibration,
        "created": provenance.created,
    }


def _texts(names: Any) -> NDArray[np.object_]:
    return np.array([str(name) for name in names], dtype=object)


def read_sample(path: Path, *, groups: Collection[str] = GROUPS) -> StoredSample:
    """Read a sample file.

    Parameters
    ----------
    path : Path
    groups : collection of str
        Groups to read beside the tables, of those that are there; fewer are faster.

    Raises
    ------
    StudyError
        The file is missing, damaged, or of another layout.
    """
    try:
        content = read_sealed(path)
        with h5py.File(io.BytesIO(content), "r") as file:
            attrs = {key: plain(value) for key, value in file.attrs.items()}
            if attrs.get("format") != FORMAT:
                raise StudyError(
                    f"{path}: has layout {attrs.get('format')}, not {FORMAT}; run the study again to renew it"
                )
            table = arrays(file)
            tables = _tables(table)
        content_read = read_groups(content, groups) if groups else {}
        quantities = [str(name) for name in table["quantity"]]
        values = dict(zip(quantities, table["value"].tolist(), strict=True))
        values |= dict(zip(table["plain_quantity"].tolist(), table["plain_value"].tolist(), strict=True))
        return StoredSample(
            name=str(attrs["sample"]),
            status=str(attrs["status"]),
            values=values,
            contributions=Contributions(
                tuple(quantities),
                tuple(table["source"].tolist()),
                table["contribution"],
                tuple(table["source_group"].tolist()),
            ),
            flags=tuple((str(name), str(message)) for name, message in json.loads(attrs["flags"])),
            assumptions=tuple(str(text) for text in json.loads(attrs["assumptions"])),
            quality=dict(zip(table["figure_of_fit"].tolist(), table["quality"].tolist(), strict=True)),
            tables=tables.assign_attrs(json.loads(attrs["prediction"])),
            groups=content_read,
            provenance=Provenance(
                fingerprint=str(attrs["fingerprint"]),
                fit_fingerprint=str(attrs["fit_fingerprint"]),
                input_sha256=json.loads(attrs["input_sha256"]),
                version=str(attrs["xrdorder_version"]),
                options=json.loads(attrs["options"]),
                calibration=str(attrs["calibration"]),
                created=str(attrs["created"]),
            ),
            quality_words=str(attrs["quality_words"]),
            model=tuple(json.loads(attrs["model"])),
            trace=str(attrs["trace"]),
            records=by_quantity(map(str, table["record"].tolist())),
        )
    except FileNotFoundError:
        raise StudyError(f"{path}: no such result; run the study first") from None
    except OSError as error:
        raise StudyError(f"{path}: cannot be read ({disk_reason(error)}); run the study again to renew it") from error
    except StudyError:
        raise
    except Exception as error:  # whole, but not as this version writes it: no reader can know how it stumbles
        reason = " ".join(str(error).split()) or type(error).__name__
        raise StudyError(f"{path}: is damaged ({reason}); run the study again to renew it") from error


def stored_sample(path: Path) -> StoredSample | None:
    """Read a sample file without its groups; None where there is none that can be read."""
    try:
        return read_sample(path, groups=())
    except StudyError:
        return None


def _tables(table: Mapping[str, NDArray[Any]]) -> xr.Dataset:
    """Take the variables over relation and target out of the root."""
    coords = {name: table[name] for name in ("relation", "target") if name in table}
    variables = {
        name: (prefix, column)
        for name, column in table.items()
        if (prefix := name.split("_", 1)[0]) in coords and name != prefix
    }
    return xr.Dataset(variables, coords=coords)


def failure(name: str, reason: str, provenance: Provenance, trace: str = "") -> StoredSample:
    """Make the result of a sample that has none."""
    line = " ".join(reason.split())
    return StoredSample(name=name, status=f"{FAILED}{line}", provenance=provenance, trace=trace)
