"""Read columns of text: angle, counts and, in a third column, the standard uncertainty of the counts.

Columns may be separated by blanks, tabs, commas or semicolons, with decimal points or decimal commas; how a
file does it is decided once from its first rows, so that one odd row becomes an error and not a different
number. Rows are read stretch by stretch, and one by one where a stretch holds an odd one: 6000 rows take a
few ms, and the number of a bad line is known.

Comment lines start with one of ``# ! % // * '``; before the first row any line without two numbers is a
header. Comments and headers may declare, as ``key: value`` or ``key = value``:

======================  =====================================================================================
``radiation``           a name of `xrdorder.xrays.radiation`, or words such as "Cu Kα"
``wavelength``          with its unit in the value or the key (``wavelength_nm``, ``wavelength_angstrom``)
``counting_time``       seconds a point, also ``counting_time_s``, ``time_per_step``, ``step_time``,
                        ``count_time``; holds from there on, so each range may have its own; "unknown" is a
                        value
``geometry``            reflection, transmission or capillary (or the name of a geometry that is one of them)
``mount``               one of the mounts of `xrdorder.patterns`
``temperature``         of the specimen, with its unit in the value or the key (``temperature_c``)
``intensity_kind``      "intensities" where the values are known not to be counts
``start_time``          when the scan began (ISO 8601)
``number_of_points``    of the file, or of each range; a file that holds fewer ended early, and that is flagged
``flags``               what was noticed before the file was written, a JSON list of [name, message]
======================  =====================================================================================

``lambda`` is a wavelength too. A comment that mentions one radiation in passing ("Cu K-alpha, Ni filter") declares it;
one that speaks of neutrons or electrons as the radiation ends the reading.

A blank or comment line may end a range. The next rows are a new range if their angles start again further
back, if a counting time is declared between, or if the step changes; otherwise the range simply goes on. Angles may
fall instead of rise.
"""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import PatternError
from xrdorder.patterns import declared, ended
from xrdorder.patterns.content import MOUNTS, Array, FileContent, ScanRange

_COMMENT = ("#", "!", "%", "//", "*", "'")
_NUMERIC_ROW = re.compile(r"^[\s\"]*[-+.,]?\d[\d\s.,;eE+\-\"]*$")
_DECLARATION = re.compile(r"^[\s#!%/*';\"]*([A-Za-z][\w .\-/()\[\]θ°Å]*?)\s*[:=]\s*(.*\S)\s*$")
_COUNTING_TIME = ("counting_time", "count_time", "time_per_step", "step_time", "counting_time_per_step")
_WITH_UNIT = ("wavelength", "lambda", "temperature", *_COUNTING_TIME)  # whose unit may stand in the key
_WORDS = {"mount": MOUNTS, "intensity_kind": ("counts", "intensities")}
# Rows looked at to learn how columns and decimals are written; a whole angle such as "20" tells nothing, a
# hundred of them in a row do not happen.
_SAMPLE_ROWS = 200
# A step that changes by more than this between two stretches is a range of its own; encoders scatter by less.
_STEP_CHANGE = 0.2

# What a line must hold to declare anything; a million lines of comments hold nothing of it.
_TELLING = re.compile(
    r"wave|lambda|temperature|time|radiation|geometry|mount|kind|flags|points|k[\s\-_]*[αa\\]|tron|spall|reactor|flight"
)
_CONTROL = re.compile(r"[\x01-\x08\x0b\x0e-\x19\x1b-\x1f]")
_STARTS = frozenset('0123456789.,+-"')


def decode(data: bytes, name: str) -> str:
    """Turn the bytes of a text file into text: UTF-8 or UTF-16 by byte-order mark, UTF-8, else latin-1.

    Raises
    ------
    PatternError
        If the bytes are no text.
    """
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            return data.decode("utf-16")
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    head = text[:20000]
    # A control character or two may slip into a header; in binary data they are a tenth of all bytes.
    if "\x00" in text or len(_CONTROL.findall(head)) > 0.01 * len(head):
        raise PatternError(
            f"{name}: binary data, not text, CIF or NeXus; export the scan as text columns (angle, counts)"
        )
    return text


