"""The table of a study as people read it: one record for terminal, page, notebook and the table of a report."""

from __future__ import annotations

import json
import math
import re
import textwrap
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeAlias

import xarray as xr

from xrdorder.quantities.flag_words import FLAGS
from xrdorder.quantities.formatting import MISSING, concise, counted, interval, u_text
from xrdorder.quantities.grades import GRADES, MISSING_INFORMATION, grade, graded
from xrdorder.quantities.registry import ESTIMATE, Quantity, column_name, quantity, standing_in
from xrdorder.quantities.tables import Cell, Heading, Table
from xrdorder.results.sample_file import FAILED

Row: TypeAlias = Mapping[Any, Any]
"""Of one sample: what `rows_of` gives."""

_START = (
    Heading("sample", "", "name in study.toml", numeric=False),
    Heading("lot", "", "wire lot", numeric=False, optional=4),
    Heading("treatment", "", "heat treatment, °C over hours", numeric=False, optional=3),
)
_END = (
    Heading("R_wp", "%", "weighted profile residual of the fit", optional=2),
    Heading("grade", "", "quality grade of the fit: A, B use with care, C do not use", numeric=False),
)
_MISSING = Heading("missing", "", "what nobody told; it does not lower the grade", numeric=False, optional=1)
SHOWN = (*((quantity, 0) for quantity in standing_in("study")), *((quantity, 1) for quantity in standing_in("wide")))
"""Quantities of the table; whether a narrow terminal may leave them out."""
_RANKED = "Bc2_4K2_T"
_LINE = 96
_MOST_ROWS, _EXTREMES = 30, 8


def by_temperature(results: xr.Dataset) -> list[int]:
    """Places of the samples by wire lot, reaction temperature, time there and name; what has no treatment stands last.

    Numbers in names count as numbers, so that wire-2 stands before wire-10.
    """
    lots = [str(lot) for lot in results["lot"].values]
    places = {lot: k for k, lot in enumerate(dict.fromkeys(lots))}

    rows = rows_of(results)

    def key(k: int) -> tuple[object, ...]:
        numbers = (_number(rows[k], name) for name in ("peak_c", "hold_at_peak_h"))
        parts = re.split(r"(\d+)", str(rows[k]["sample"]))
        name = tuple(int(part) if part.isdecimal() else part for part in parts)
        return (places[lots[k]], *(x if math.isfinite(x) else math.inf for x in numbers), name)

    return sorted(range(len(rows)), key=key)


def rows_of(results: xr.Dataset) -> list[Row]:
    """What the results hold of each sample by itself, by the names of the variables."""
    columns = {str(name): column.values for name, column in results.variables.items() if column.dims == ("sample",)}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def study_table(results: xr.Dataset) -> Table:
    """Give a row for each sample, by wire lot and reaction temperature, and remarks on them.

    The sign behind a grade is that of the remark below.
    """
    of_results = rows_of(results)
    samples = [of_results[k] for k in by_temperature(results)]
    remarks = _remarks(samples)
    signs: dict[str, list[str]] = {}
    for number, (_, names) in enumerate(remarks, start=1):
        for name in names:
            signs.setdefault(name, []).append(str(number))
    rows = [_row(sample, signs) for sample in samples]
    notes = [f"{number}  {text} ({counted(names)})" for number, (text, names) in enumerate(remarks, start=1)]
    head = [heading for quantity, optional in SHOWN for heading in _headings(quantity, optional)]
    if not any(missing_of(results)):
        return Table((*_START, *head, *_END), tuple(rows), tuple(notes))
    told = dict(zip(map(str, results["sample"].values), missing_of(results), strict=True))
    full = [(*row, Cell(told[row[0].text], told[row[0].text])) if len(row) > len(_START) else row for row in rows]
    return Table((*_START, *head, *_END, _MISSING), tuple(full), tuple(notes))


def _headings(quantity: Quantity, optional: int) -> tuple[Heading, ...]:
    """Head of the column of a quantity, and of its interval or of the independent part of its uncertainty."""
    first = replace(quantity.head(), optional=optional)
    if quantity.predicted:
        half = f"{quantity.title}, in brackets half the 68 % interval: {quantity.long_name}"
        ends = Heading(f"{quantity.heading} 68 %", quantity.people.unit, "68 % interval", optional=3)
        return replace(first, meaning=half), ends
    if "independent" in quantity.parts:
        meaning = f"part of the uncertainty of {quantity.noun} that no other sample shares"
        return first, Heading("independent u", quantity.people.unit, meaning, optional=2)
    return (first,)


def extremes(table: Table) -> tuple[Table, str]:
    """Keep the samples with the lowest and highest Bc2 of a long table, and say how many are not shown."""
    if len(table.rows) <= _MOST_ROWS:
        return table, ""
    column = [heading.words for heading in table.head].index(quantity(_RANKED).heading)
    known = [k for k, row in enumerate(table.rows) if len(row) == len(table.head) and row[column].key]
    ranked = sorted(known, key=lambda k: float(table.rows[k][column].key))
    kept = sorted({*ranked[:_EXTREMES], *ranked[-_EXTREMES:]})
    words = f"{len(kept)} of {len(table.rows)} samples: those with the lowest and the highest Bc2"
    return Table(table.head, tuple(table.rows[k] for k in kept), table.notes, table.title), words


