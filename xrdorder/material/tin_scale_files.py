"""Files of a laboratory's own tin scale: the table of known samples (CSV) and the scale (TOML)."""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from xrdorder.exceptions import ValidityError
from xrdorder.files import read_text, toml_table
from xrdorder.material.tin_scale import PUBLISHED_SCALE, TinScale
from xrdorder.material.tin_scale_fit import KnownSamples
from xrdorder.relations import PUBLISHED

COLUMNS = ("sample", "a_nm", "u_a_nm", "tin_at_percent", "u_tin_at_percent")
"""Columns of the table of known samples; others are passed over, so that a table of results can be completed."""

_KEYS = ("name", "a_at_24_nm", "slope_nm", "covariance", "source", "samples")


def read_known_samples(path: Path | str) -> KnownSamples:
    """Read samples of known composition from a CSV with the columns `COLUMNS`; ``#`` begins a comment line.

    Raises
    ------
    ValidityError
        The file cannot be read, a column is missing or a number is none; the message names the line.
    """
    path = Path(path)
    lines = _text(path).splitlines()
    kept = [(k, line) for k, line in enumerate(lines, 1) if line.strip() and not line.lstrip().startswith("#")]
    if not kept:
        raise ValidityError(f"{path}: is empty; give a table with the columns {', '.join(COLUMNS)}")
    separator = ";" if kept[0][1].count(";") > 3 else ","
    rows = [table_row(path, number, line, separator) for number, line in kept]
    header = rows[0]
    for column in COLUMNS:
        if column not in header:
            raise ValidityError(
                f"{path}: line {kept[0][0]} names no column {column}; the columns are {', '.join(COLUMNS)}"
            )
    names: list[str] = []
    numbers: list[list[float]] = []
    for (line, _), row in zip(kept[1:], rows[1:], strict=True):
        if len(row) > len(header):
            raise ValidityError(
                f"{path}: line {line} has {len(row)} cells, the head {len(header)}; decimals are written with a point"
            )
        cells = dict(zip(header, row, strict=False))
        name = cells.get("sample", "")
        if not name or name in names:
            raise ValidityError(f"{path}: line {line}: sample '{name}' has no name of its own; give it one")
        names.append(name)
        numbers.append([_number(path, line, column, cells.get(column, "")) for column in COLUMNS[1:]])
    if not names:
        raise ValidityError(f"{path}: holds no sample; add a line for each sample of known composition")
    a, u_a, tin, u_tin = np.array(numbers).T
    return KnownSamples(tuple(names), a, u_a, tin / 100.0, u_tin / 100.0)


def check_scale_name(name: str) -> None:
    """Refuse a name that stands for something published: results would quote the wrong thing.

    Raises
    ------
    ValidityError
        It is the name of the published line, or of a published relation.
    """
    if name == PUBLISHED_SCALE.name:
        raise ValidityError(f"name '{name}' stands for the published line; give the scale another")
    if any(entry.name == name for entry in PUBLISHED.relations()):
        raise ValidityError(f"name '{name}' is that of a published relation; give the scale another")


def write_tin_scale(scale: TinScale, path: Path | str) -> None:
    """Write a scale as TOML; a file that is there is left alone.

    Raises
    ------
    ValidityError
        There is such a file, or it cannot be written.
    """
    path = Path(path)
    if path.exists():
        raise ValidityError(f"{path}: is there already; name another file")
    numbers = ", ".join(f"[{', '.join(repr(float(x)) for x in row)}]" for row in scale.covariance)
    lines = (
        "# Tin scale, written by xrdorder: a = a_at_24_nm + slope_nm (beta - 0.24) at 22.5 °C, strain-free A15",
        f"name = {_quoted(scale.name)}",
        f"a_at_24_nm = {scale.a_at_24_nm!r}",
        f"slope_nm = {scale.slope_nm!r}  # by unit tin fraction",
        f"covariance = [{numbers}]  # of these two, nm2",
        f"source = {_quoted(scale.source)}",
        f"samples = [{', '.join(_quoted(name) for name in scale.samples)}]",
    )
    try:
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    except OSError as error:
        raise ValidityError(f"{path}: cannot be written ({error.strerror}); choose another file") from error


def read_tin_scale(path: Path | str) -> TinScale:
    """Read a scale that `write_tin_scale` wrote, or one written by hand in the same form.

    Raises
    ------
    ValidityError
        The file is no tin scale; the message names the key.
    """
    path = Path(path)
    try:
        table = toml_table(_text(path))
    except tomllib.TOMLDecodeError as error:
        raise ValidityError(f"{path}: is no TOML ({error}); let xrdorder tin-scale write it") from error
    for key in table:
        if key not in _KEYS:
            raise ValidityError(f"{path}: key '{key}' is unknown; a tin scale has {', '.join(_KEYS)}")
    name, source = (_word(path, table, key) for key in ("name", "source"))
    samples = table.get("samples", [])
    if not isinstance(samples, list) or not all(isinstance(item, str) for item in samples):
        raise ValidityError(f"{path}: samples must be a list of names")
    try:
        check_scale_name(name)
    except ValidityError as error:
        raise ValidityError(f"{path}: {error}") from error
    rows = table.get("covariance")
    if not (isinstance(rows, list) and len(rows) == 2 and all(isinstance(r, list) and len(r) == 2 for r in rows)):
        raise ValidityError(f"{path}: covariance must be two rows of two numbers, nm2")
    (level, mixed), (mixed_too, slope) = [[_real(path, "covariance", x) for x in row] for row in rows]
    try:
        return TinScale(
            name,
            _real(path, "a_at_24_nm", table.get("a_at_24_nm")),
            _real(path, "slope_nm", table.get("slope_nm")),
            ((level, mixed), (mixed_too, slope)),
            source,
            tuple(samples),
        )
    except ValidityError as error:
        raise ValidityError(f"{path}: {error}") from error


def _text(path: Path) -> str:
    if path.is_dir():
        raise ValidityError(f"{path}: is a folder; name a file")
    try:
        return read_text(path)
    except FileNotFoundError as error:
        raise ValidityError(f"{path}: no such file; check the path") from error
    except UnicodeDecodeError as error:
        raise ValidityError(f"{path}: is no text in UTF-8; save it as plain text") from error
    except OSError as error:
        raise ValidityError(f"{path}: cannot be read ({error.strerror}); check the path") from error


def table_row(path: Path, number: int, line: str, separator: str = ",") -> list[str]:
    """Cells of a line of a table.

    Raises
    ------
    ValidityError
        The line is none.
    """
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    except csv.Error as error:
        raise ValidityError(f"{path}: line {number} is no line of a table ({error}); correct it") from error


def _number(path: Path, line: int, column: str, text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        shown = f"'{text}' is no number" if text else "is empty"
        raise ValidityError(f"{path}: line {line}: {column} {shown}; decimals are written with a point") from error


def _real(path: Path, key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValidityError(f"{path}: {key} must be a number{' in nm' if key != 'covariance' else ''}; it is {value!r}")
    return float(value)


def _word(path: Path, table: Mapping[str, Any], key: str) -> str:
    value = table.get(key)
    if not isinstance(value, str) or not value.strip():
        raise ValidityError(f"{path}: {key} must be a text that is not empty; it is {value!r}")
    return value


def _quoted(text: str) -> str:
    # Strings of JSON are strings of TOML as long as nothing but the usual escapes occurs, which json.dumps sees to.
    return json.dumps(text, ensure_ascii=False)