def read_text(text: str, name: str) -> FileContent:
    """Read text columns.

    Parameters
    ----------
    text : str
        Content of the file.
    name : str
        Name of the file, for messages.

    Returns
    -------
    FileContent
        Ranges in the order of the file; axis and unit stay empty.

    Raises
    ------
    PatternError
        With the number of the line that is wrong.
    """
    if text.lstrip().startswith("<"):
        raise PatternError(
            f"{name}: line 1: XML or HTML is not read; export the scan as text columns or as CIF"
        )
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a").split("\n")
    table = _Table(name, _how_written(lines), len(lines))
    while table.last_line and not lines[table.last_line - 1].strip():
        table.last_line -= 1
    start = 0
    odd = [i for i, line in enumerate(lines) if line[:1] not in _STARTS and line.lstrip()[:1] not in _STARTS]
    for index in [*odd, len(lines)]:
        if index > start:
            table.extend(start + 1, lines[start:index])
        start = index + 1
        row = lines[index].strip() if index < len(lines) else ""
        if not row or row.startswith(_COMMENT):
            table.pause(row)
        else:
            table.add(start, row)
    content = table.finish()
    if lines[-1]:
        _leave_out_cut_number(lines, table.written, content)
    return content


def _leave_out_cut_number(lines: list[str], written: "_Columns", content: FileContent) -> None:
    """Leave out the last point of a file that ends in the middle of a number."""
    scan = content.ranges[-1]
    first = max(int(scan.numbers[-1]) - ended.NEIGHBOURS - 1, 0)
    rows = [fields for line in lines[first:] if len(fields := written.split(line)) > 1]
    if scan.numbers[-1] != len(lines) or len(scan.values) < 2 or not rows:
        return
    last = rows[-1][-1]
    if ended.cut_number(last, [fields[-1] for fields in rows[:-1]]):
        content.ranges[-1] = scan.without_last()
        why = f"its last number, {declared.short(last)}, lacks digits; the point is left out"
        content.flags.append(ended.flag(why))


@dataclass(frozen=True)
class _Columns:
    """How the rows of a file are written."""

    separator: str | None
    decimal_comma: bool

    def split(self, row: str) -> list[str]:
        """Split a row into fields with decimal points."""
        row = row.replace('"', "").strip()
        if self.decimal_comma:
            row = row.replace(",", ".")
        if self.separator is None:
            return row.split()
        return [piece.strip() for piece in row.rstrip(self.separator).split(self.separator)]

    def table(self, rows: list[str], columns: int) -> Array:
        """Read rows that are all alike; ValueError where one is not (it is for `split` to find out which)."""
        if self.decimal_comma:
            rows = "\n".join(rows).replace(",", ".").split("\n")
        table: Array = np.loadtxt(rows, delimiter=self.separator, comments=None, ndmin=2, dtype=np.float64)
        if table.shape != (len(rows), columns):
            raise ValueError
        return table


def _how_written(lines: list[str]) -> _Columns:
    """Decide about separator and decimal sign from the first rows of numbers."""
    sample: list[str] = []
    for line in lines:
        if _NUMERIC_ROW.match(line):
            sample.append(line.replace('"', ""))
            if len(sample) == _SAMPLE_ROWS:
                break
    joined = "\n".join(sample)
    comma, point = "," in joined, "." in joined
    if ";" in joined:
        return _Columns(";", comma and not point)
    # With a decimal point about, a comma can only separate; without one it is the decimal sign if the row
    # falls into columns at its blanks alone ("20,01 1132") and if no blank follows the comma ("20, 1132").
    by_blank = all(len(row.split()) > 1 and not re.search(r",\s|\s,", row.strip()) for row in sample)
    if comma and not point and by_blank:
        return _Columns(None, True)
    return _Columns("," if comma else None, False)


