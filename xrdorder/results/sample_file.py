"""One small netCDF file a sample: everything the fit found, and where it came from.

The root group holds the tables that later steps need: ``value`` and ``contribution`` (quantity, source), ``record``
(how each quantity was computed), and the provenance as attributes. The groups ``curves``, ``lines``, ``phases``,
``parameters`` hold the fit itself, ``cross_checks`` lattice and order by other routes, ``single_lines`` lines of the
A15 fitted one by one, ``fitted`` what the interpretation changed of the fit: the rest stands in the root alone. Every
file is ordinary netCDF-4 with a checksum behind it (`xrdorder.files.sealed`); it is written whole or not at all.
"""

import io
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields
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

FORMAT = 8
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
    facts : mapping
        What the interpretation asks of the fit beside its quantities, fit for JSON: name of the A15 (`a15`), the tin
        it was held at and what moves with it (`tin_held`, `by_tin`), `two_theta_range` in degrees, `radiation`, and
        `mount` and `temperature_c` as the pattern file says (empty and NaN where it does not).
    estimates : Dataset
        What the joint estimates and relations say of the sample, where the collated results were read as well (dims
        target and relation); not in the file.
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
    facts: Mapping[str, Any] = field(default_factory=dict)
    estimates: xr.Dataset = field(default_factory=xr.Dataset)
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
    root = tables_of(sample.values, sample.contributions, sample.records)
    root["quality"] = (
        "figure_of_fit",
        np.array(list(sample.quality.values()), dtype=float),
        {"long_name": "figures of the fit as a whole"},
    )
    return root.assign_coords(figure_of_fit=_texts(sample.quality)).assign_attrs(_attributes(sample))


def tables_of(
    values: Mapping[str, float], contributions: Contributions, records: Mapping[str, Record]
) -> xr.Dataset:
    """Tables of quantities as they are stored: values, signed contributions by source, how each was computed."""
    tabled, plain_names = contributions.quantities, [name for name in values if name not in contributions.quantities]
    variables: dict[str, tuple[str | tuple[str, str], NDArray[Any], str]] = {
        "value": (
            "quantity", np.array([values.get(name, np.nan) for name in tabled], dtype=float),
            "value of the quantity, fractions as fractions",
        ),
        "contribution": (
            ("quantity", "source"), contributions.values,
            "signed standard contribution of the source, in the unit of the quantity",
        ),
        "source_group": (
            "source", _texts(contributions.groups), "who shares the source; empty: private to the sample"
        ),
        # names without an uncertainty table (bounds, counts) are kept beside those with one
        "plain_value": (
            "plain_quantity", np.array([values[name] for name in plain_names], dtype=float),
            "value of a quantity without an uncertainty table",
        ),
        "record": (
            "recorded_quantity", _texts(record.to_json() for record in records.values()),
            "how the quantity was computed: formula, inputs, numbers, source; JSON",
        ),
    }  # fmt: skip
    tables = xr.Dataset(
        {name: (over, numbers, {"long_name": meaning}) for name, (over, numbers, meaning) in variables.items()},
        coords={
            "quantity": _texts(tabled),
            "source": _texts(contributions.sources),
            "plain_quantity": _texts(plain_names),
            "recorded_quantity": _texts(records),
        },
    )
    tables["quantity_units"] = "quantity", *units_beside(map(unit_of, tabled), "value and contribution")
    tables["plain_quantity_units"] = "plain_quantity", *units_beside(map(unit_of, plain_names), "plain_value")
    return tables


def from_tables(
    table: Mapping[str, NDArray[Any]], before: str = ""
) -> tuple[dict[str, float], Contributions, dict[str, Record]]:
    """Read what `tables_of` made: values, contributions, records.

    Parameters
    ----------
    table : mapping of str to array
    before : str
        How the names of its dimensions begin.
    """
    quantity, source, plain_quantity = (
        table[f"{before}{name}"].tolist() for name in ("quantity", "source", "plain_quantity")
    )
    values = dict(zip(quantity, table["value"].tolist(), strict=True))
    values |= dict(zip(plain_quantity, table["plain_value"].tolist(), strict=True))
    contributions = Contributions(quantity, source, table["contribution"], table["source_group"].tolist())
    return values, contributions, by_quantity(map(str, table["record"].tolist()))


_AS_JSON = ("flags", "assumptions", "model", "facts", "input_sha256", "options")
"""Attributes of a file that are no plain texts."""


def _attributes(sample: StoredSample) -> dict[str, Any]:
    provenance = sample.provenance
    made = f"fitted and interpreted by xrdorder {provenance.version}".rstrip()
    told = {name: getattr(sample, name) for name in ("status", "quality_words", "trace", *_AS_JSON[:4])}
    return {
        **about(f"sample {sample.name}", made, provenance.created),
        "format": FORMAT,
        "sample": sample.name,
        **{
            name: json.dumps(value, ensure_ascii=False) if name in _AS_JSON else value
            for name, value in (told | vars(provenance)).items()
        },
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
        told = {name: json.loads(attrs[name]) if name in _AS_JSON else attrs[name] for name in attrs}
        values, contributions, records = from_tables(table)
        return StoredSample(
            name=told["sample"],
            status=told["status"],
            values=values,
            contributions=contributions,
            flags=tuple((name, message) for name, message in told["flags"]),
            assumptions=tuple(told["assumptions"]),
            quality=dict(zip(table["figure_of_fit"].tolist(), table["quality"].tolist(), strict=True)),
            groups=read_groups(content, groups) if groups else {},
            provenance=Provenance(**{entry.name: told[entry.name] for entry in fields(Provenance)}),
            quality_words=told["quality_words"],
            model=tuple(told["model"]),
            trace=told["trace"],
            records=records,
            facts=told["facts"],
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


def failure(name: str, reason: str, provenance: Provenance, trace: str = "") -> StoredSample:
    """Make the result of a sample that has none."""
    line = " ".join(reason.split())
    return StoredSample(name=name, status=f"{FAILED}{line}", provenance=provenance, trace=trace)
