"""How the numbers came about, for the methods part of a report: in words, with formulas, sources and libraries."""

from __future__ import annotations

from contextlib import suppress
from importlib.metadata import PackageMetadata, PackageNotFoundError, metadata

import numpy as np
import xarray as xr

from xrdorder.exceptions import UnknownNameError
from xrdorder.quantities.tables import Heading, Table
from xrdorder.relations import LABELS, Library

METHODS = (
    "Each pattern was fitted as a whole (Rietveld's method): emission lines, axial divergence, instrument from a "
    "certified powder, displacement of the specimen, lattice parameters, widths, amounts, displacement parameters and "
    "the contrast of the A15 sublattices, all free together; effects that the pattern does not ask for stay out.",
    "Site order is one less tin on niobium sites less niobium on tin sites. Tin, Tc and Bc2 are "
    "joint draws of one model of all samples: lattice parameter and order of each, what wires of a lot and of a study "
    "share, how published samples scatter about published relations, and what was measured of any wire.",
    "Uncertainties are standard (k = 1), made of signed contributions by source, each with the samples it is shared "
    "by. Tin, Tc and Bc2 are medians of the draws, with their 68 % intervals; differences are taken draw by draw.",
)


_USED = (
    "numpy", "scipy", "lmfit", "xarray", "matplotlib", "gemmi", "h5netcdf", "h5py", "pydantic", "jinja2", "click",
    "rich",
)  # fmt: skip
_LONG = 40  # letters of a licence; the whole text of one stands in some packages
PLOTTING_VERSION = "1.6.32"
PLOTTING_SHA256 = "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f"
"""Of the vendored plotting script, as it came from the npm registry."""


def relations_used(results: xr.Dataset, library: Library) -> Table:
    """List the relations that apply to at least one sample, and to how many; pairs and chains by their parts."""
    samples: dict[str, int] = {}
    for k, target in enumerate(results["relation_target"].values):
        count = int(np.sum(results["relation_reason"].values[:, k] == ""))
        for name in str(results["relation"].values[k]).removeprefix(f"{target}: ").split(" + "):
            if count:
                samples[name] = max(samples.get(name, 0), count)
    used = []
    for name in samples:
        with suppress(UnknownNameError):  # of another version, or of a file that is gone
            used.append(library.relation(name))
    return Table.by(
        used,
        (
            ("relation", lambda entry: entry.name), ("formula", lambda entry: entry.formula),
            ("source", lambda entry: f"{entry.source}, {entry.equation}" if entry.equation else entry.source),
            ("known", lambda entry: LABELS[entry.known]), (Heading("samples"), lambda entry: str(samples[entry.name])),
        ),
    )  # fmt: skip


def libraries() -> Table:
    """Libraries that the numbers were made with, and the licence of each, as its package says."""
    versions = []
    for name in _USED:
        with suppress(PackageNotFoundError):
            versions.append((name, (told := metadata(name))["Version"], _licence(told)))
    return Table.of(
        ["library", "version", "licence"],
        [*versions, ("uPlot (in this page)", PLOTTING_VERSION, "MIT, © Leon Sorokin")],
    )


def _licence(told: PackageMetadata) -> str:
    given = [told[key] for key in ("License-Expression", "License") if key in told]
    classes = [line for line in told.get_all("Classifier") or () if line.startswith("License")]
    short = [text for text in given if 0 < len(text) <= _LONG] or [line.split(" :: ")[-1] for line in classes]
    return short[0] if short else "see its package"
