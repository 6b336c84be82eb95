"""One section a sample: what was found, how surely, what speaks against it, and how it came about."""

from __future__ import annotations

import math
from dataclasses import dataclass

import xarray as xr

from xrdorder.explanation.explanation import Explanation, explain
from xrdorder.quantities.formatting import concise, u_text, with_interval
from xrdorder.results.sample_file import StoredSample

SHOWN = (
    ("a_nm", "lattice parameter", "nm", 1.0),
    ("site_order", "site order", "", 1.0),
    ("S_a", "order of the niobium sites", "", 1.0),
    ("domain_size_nm", "domain size", "nm", 1.0),
    ("microstrain", "microstrain", "", 1.0),
    ("a15_fraction", "A15 fraction", "wt.%", 100.0),
)
"""Quantities of a section: name, words, unit, factor."""

PREDICTED = (
    ("tin_fraction", "tin content, estimated", "at.%", 100.0),
    ("Tc_K", "Tc, estimated", "K", 1.0),
    ("Bc2_4K2_T", "Bc2 at 4.2 K, estimated", "T", 1.0),
    ("Bc2_0K_T", "Bc2 at 0 K, estimated", "T", 1.0),
)
"""Estimates of a section, likewise."""
_SOURCES = 3


@dataclass(frozen=True)
class Line:
    """One quantity of a sample.

    Attributes
    ----------
    words, value, unit : str
        As printed; the uncertainty in brackets, or the 68 % interval.
    own : str
        Part of the uncertainty that no other sample shares; empty for predictions.
    sources : str
        What the uncertainty is largely made of.
    """

    words: str
    value: str
    unit: str
    own: str
    sources: str


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
    lines : tuple of Line
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
    lines: tuple[Line, ...]
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
        sample.status,
        sample.quality_words,
        " · ".join(word for word in words if word),
        () if sample.failed else tuple(_lines(told)),
        sample.flags,
        sample.assumptions,
        tuple(_provenance(told)),
        told.model,
        not sample.failed and "curves" in sample.groups,
    )


def _lines(told: Explanation) -> list[Line]:
    known = {quantity.name: quantity for quantity in told.quantities}
    found = []
    for name, words, unit, scale in SHOWN:
        q = known.get(name)
        if q is None or not math.isfinite(q.value):
            continue
        u = scale * q.u if math.isfinite(q.u) else math.nan
        sources = ", ".join(f"{s.title} {100.0 * (s.u / q.u) ** 2:.0f} %" for s in q.budget[:_SOURCES])
        own = u_text(scale * q.private) if q.private > 0.0 else ""
        found.append(Line(words, concise(scale * q.value, u), unit, own, sources))
    for name, words, unit, scale in PREDICTED:
        q = known.get(name)
        if q is not None and math.isfinite(q.value):
            value = with_interval(scale * q.value, scale * q.low, scale * q.high)
            found.append(Line(words, value, unit, "", "68 % interval, from all samples together"))
    return found


def _provenance(told: Explanation) -> list[str]:
    origin = told.provenance
    lines = [f"pattern {name}, SHA-256 {digest}" for name, digest in origin.input_sha256.items()]
    if origin.calibration:
        lines.append(f"calibration {origin.calibration}")
    if origin.version:
        lines.append(f"xrdorder {origin.version}, {origin.created}")
    if told.dopants:
        lines.append(f"dopants: {told.dopants}")
    return lines
