"""One section a sample: what was found, how surely, what speaks against it, and how it came about."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from xrdorder.explanation.explanation import Explanation, explain, quantities_table
from xrdorder.quantities.tables import Table
from xrdorder.results.sample_file import StoredSample
from xrdorder.results.study_table import in_short


@dataclass(frozen=True)
class Section:
    """What the page says of a sample.

    Attributes
    ----------
    name, anchor : str
        The anchor is safe in a page whatever the name.
    status, quality : str
        Of the fit, and the verdict on it.
    about : str
        Lot, treatment, mount.
    results : str
        Lattice parameter, order and tin in one line.
    table : Table
        Its quantities.
    flags : tuple of (name, message)
    assumptions, provenance, model : tuple of str
    fitted : bool
        Whether there is a pattern to draw.
    """

    name: str
    anchor: str
    status: str
    quality: str
    about: str
    results: str
    table: Table
    flags: tuple[tuple[str, str], ...]
    assumptions: tuple[str, ...]
    provenance: tuple[str, ...]
    model: tuple[str, ...]
    fitted: bool


def section(sample: StoredSample, row: xr.Dataset, number: int) -> Section:
    """Make the section of a sample.

    Parameters
    ----------
    sample : StoredSample
        With its groups.
    row : Dataset
        Its row of the collated results.
    number : int
        Place in the study, for the anchor.
    """
    told = explain(sample)
    words = [str(row[name].item()) for name in ("lot", "treatment", "mount") if name in row]
    return Section(
        sample.name,
        f"sample-{number}",
        sample.status, sample.quality_words,
        " · ".join(word for word in words if word),
        " · ".join(in_short(row)),
        quantities_table(told), sample.flags, sample.assumptions, tuple(_provenance(told)),
        told.model, not sample.failed and "curves" in sample.groups,
    )  # fmt: skip


def _provenance(told: Explanation) -> list[str]:
    origin = told.sample.provenance
    lines = [f"pattern {name}, SHA-256 {digest}" for name, digest in origin.input_sha256.items()]
    if origin.calibration:
        lines.append(f"calibration {origin.calibration}")
    if origin.version:
        lines.append(f"xrdorder {origin.version}, {origin.created}")
    if told.dopants:
        lines.append(f"dopants: {told.dopants}")
    return lines
