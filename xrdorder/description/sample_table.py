"""Samples in a table: a CSV file whose header names keys of a sample, one row a sample.

Columns are separated by comma, semicolon or tab; numbers may have a decimal comma where columns are not separated by
one. Rows whose first cell begins with # and empty rows are passed over. A row becomes what ``[[samples]]`` would be, so
that it is checked in the same way; what is said of it names row and column. Rows are counted as a spreadsheet does.
"""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from xrdorder.description.values import closest_file
from xrdorder.exceptions import did_you_mean
from xrdorder.files import read_bytes
from xrdorder.files.checked_table import Location, Problem

STEP_COLUMNS = ("hold_c", "hours", "ramp_k_per_h", "amplitude_k", "period_h")
"""Columns that make a treatment of one step."""

NEEDED = ("name", "pattern")

_SPREADSHEETS = (".xlsx", ".xls", ".ods", ".numbers")
_SLIPS = {"time_h": "hours", "temperature": "temperature_c", "file": "pattern", "sample": "name"}
"""What people write for a column that is spelt quite differently."""

_FLAGS = {"true": True, "false": False}


class SampleRow(dict[str, Any]):
    """A sample as a row of a table tells it; `number` counts rows from one, with the header."""

    def __init__(self, content: Mapping[str, Any], file: str, number: int) -> None:
        super().__init__(content)
        self.file = file
        self.number = number

    @property
    def place(self) -> str:
        """File and row."""
        return f"{self.file}, row {self.number}"

    def column(self, within: Sequence[int | str]) -> str:
        """Name the column of a location within a sample.

        >>> row = SampleRow({"treatment": [{"hold_c": -300}]}, "samples.csv", 2)
        >>> row.column(("treatment", 0, "hold_c")), row.column(("measured", "Tc_K", "value"))
        ('hold_c', 'measured.Tc_K')
        """
        keys = [str(key) for key in within if not isinstance(key, int)]
        if keys[0] == "treatment" and isinstance(self.get("treatment"), list):
            keys = keys[1:] or [STEP_COLUMNS[0]]
        return ".".join(keys).removesuffix(".value")


@dataclass(frozen=True)
class SampleRows:
    """Rows of a table, what is wrong with the table itself, and the columns that it lacks."""

    rows: tuple[SampleRow, ...] = ()
    problems: tuple[Problem, ...] = ()
    missing: tuple[str, ...] = field(default=())

    def beside(self, problems: Sequence[Problem], table: Mapping[str, Any]) -> list[Problem]:
        """Leave out problems of the study that follow from what is wrong with the table itself."""
        follows: set[Location] = {("samples",)} if self.problems else set()
        samples = table.get("samples")
        for k, row in enumerate(samples if isinstance(samples, list) else ()):
            if isinstance(row, SampleRow):
                follows |= {("samples", k, column) for column in self.missing}
        return [problem for problem in problems if problem[0] not in follows]


def read_sample_table(name: str, folder: Path, kinds: Mapping[str, str]) -> SampleRows:
    """Read the samples of a table.

    Parameters
    ----------
    name : str
        Path of the table from the study folder.
    folder : Path
        The study folder.
    kinds : mapping of str to str
        Columns that may be there, each "text", "number", "flag" or "list".

    Returns
    -------
    SampleRows
        A cell that does not fit its kind is handed on as text, for whoever knows what belongs there.
    """
    try:
        separator, records = _records(name, folder)
    except ValueError as error:
        return SampleRows(problems=((("samples_table",), str(error)),))
    if not records:
        return SampleRows(problems=((("samples_table",), f"'{name}' is empty; give a header with name, pattern"),))
    (first, header), *lines = records
    problems = list(_header_problems(first, header, kinds))
    missing = tuple(column for column in NEEDED if column not in header)
    problems += [(("samples_table", first), f"has no column {column}; add one") for column in missing]
    if not lines:
        problems.append((("samples_table",), f"'{name}' has a header, but no row; add one for every sample"))
    rows = []
    for number, cells in lines:
        if len(cells) > len(header) and any(cells[len(header) :]):
            comma = ", or, with decimal commas, separate all columns by semicolons" if separator == "," else ""
            problems.append(
                (
                    ("samples_table", number),
                    f"has {len(cells)} cells, the header {len(header)}; put a text that holds a separator in quotes"
                    f"{comma}",
                )
            )
            continue
        given = {
            column: _value(cell, kinds[column], separator)
            for column, cell in zip(header, cells, strict=False)
            if cell and column in kinds
        }
        row, wrong = _row(given, name, number)
        rows.append(row)
        problems += wrong
    return SampleRows(tuple(rows), tuple(problems), missing)