class _Table:
    """Rows as they come, stretch by stretch, and what comments declare between them."""

    def __init__(self, name: str, written: _Columns, last_line: int) -> None:
        self.name = name
        self.written = written
        self.last_line = last_line  # that holds anything
        self.content = FileContent()
        self.tables: list[Array] = []
        self.numbers: list[NDArray[np.int64]] = []
        self.count = 0
        self.columns = 0
        self.starts: list[int] = []  # index of the first row of each stretch
        self.times: list[float | None] = []  # declared counting time of each stretch
        self.time: float | None = None
        self.time_declared = False  # since the last stretch began
        self.forced: list[bool] = []  # the stretch is a range of its own whatever its angles
        self.paused = True
        self.header: tuple[int, list[str]] | None = None
        self.radiations: set[str] = set()
        self.points = 0  # as declared

    def extend(self, number: int, rows: list[str]) -> None:
        """Take in rows that follow each other, the first on line `number`."""
        taken = 0
        while taken < len(rows) and (taken == 0 or not self.count):
            self.add(number + taken, rows[taken])
            taken += 1
        rest = rows[taken:]
        if not rest:
            return
        try:
            table = self.written.table(rest, self.columns)
        except ValueError:
            for index, row in enumerate(rest, number + taken):
                self.add(index, row)
            return
        self._take(table, number + taken)

    def _take(self, table: Array, number: int) -> None:
        self.tables.append(table)
        self.numbers.append(np.arange(number, number + len(table)))
        self.count += len(table)

    def add(self, number: int, row: str) -> None:
        """Take in one line that is neither blank nor a comment."""
        fields = self.written.split(row.partition("#")[0])
        try:
            if "_" in row or not fields:  # Python would take 1_000 for a number
                raise ValueError
            numbers = [float(field) for field in fields]
        except ValueError:
            if self.count:
                raise self._no_number(number, fields) from None
            self.header = (number, fields)
            self._declare(row)
            return
        if len(numbers) < self.columns and number == self.last_line:
            why = f"its last row, line {number}, lacks {self.columns - len(numbers)} number(s) and is left out"
            self.content.flags.append(ended.flag(why))
            return
        if self.paused:
            self._begin(number, fields)
        if len(numbers) != self.columns:
            raise PatternError(
                f"{self.name}: line {number}: {len(numbers)} number(s) where the rows before have "
                f"{self.columns}; complete the row or mark it as a comment with #"
            )
        self._take(np.array([numbers]), number)

    def pause(self, row: str) -> None:
        """Take in a blank or comment line."""
        self.paused = True
        if row:
            self._declare(row)

    def finish(self) -> FileContent:
        """Cut the rows into ranges."""
        if not self.count:
            if self.header is None:
                raise PatternError(f"{self.name}: no rows of numbers in the file; is it the right file?")
            raise PatternError(
                f"{self.name}: line {self.header[0]}: no rows of numbers; expected angle and counts, found "
                f"'{declared.short(' '.join(self.header[1]))}'"
            )
        if len(self.radiations) == 1 and not self.content.radiation:
            self.content.radiation = self.radiations.pop()
        table, numbers = np.concatenate(self.tables), np.concatenate(self.numbers)
        if self.points:
            self.content.flags.extend(ended.points(self.points, self.count))
        cuts = self._ranges(table[:, 0])
        for first, last, time in cuts:
            seconds = None if time is None else np.full(last - first, time)
            uncertainties = table[first:last, 2] if self.columns == 3 else None
            self.content.ranges.append(
                ScanRange(
                    table[first:last, 0],
                    table[first:last, 1],
                    uncertainties,
                    seconds,
                    "line",
                    numbers[first:last],
                )
            )
        return self.content

    def _begin(self, number: int, fields: list[str]) -> None:
        self.paused = False
        if not self.count:
            self.columns = len(fields)
            if self.columns == 1:
                raise PatternError(
                    f"{self.name}: line {number}: one number where angle and counts are expected; give two "
                    "columns (or mark a header line with #)"
                )
            if self.columns > 3:
                raise PatternError(
                    f"{self.name}: line {number}: {self.columns} columns; keep two or three (angle, counts, "
                    "standard uncertainty), and separate them by blanks or semicolons where the comma is "
                    "the decimal sign"
                )
            self._check_header(number)
        self.starts.append(self.count)
        self.times.append(self.time)
        self.forced.append(self.time_declared)
        self.time_declared = False

    def _check_header(self, number: int) -> None:
        """Refuse a first row that was taken for a header because of a slip such as the letter O for 0."""
        if self.header is None or self.header[0] != number - 1 or len(self.header[1]) != self.columns:
            return
        fields = self.header[1]
        slips = [f for f in fields if not _is_number(f) and 2 * sum(c.isdigit() for c in f) >= len(f)]
        if slips and any(_is_number(f) for f in fields) and all(any(c.isdigit() for c in f) for f in fields):
            raise self._no_number(self.header[0], fields)

    def _no_number(self, number: int, fields: list[str]) -> PatternError:
        bad = next((field for field in fields if not _is_number(field)), " ".join(fields))
        what = f"'{declared.short(bad)}' is not a number" if bad else "an empty column"
        return PatternError(
            f"{self.name}: line {number}: {what}; correct the row, or mark it as a comment with #"
        )

    def _ranges(self, axis: Array) -> list[tuple[int, int, float | None]]:
        """Join stretches that belong to one scan; return first row, end and counting time of each range."""
        ends = [*self.starts[1:], len(axis)]
        ranges: list[tuple[int, int, float | None]] = []
        for first, last, time, forced in zip(self.starts, ends, self.times, self.forced, strict=True):
            if ranges and not forced:
                begin, before, _ = ranges[-1]
                way = axis[before - 1] - axis[begin] or axis[last - 1] - axis[first]
                back = (axis[first] - axis[before - 1]) * (-1.0 if way < 0.0 else 1.0) <= 0.0
                if last - first < 2 or not (back or _step_changes(axis[begin:before], axis[first:last])):
                    ranges[-1] = (begin, last, time)
                    continue
            ranges.append((first, last, time))
        return ranges

    def _declare(self, row: str) -> None:
        """Take what a comment or header line declares."""
        if not _TELLING.search(row.lower()):
            return
        key, unit, value = _declaration(row)
        if key in _COUNTING_TIME:
            self._declare_time(value, unit)
        elif key == "number_of_points":
            self.points += int(value) if value.isdecimal() and len(value) < 10 else 0
        elif not _take(self.content, key, value, unit) and (spoken := declared.radiation_in_words(row)):
            self.radiations.add(spoken)
        if key != "flags" and (particle := declared.particle_in_words(row)):
            raise PatternError(
                f"{self.name}: '{declared.short(row)}': measured with {particle}s; only X-ray patterns can be read"
            )

    def _declare_time(self, value: str, unit: str) -> None:
        if value.lower().startswith("unknown"):
            self.time = None
            self.time_declared = True
            return
        time = declared.seconds(f"{value} {unit}" if unit and value[-1:].isdigit() else value)
        if time is not None:
            self.time = time
            self.time_declared = True


