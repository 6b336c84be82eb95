"""The table of a study as people read it: one record for the terminal, the page, a notebook and the table of a report."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Sequence

import xarray as xr

from xrdorder.quantities.formatting import MISSING, concise, interval
from xrdorder.quantities.grades import GRADES, grade
from xrdorder.quantities.tables import Cell, Heading, Table

FAILED = "failed: "
HEADINGS = (
    Heading("sample", "", "name in study.toml", numeric=False),
    Heading("lot", "", "wire lot", numeric=False, optional=4),
    Heading("treatment", "", "heat treatment, °C over hours", numeric=False, optional=3),
    Heading("a", "nm", "lattice parameter at 22.5 °C"),
    Heading("order", "", "site order"),
    Heading("tin", "at.%", "tin content of the A15 that Tc and Bc2 follow from"),
    Heading("independent u", "at.%", "part of the uncertainty of tin that no other sample shares", optional=2),
    Heading("Tc", "K", "estimated; in brackets half the 68 % interval"),
    Heading("Tc, 68 %", "K", "68 % interval of the estimate", optional=3),
    Heading("Bc2 4.2 K", "T", "estimated at 4.2 K, free of strain; in brackets half the 68 % interval"),
    Heading("Bc2, 68 %", "T", "68 % interval of the estimate", optional=3),
    Heading("domain size", "nm", "volume-weighted domain size", optional=1),
    Heading("A15", "wt.%", "weight fraction of the crystalline phases", optional=1),
    Heading("R_wp", "%", "weighted profile residual of the fit", optional=2),
    Heading("grade", "", "quality grade of the fit: A, B use with care, C do not use", numeric=False),
)
_NAMED, _LINE = 3, 96
_MOST_ROWS, _EXTREMES = 30, 8


def by_temperature(results: xr.Dataset) -> list[int]:
    """Places of the samples by wire lot, reaction temperature and time there; what has none stands last."""
    lots = [str(lot) for lot in results["lot"].values]
    places = {lot: k for k, lot in enumerate(dict.fromkeys(lots))}

    def key(k: int) -> tuple[float, ...]:
        numbers = (_number(results.isel(sample=k), name) for name in ("peak_c", "hold_at_peak_h"))
        return (places[lots[k]], *(x if math.isfinite(x) else math.inf for x in numbers))

    return sorted(range(results.sizes["sample"]), key=key)


def study_table(results: xr.Dataset) -> Table:
    """Give a row for each sample, by wire lot and reaction temperature, and remarks on them.

    The sign behind a grade is that of the remark below.
    """
    order = by_temperature(results)
    remarks = _remarks(results, order)
    signs: dict[str, list[str]] = {}
    for number, (_, samples) in enumerate(remarks, start=1):
        for sample in samples:
            signs.setdefault(sample, []).append(str(number))
    rows = [_row(results.isel(sample=k), signs) for k in order]
    notes = [f"{number}  {text}: {_names(samples)}" for number, (text, samples) in enumerate(remarks, start=1)]
    return Table(HEADINGS, tuple(rows), tuple(notes))


def extremes(table: Table) -> tuple[Table, str]:
    """Keep the samples with the lowest and highest Bc2 of a long table, and say how many are not shown."""
    if len(table.rows) <= _MOST_ROWS:
        return table, ""
    column = [heading.words for heading in table.head].index("Bc2 4.2 K")
    known = [k for k, row in enumerate(table.rows) if len(row) == len(table.head) and row[column].key]
    ranked = sorted(known, key=lambda k: float(table.rows[k][column].key))
    kept = sorted({*ranked[:_EXTREMES], *ranked[-_EXTREMES:]})
    words = f"{len(kept)} of {len(table.rows)} samples: those with the lowest and the highest Bc2"
    return Table(table.head, tuple(table.rows[k] for k in kept), table.notes, table.title), words


def study_words(results: xr.Dataset) -> str:
    """Say in one line how many samples were fitted, and how well.

    >>> empty = xr.Dataset({"status": ("sample", ["ok", "failed: no numbers"]), "quality": ("sample", ["trustworthy", ""])})
    >>> study_words(empty)
    '1 of 2 fitted · quality grades: 1 A, 0 B, 0 C'
    """
    statuses = [str(text) for text in results["status"].values]
    grades = [grade(str(text)) for text in results["quality"].values]
    fitted = sum(not text.startswith(FAILED) for text in statuses)
    counts = ", ".join(f"{grades.count(one)} {one}" for one in GRADES)
    return f"{fitted} of {len(statuses)} fitted · quality grades: {counts}"


def flags_of(one: xr.Dataset) -> list[tuple[str, str]]:
    """Flags of one sample: name and message."""
    return [(str(name), str(text)) for name, text in json.loads(str(one["flag_messages"].item()))]


def failures(results: xr.Dataset) -> list[str]:
    """Sample and reason of each pattern that could not be fitted."""
    pairs = zip(results["sample"].values, results["status"].values, strict=True)
    return [f"{name}: {str(text).removeprefix(FAILED)}" for name, text in pairs if str(text).startswith(FAILED)]


def _row(one: xr.Dataset, signs: dict[str, list[str]]) -> tuple[Cell, ...]:
    name, status = str(one["sample"].item()), str(one["status"].item())
    texts = tuple(Cell(text or MISSING, text) for text in (name, str(one["lot"].item()), str(one["treatment"].item())))
    if not math.isfinite(_number(one, "a_nm")):
        return texts[0], Cell(textwrap.shorten(status, _LINE, placeholder=" ..."))
    shown = grade(str(one["quality"].item()))
    return (
        *texts,
        _measured(one, "a_nm"),
        _measured(one, "site_order"),
        _measured(one, "tin_at_percent"),
        Cell(_two_digits(_number(one, "u_tin_independent_at_percent")), _key(_number(one, "u_tin_independent_at_percent"))),
        *_estimated(one, "Tc_K", "Tc", "K"),
        *_estimated(one, "Bc2_4K2_T", "Bc2_4K2", "T"),
        _measured(one, "domain_size_nm"),
        _measured(one, "a15_fraction", 100.0),
        Cell(_percent(_number(one, "r_wp")), _key(_number(one, "r_wp"))),
        Cell(" ".join([shown, *filter(None, [",".join(signs.get(name, []))])]), shown, shown),
    )


def _measured(one: xr.Dataset, name: str, scale: float = 1.0) -> Cell:
    value = scale * _number(one, name)
    return Cell(concise(value, scale * _number(one, f"u_{name}")), _key(value))


def _estimated(one: xr.Dataset, name: str, stem: str, unit: str) -> tuple[Cell, Cell]:
    value, low, high = (_number(one, which) for which in (name, f"{stem}_low_{unit}", f"{stem}_high_{unit}"))
    return Cell(concise(value, 0.5 * (high - low)), _key(value)), Cell(interval(low, high), _key(low))


def _remarks(results: xr.Dataset, order: Sequence[int]) -> list[tuple[str, list[str]]]:
    """Reasons of grades below A, then flags: each once, with the samples it holds for."""
    reasons: dict[str, list[str]] = {}
    flags: dict[str, tuple[str, list[str]]] = {}
    for k in order:
        one = results.isel(sample=k)
        name, words = str(one["sample"].item()), str(one["quality"].item())
        if grade(words) in ("B", "C") and math.isfinite(_number(one, "a_nm")):
            reasons.setdefault(words, []).append(name)
        for flag, message in dict(flags_of(one)).items():
            first = message.split(": ")[0].split("; ")[0]
            flags.setdefault(flag, (f"{flag}: {first}", []))[1].append(name)
    return [*reasons.items(), *flags.values()]


def _names(samples: Sequence[str]) -> str:
    rest = f" and {len(samples) - _NAMED} more" if len(samples) > _NAMED else ""
    return ", ".join(samples[:_NAMED]) + rest


def _number(one: xr.Dataset, name: str) -> float:
    return float(one[name].item()) if name in one else math.nan


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f}" if math.isfinite(share) else MISSING


def _two_digits(u: float) -> str:
    return f"{u:.2g}" if math.isfinite(u) else MISSING


def _key(value: float) -> str:
    return f"{value:.10g}" if math.isfinite(value) else ""