def _text(name: str, folder: Path) -> str:
    path = folder / name
    if path.suffix.lower() in _SPREADSHEETS:
        raise ValueError(f"'{name}' is a spreadsheet; save it as CSV in UTF-8 and name that file")
    if path.is_dir():
        raise ValueError(f"'{name}' is a folder; name the table itself, a CSV file in UTF-8")
    if not path.exists():
        raise ValueError(f"there is no file '{name}' in {folder}; {closest_file(path)}")
    try:
        content = read_bytes(path)
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise ValueError(f"'{name}', line {line} is not UTF-8 text; save the table as CSV in UTF-8") from error
    except OSError as error:
        raise ValueError(f"'{name}' cannot be read ({error.strerror}); check the file") from error


def _separator(lines: Sequence[str]) -> str:
    """The mark that stands most often in the header."""
    header = next((line for line in lines if line.strip() and not line.lstrip("\"' ").startswith("#")), "")
    return max(",;\t", key=header.count)


def _records(name: str, folder: Path) -> tuple[str, list[tuple[int, list[str]]]]:
    """The mark between columns, and the rows with something in them with their numbers."""
    lines = _text(name, folder).splitlines(keepends=True)
    separator = _separator(lines)
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=separator == ",")
    try:
        records = [(k, [" ".join(cell.split()) for cell in record]) for k, record in enumerate(reader, start=1)]
    except csv.Error as error:
        raise ValueError(f"'{name}', line {reader.line_num} is no line of a table ({error}); correct it") from error
    return separator, [(k, cells) for k, cells in records if any(cells) and not cells[0].startswith("#")]


def _header_problems(row: int, header: Sequence[str], kinds: Mapping[str, str]) -> list[Problem]:
    problems: list[Problem] = []
    for k, column in enumerate(header):
        where = ("samples_table", row, column or f"no. {k + 1}")
        if column in header[:k]:
            problems.append((where, "stands twice; keep one, or give the other its own name"))
        elif column and column not in kinds:
            problems.append((where, f"unknown column; {_hint(column, kinds)}"))
    return problems


def _hint(column: str, kinds: Mapping[str, str]) -> str:
    """Suggest a column; not all of the many that there are."""
    if column in _SLIPS:
        return f"did you mean '{_SLIPS[column]}'?"
    hint = did_you_mean(column, kinds)
    if hint.startswith("did you"):
        return hint
    return f"known: {', '.join(kind for kind in kinds if '.' not in kind)}, and measured.Tc_K and the like"


def _value(cell: str, kind: str, separator: str) -> Any:
    if kind == "number":
        try:
            return float(cell if separator == "," else cell.replace(",", "."))
        except ValueError:
            return cell
    if kind == "flag":
        return _FLAGS.get(cell.casefold(), cell)
    if kind == "list":
        return [part.strip() for part in cell.split("|")]
    return cell


def _row(given: Mapping[str, Any], file: str, number: int) -> tuple[SampleRow, list[Problem]]:
    """Put the cells of a row into the tables of a sample."""
    row = SampleRow({}, file, number)
    problems: list[Problem] = []
    steps = {column: given[column] for column in STEP_COLUMNS if column in given}
    if steps and "treatment" in given:
        said = f"stands beside {', '.join(steps)}; give one or the other"
        problems.append((("samples_table", number, "treatment"), said))
    for column, value in given.items():
        if column in steps:
            continue
        *tables, key = column.split(".")
        if tables == ["measured"]:
            tables, key = [*tables, key], "value"
        inner: dict[str, Any] = row
        for table in tables:
            inner = inner.setdefault(table, {})
        inner[key] = value
    if steps:
        row["treatment"] = [steps]
    return row, problems