def _declaration(row: str) -> tuple[str, str, str]:
    """Key, unit and value of a line as ``wavelength_nm: 0.154``; empty where it declares nothing."""
    match = _DECLARATION.match(row) if ":" in row or "=" in row else None
    if match is None:
        return "", "", ""
    key = re.sub(r"[^a-z0-9]+", "_", match[1].lower().replace("å", "angstrom")).strip("_")
    base, _, unit = key.rpartition("_")
    return (base, unit, match[2]) if base in _WITH_UNIT else (key, "", match[2])


def _take(content: FileContent, key: str, value: str, unit: str) -> bool:
    """Take what a line declares of the measurement; return whether it declares anything."""
    if key in ("wavelength", "lambda"):
        content.wavelength_nm = declared.wavelength_nm(value, unit) or content.wavelength_nm
    elif key == "temperature":
        content.temperature_c = declared.celsius(value, unit)
    elif key == "radiation":
        content.radiation = declared.radiation_in_words(value) or value
    elif key == "geometry":
        content.geometry = declared.geometry_in_words(value)
    elif key == "flags":
        content.flags.extend(declared.flags(value))
    elif key == "start_time" or value in _WORDS.get(key, ()):
        setattr(content, key, value)
    else:
        return False
    return True


def _step_changes(before: Array, after: Array) -> bool:
    if len(before) < 2 or len(after) < 2:
        return False
    steps = abs(before[-1] - before[-2]), abs(after[1] - after[0])
    return bool(abs(steps[0] - steps[1]) > _STEP_CHANGE * max(steps))


def _is_number(field: str) -> bool:
    try:
        float(field)
    except ValueError:
        return False
    return "_" not in field

