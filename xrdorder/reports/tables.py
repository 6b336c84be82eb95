"""The table of a study as the page shows it: cells to read and numbers to sort by."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

import xarray as xr

from xrdorder.quantities.formatting import MISSING, concise, u_text, with_interval
from xrdorder.quantities.grades import trust
from xrdorder.quantities.registry import Quantity, column_name, shown, standing_in
from xrdorder.quantities.tables import Cell, Heading

_SHOWN = (*standing_in("study"), *standing_in("wide"))

HEADINGS = (
    Heading("sample", "", "name in study.toml", numeric=False),
    Heading("lot", "", "wire lot", numeric=False),
    Heading("treatment", "", "heat treatment, °C over hours", numeric=False),
    *(head for about in _SHOWN for head in about.heads()),
    Heading("trust", "", "verdict on the fit", numeric=False),
    Heading("flags", "", "number of flags"),
)


def rows(results: xr.Dataset) -> list[tuple[Cell, ...]]:
    """Give a row of cells for each sample, in the order of `HEADINGS`."""
    return [_row(results.isel(sample=k)) for k in range(results.sizes["sample"])]


def _row(one: xr.Dataset) -> tuple[Cell, ...]:
    flags = json.loads(str(one["flag_messages"].item()))
    words = str(one["quality"].item())
    verdict = trust(words) if words else str(one["status"].item())
    texts = [str(one[name].item()) for name in ("sample", "lot", "treatment")]
    return (
        *(Cell(text or MISSING, text) for text in texts),
        *(cell for about in _SHOWN for cell in _cells(one, about)),
        Cell(verdict, verdict),
        Cell(str(len(flags)), str(len(flags))),
    )


def _cells(one: xr.Dataset, about: Quantity) -> Iterator[Cell]:
    """Cells of a quantity: its value with uncertainty or interval, and the part that no other sample shares."""
    columns = {part: column_name(about, part) for part in about.parts}
    factor = shown(about.column).factor
    numbers = {part: factor * float(one[name].item()) if name in one else math.nan for part, name in columns.items()}
    if about.predicted:
        yield Cell(with_interval(numbers["median"], numbers["low"], numbers["high"]), _key(numbers["median"]))
    else:
        yield Cell(concise(numbers["value"], numbers["total"]), _key(numbers["value"]))
    if "independent" in numbers:
        yield Cell(u_text(numbers["independent"]), _key(numbers["independent"]))


def _key(value: float) -> str:
    return f"{value:.10g}" if math.isfinite(value) else ""