def study_words(results: xr.Dataset) -> str:
    """Say in one line how many samples were fitted, how well, and what nobody told.

    >>> status, quality = ["ok", "failed: no numbers"], ["trustworthy", ""]
    >>> study_words(xr.Dataset({"status": ("sample", status), "quality": ("sample", quality)}))
    '1 of 2 fitted · fit: 1 A, 0 B, 0 C · information missing: none'
    """
    statuses = [str(text) for text in results["status"].values]
    grades = [grade(str(text)) for text in results["quality"].values]
    fitted = sum(not text.startswith(FAILED) for text in statuses)
    counts = ", ".join(f"{grades.count(grade)} {grade}" for grade in GRADES)
    missing = Counter(word for words in missing_of(results) for word in words.split(", ") if word)
    parts = [f"{word} ({'all' if count == fitted else count})" for word, count in missing.items()]
    return f"{fitted} of {len(statuses)} fitted · fit: {counts} · information missing: {', '.join(parts) or 'none'}"


def missing_of(results: xr.Dataset) -> list[str]:
    """What nobody told about each sample."""
    if "information_missing" not in results:
        return [""] * results.sizes.get("sample", 0)
    return [str(words) for words in results["information_missing"].values]


def anchored_words(results: xr.Dataset) -> str:
    """Say of each lot what its estimates are anchored to.

    >>> told = ["Tc and tin measured on 2 samples"] * 2
    >>> anchored_words(xr.Dataset({"lot": ("sample", ["A", "A"]), "anchored_to": ("sample", told)}))
    'lot A anchored to Tc and tin measured on 2 samples'
    """
    if "anchored_to" not in results:
        return ""
    pairs = dict.fromkeys(zip(results["lot"].values, results["anchored_to"].values, strict=True))
    return "; ".join(f"{f'lot {lot}' if lot else 'a wire'} anchored to {words}" for lot, words in pairs if words)


def flags_of(messages: str) -> list[tuple[str, str]]:
    """Flags of one sample, name and message, from what the results hold as `flag_messages`."""
    return [(str(name), str(text)) for name, text in json.loads(messages)]


def in_short(sample: Row) -> list[str]:
    """Lattice parameter, order and tin of one sample, as the table has them."""
    words = []
    for shown in map(quantity, ("a_nm", "site_order", "tin_fraction")):
        text, unit = _cells(sample, shown)[0].text, shown.people.unit
        words += [f"{shown.symbol} {text} {unit}".rstrip()] * (text != MISSING)
    return words


def failures(results: xr.Dataset) -> list[str]:
    """Sample and reason of each pattern that could not be fitted."""
    pairs = zip(results["sample"].values, results["status"].values, strict=True)
    return [f"{name}: {str(text).removeprefix(FAILED)}" for name, text in pairs if str(text).startswith(FAILED)]


def _row(sample: Row, signs: dict[str, list[str]]) -> tuple[Cell, ...]:
    name, status = str(sample["sample"]), str(sample["status"])
    texts = tuple(Cell(text or MISSING, text) for text in (name, str(sample["lot"]), str(sample["treatment"])))
    if not math.isfinite(_number(sample, "a_nm")):
        return texts[0], Cell(textwrap.shorten(status, _LINE, placeholder=" ..."))
    letter = grade(str(sample["quality"]))
    r_wp = _number(sample, "r_wp")
    return (
        *texts,
        *(cell for shown, _ in SHOWN for cell in _cells(sample, shown)),
        Cell(f"{100.0 * r_wp:.1f}" if math.isfinite(r_wp) else MISSING, _key(r_wp)),
        Cell(" ".join([letter, *filter(None, [",".join(signs.get(name, []))])]), letter, letter),
    )


def _cells(sample: Row, shown: Quantity) -> tuple[Cell, ...]:
    """What stands in the columns of a quantity."""
    number = {part: _number(sample, column_name(shown, part)) for part in shown.parts}
    scale = shown.people.factor / shown.of_column.factor  # a column may be in the scale for people already
    if shown.predicted:
        value, low, high = (scale * number[part] for part in ESTIMATE)
        return Cell(concise(value, 0.5 * (high - low)), _key(value)), Cell(interval(low, high), _key(low))
    value, u = scale * number["value"], scale * number.get("total", math.nan)
    cells = (Cell(concise(value, u), _key(value)),)
    if "independent" not in number:
        return cells
    return *cells, Cell(u_text(scale * number["independent"]), _key(scale * number["independent"]))


def _remarks(samples: Sequence[Row]) -> list[tuple[str, list[str]]]:
    """Reasons of grades below A, then flags: each once, with the samples it holds for."""
    reasons: dict[str, list[str]] = {}
    flags: dict[str, tuple[str, list[str]]] = {}
    for sample in samples:
        name, words = str(sample["sample"]), str(sample["quality"])
        if grade(words) in ("B", "C") and math.isfinite(_number(sample, "a_nm")):
            reasons.setdefault(graded(words), []).append(name)
        for flag, message in dict(flags_of(sample["flag_messages"])).items():
            if flag not in MISSING_INFORMATION:  # counted in the first line, named in a column
                words = FLAGS.get(flag, message.split(": ")[0])
                flags.setdefault(flag, (f"{flag}: {words}", []))[1].append(name)
    return [*reasons.items(), *flags.values()]


def _number(sample: Row, name: str) -> float:
    return float(sample.get(name, math.nan))


def _key(value: float) -> str:
    return f"{value:.10g}" if math.isfinite(value) else ""
