"""The table of a study as the page shows it: cells to read and numbers to sort by."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

import xarray as xr

from xrdorder.quantities.formatting import MISSING, concise, u_text, with_interval
from xrdorder.quantities.grades import trust


@dataclass(frozen=True)
class Heading:
    """A column: words, unit, what it means, and whether it sorts by number."""

    words: str
    unit: str
    meaning: str
    numeric: bool = True


@dataclass(frozen=True)
class Cell:
    """A cell: what is read, and what it is sorted by (empty: nothing, last)."""

    text: str
    key: str = ""


HEADINGS = (
    Heading("sample", "", "name in study.toml", numeric=False),
    Heading("lot", "", "wire lot", numeric=False),
    Heading("treatment", "", "heat treatment, °C over hours", numeric=False),
    Heading("a", "nm", "lattice parameter at 22.5 °C"),
    Heading("order", "", "site order"),
    Heading("tin", "at.%", "tin by the lattice, uncertainty in all"),
    Heading("own u", "at.%", "part of the uncertainty of tin that no other sample shares: what counts in differences"),
    Heading("Tc", "K", "estimated, 68 % interval"),
    Heading("Bc2", "T", "estimated at 4.2 K, 68 % interval"),
    Heading("domains", "nm", "domain size, volume-weighted"),
    Heading("A15", "wt.%", "weight fraction among crystalline phases"),
    Heading("trust", "", "verdict on the fit", numeric=False),
    Heading("flags", "", "number of flags"),
)


def rows(results: xr.Dataset) -> list[tuple[Cell, ...]]:
    """Give a row of cells for each sample, in the order of `HEADINGS`."""
    return [_row(results.isel(sample=k)) for k in range(results.sizes["sample"])]


def _row(one: xr.Dataset) -> tuple[Cell, ...]:
    def number(name: str) -> float:
        return float(one[name].item()) if name in one else math.nan

    def measured(name: str, scale: float = 1.0) -> Cell:
        value = scale * number(name)
        return Cell(concise(value, scale * number(f"u_{name}")), _key(value))

    def predicted(name: str, stem: str, unit: str) -> Cell:
        value = number(name)
        low, high = (number(f"{stem}_{end}_{unit}") for end in ("low", "high"))
        return Cell(with_interval(value, low, high), _key(value))

    own = number("u_tin_independent_at_percent")
    flags = json.loads(str(one["flag_messages"].item()))
    words = str(one["quality"].item())
    verdict = trust(words) if words else str(one["status"].item())
    texts = [str(one[name].item()) for name in ("sample", "lot", "treatment")]
    return (
        *(Cell(text or MISSING, text) for text in texts),
        measured("a_nm"),
        measured("site_order"),
        measured("tin_at_percent"),
        Cell(u_text(own), _key(own)),
        predicted("Tc_K", "Tc", "K"),
        predicted("Bc2_4K2_T", "Bc2_4K2", "T"),
        measured("domain_size_nm"),
        measured("a15_fraction", 100.0),
        Cell(verdict, verdict),
        Cell(str(len(flags)), str(len(flags))),
    )


def _key(value: float) -> str:
    return f"{value:.10g}" if math.isfinite(value) else ""
