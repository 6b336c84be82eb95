"""Scans with Poisson noise, written as files of patterns with the truth beside them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from xrdorder.description.toml_text import as_toml
from xrdorder.files.atomic import write_text
from xrdorder.patterns import write_pattern
from xrdorder.profiles import Instrument
from xrdorder.simulation.expected_pattern import expected_pattern
from xrdorder.simulation.specimen_file import Described

NOTICE = "Simulated by the forward model of the fits: for planning, teaching and rehearsal, no measurement."
TRUTH_FORMATS = ("toml", "json")


def simulate_scan(specimen: Described, instrument: Instrument, seed: int | None = 0) -> xr.DataArray:
    """Simulate one scan.

    Parameters
    ----------
    specimen
    instrument
    seed
        Of the Poisson counts; None gives the expected counts without noise.

    Returns
    -------
    xarray.DataArray
        As `xrdorder.patterns.read_pattern` gives it.
    """
    pattern, _ = expected_pattern(specimen, instrument)
    return counted(pattern, seed)


def counted(pattern: xr.DataArray, seed: int | None) -> xr.DataArray:
    """Draw Poisson counts of expected ones; leave them as they are without a seed."""
    if seed is None:
        return pattern
    counts = np.random.default_rng(seed).poisson(pattern.values).astype(np.float64)
    return pattern.copy(data=counts).assign_coords(variance=("two_theta", np.maximum(counts, 1.0)))


def truth_of(specimen: Described, instrument: Instrument, seed: int | None) -> dict[str, Any]:
    """Everything that was put into a simulated scan."""
    table = specimen.table()
    return {
        "notice": NOTICE,
        "instrument": instrument.id,
        "radiation": instrument.radiation,
        "noise": "none, expected counts" if seed is None else f"Poisson, seed {seed}",
        **table,
        "lattice_nm": specimen.a_nm,
        "weight_fraction_a15": round(1.0 - sum(specimen.weight_fractions.values()), 12),
    }


def write_scan(
    specimen: Described, instrument: Instrument, path: Path, seed: int | None = 0, truth_format: str = "toml"
) -> tuple[Path, Path]:
    """Simulate a scan and write it, with the truth in a file of the same name beside it.

    Parameters
    ----------
    specimen
    instrument
    path
        Its ending says which format: text (.xy, .txt, .dat, .csv), powder CIF (.cif), NeXus (.nxs).
    seed
    truth_format
        One of `TRUTH_FORMATS`.

    Returns
    -------
    pattern, truth : Path

    Raises
    ------
    PatternError, StudyError
        The ending is not known, or a file cannot be written.
    """
    pattern = simulate_scan(specimen, instrument, seed)
    write_pattern(pattern, path)
    return path, write_truth(truth_of(specimen, instrument, seed), path, truth_format)


def write_truth(truth: Mapping[str, Any], beside: Path, truth_format: str = "toml") -> Path:
    """Write what was put in beside a file.

    Raises
    ------
    StudyError
        It cannot be written.
    """
    target = beside.with_name(f"{beside.stem}.truth.{truth_format}")
    if truth_format == "json":
        text = json.dumps(truth, indent=2, ensure_ascii=False) + "\n"
    else:
        text = f"# {NOTICE}\n" + toml_of(truth)
    write_text(target, text)
    return target


def toml_of(table: Mapping[str, Any]) -> str:
    """Write a table as TOML: values first, tables after them, tables within as inline ones."""
    plain = {key: value for key, value in table.items() if not isinstance(value, Mapping)}
    lines = [f"{key} = {as_toml(value)}" for key, value in plain.items()]
    for key, value in table.items():
        if isinstance(value, Mapping):
            lines += ["", f"[{key}]", *(f"{_quoted(name)} = {as_toml(entry)}" for name, entry in value.items())]
    return "\n".join(lines) + "\n"


def _quoted(key: str) -> str:
    return key if key.replace("-", "").replace("_", "").isalnum() else as_toml(key)

