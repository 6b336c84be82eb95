"""Heat treatments as a logger wrote them down: a table of time and temperature.

A CSV file with a header. The columns for time and temperature are found by their names, and the names say the unit:
`time_h` or `time_s`, `temperature_c`; as well `Time (s)`, `T [°C]`, `t/h`. Other columns are ignored. Columns are
separated by comma, semicolon or tab; numbers may have a decimal comma where columns are not separated by one. Lines
that begin with # are comments.
"""

import re
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, PlainValidator

from xrdorder.exceptions import StudyError
from xrdorder.files import read_bytes
from xrdorder.treatments.history import MELTING_NB3SN_C, SECONDS_PER_HOUR, ZERO_CELSIUS_K, History, Swing
from xrdorder.treatments.schedule import SheetTable

Array = NDArray[np.float64]

NEAR_PEAK_K = 5.0
"""How far below the set point a logged treatment still counts as held there: the width of control of a tube furnace
(common practice, no source)."""

LEAST_HOLD_H, LEAST_SHARE = 1.0, 0.01
"""What lasts less than an hour, or a hundredth of a short log, is noise or an overshoot and no hold (judged)."""

_TIME = re.compile(r"^(t|time|elapsed[_ ]?time|elapsed|zeit)$")
_TEMPERATURE = re.compile(r"^(t|temp|temperature|temperatur|sample[_ ]?temperature)$", re.IGNORECASE)
_HEADING = re.compile(r"^\s*(?P<name>.*?)\s*(?:[\[(/_ ]\s*(?P<unit>[°ºa-zA-Z]+)\s*[\])]?)?\s*$")
_UNITS = {
    "h": "h", "hour": "h", "hours": "h", "hr": "h", "s": "s", "sec": "s", "second": "s", "seconds": "s",
    "c": "c", "°c": "c", "ºc": "c", "degc": "c", "celsius": "c",
}  # fmt: skip


def _entries(given: ArrayLike) -> Array:
    """Numbers as an array of its own that nobody changes."""
    numbers = np.array(given, dtype=float)
    numbers.flags.writeable = False
    return numbers


Entries = Annotated[np.ndarray[Any, np.dtype[np.float64]], PlainValidator(_entries)]


class LoggedTreatment(SheetTable, History):
    """A heat treatment as it was logged, linear between the entries.

    Parameters
    ----------
    hours : array, (n,)
        Rising; need not begin at zero. At least two.
    temperatures_c : array, (n,)
    file : Path, optional
        Where it was logged; two logs of the same course are equal.

    Raises
    ------
    StudyError
        Shapes differ, time does not rise, or a temperature does not exist; entries are counted from 1.

    Examples
    --------
    >>> log = LoggedTreatment(np.array([0.0, 13.0, 113.0]), np.array([20.0, 650.0, 648.0]))
    >>> log.short_name, log.hold_at_peak_h
    ('log to 649 °C/100 h', 100.0)
    """

    hours: Entries
    temperatures_c: Entries
    file: Path | None = Field(default=None, repr=False)

    def __init__(self, hours: ArrayLike, temperatures_c: ArrayLike, file: Path | None = None) -> None:
        self._made(hours=hours, temperatures_c=temperatures_c, file=file)
        if self.hours.ndim != 1 or self.hours.shape != self.temperatures_c.shape or self.hours.size < 2:
            raise StudyError("log: give at least two times and as many temperatures")
        if problem := first_problem(self.hours, self.temperatures_c, "h"):
            raise StudyError(f"log: entry {problem[0] + 1}: {problem[1]}")

    @cached_property
    def times_s(self) -> Array:
        """Times since the first entry in s."""
        return np.asarray((self.hours - self.hours[0]) * SECONDS_PER_HOUR)

    @cached_property
    def temperatures_k(self) -> Array:
        """Temperatures of the entries in K."""
        return np.asarray(self.temperatures_c + ZERO_CELSIUS_K)

    @property
    def swings(self) -> tuple[Swing, ...]:
        """None: a log holds what there was."""
        return ()

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, LoggedTreatment):
            return NotImplemented
        return np.array_equal(self.hours, other.hours) and np.array_equal(self.temperatures_c, other.temperatures_c)

    def __hash__(self) -> int:
        return hash((self.hours.tobytes(), self.temperatures_c.tobytes()))

    @property
    def peak_c(self) -> float:
        """Set point of the hottest hold in °C, to a whole degree: no furnace is told better.

        A hold is a band of `NEAR_PEAK_K` to both sides of it. From the highest temperature that lasts the median over
        that band is taken, so that furnace noise, an overshoot and a swing within the band do not tell. A log that
        holds nowhere has it `NEAR_PEAK_K` below its highest temperature.
        """
        return float(round(self._set_point_c))

    @property
    def hold_at_peak_h(self) -> float:
        """Hours not more than `NEAR_PEAK_K` below the set point, to an hour, to a tenth below ten hours.

        The ends of the ramps lie within: minutes that are part of no hold.
        """
        hours = self.time_above_h(self._set_point_c - NEAR_PEAK_K)
        return float(round(hours)) if hours >= 10.0 else round(hours, 1)

    @cached_property
    def _set_point_c(self) -> float:
        lasting = self._held_c(min(LEAST_HOLD_H, LEAST_SHARE * self.total_h))
        return self._held_c(self.time_above_h(lasting - 2.0 * NEAR_PEAK_K) / 2.0)

    def _held_c(self, hours: float) -> float:
        """Highest temperature at or above which the log spent so many hours."""
        low, high = float(self.temperatures_c.min()), float(self.temperatures_c.max())
        while high - low > 1e-3:
            middle = (low + high) / 2.0
            low, high = (middle, high) if self.time_above_h(middle) >= hours else (low, middle)
        return low

    def until(self, hour: float) -> "LoggedTreatment":
        """What the furnace has done up to a time after the first entry, on the clock of the log."""
        before = self.hours < hour
        now = float(np.interp(hour, self.hours, self.temperatures_c))
        return LoggedTreatment(np.append(self.hours[before], hour), np.append(self.temperatures_c[before], now))

    @property
    def short_name(self) -> str:
        """Set point of the hottest hold and hours at it, in one line."""
        return f"log to {self.peak_c:g} °C/{self.hold_at_peak_h:g} h"


def first_problem(times: Array, temperatures_c: Array, unit: str) -> tuple[int, str] | None:
    """First entry that cannot be, and why: (index, complaint with remedy)."""
    cold = ~(temperatures_c > -ZERO_CELSIUS_K)  # also NaN
    hot = ~(temperatures_c <= MELTING_NB3SN_C)
    late = np.concatenate([[False], ~(np.diff(times) > 0.0)]) | ~np.isfinite(times)
    bad = np.flatnonzero(cold | hot | late)
    if bad.size == 0:
        return None
    k = int(bad[0])
    if late[k]:
        before = f" {unit} comes after {times[k - 1]:g} {unit}" if k else f" {unit} is no time"
        return k, f"time must rise, but {times[k]:g}{before}; sort the table and take out what stands twice"
    if cold[k]:
        return k, f"{temperatures_c[k]:g} °C is below absolute zero (-273.15); is the column really in °C?"
    return k, f"{temperatures_c[k]:g} °C is above the melting of Nb3Sn ({MELTING_NB3SN_C:g}); is it really °C?"


def read_log(path: str | Path, name: str = "") -> LoggedTreatment:
    """Read a logged treatment from a CSV file with a header (see the module).

    Parameters
    ----------
    path : str or Path
    name : str
        What messages call the file: as somebody wrote its path.

    Raises
    ------
    StudyError
        One line: file, line, what is wrong with it, what to do.
    """
    return read_course(path, (), name)[0]


def read_course(path: str | Path, further: Sequence[str], name: str = "") -> tuple[LoggedTreatment, Array]:
    """Read a logged treatment, and what was measured at each of its times.

    Parameters
    ----------
    path : str or Path
    further : sequence of str
        Headings of the columns measured.
    name : str
        As of `read_log`.

    Returns
    -------
    log : LoggedTreatment
    measured : array, (n, len(further))

    Raises
    ------
    StudyError
        As `read_log`; or a column is missing.
    """
    path, name = Path(path), name or str(path)
    lines, columns, separator = _table(path, name)
    number = lines[0][0]
    missing = [column for column in further if column not in columns]
    if missing:
        raise StudyError(f"{name}: line {number}: no column {missing[0]}; give {', '.join(further)} beside the times")
    try:
        i, unit, j = _columns(columns)
    except ValueError as error:
        raise StudyError(f"{name}: line {number}: {error}") from None
    wanted = (i, j, *map(columns.index, further))
    values = np.empty((len(lines) - 1, len(wanted)))
    for row, (number, line) in enumerate(lines[1:]):
        cells = line.split(separator)
        for place, column in enumerate(wanted):
            try:
                values[row, place] = _value(cells, column, columns[column], separator)
            except ValueError as error:
                raise StudyError(f"{name}: line {number}: {error}") from None
    if len(values) < 2:
        raise StudyError(f"{name}: has {len(values)} line(s) of numbers; a treatment needs at least two")
    if problem := first_problem(values[:, 0], values[:, 1], unit):
        raise StudyError(f"{name}: line {lines[1 + problem[0]][0]}: {problem[1]}")
    hours = values[:, 0] / (SECONDS_PER_HOUR if unit == "s" else 1.0)
    return LoggedTreatment(hours, values[:, 1], path), values[:, 2:]


def headings(path: str | Path) -> list[str]:
    """Headings of the columns of a log.

    Raises
    ------
    StudyError
        It cannot be read, or is empty.
    """
    return _table(Path(path), str(path))[1]


def _table(path: Path, name: str) -> tuple[list[tuple[int, str]], list[str], str]:
    """Lines with their numbers, header first, headings, and what separates columns."""
    try:
        raw = read_bytes(path)
    except OSError as error:
        raise StudyError(f"{name}: cannot be read ({error.strerror or error})") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")  # old loggers write the degree sign so; nothing else here is beyond ASCII
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise StudyError(f"{name}: is empty; give a header (time_h, temperature_c) and lines of numbers")
    header = lines[0][1]
    separator = next((mark for mark in ("\t", ";") if mark in header), ",")
    columns = [name.strip().strip('"').strip() for name in header.split(separator)]
    return lines, columns, separator


def _columns(columns: list[str]) -> tuple[int, str, int]:
    """Find the columns of time and temperature, and the unit of time."""
    times: list[int] = []
    temperatures: list[int] = []
    units: list[str] = []
    for k, heading in enumerate(columns):
        match = _HEADING.match(heading)
        name, told = (match["name"].strip(" _"), (match["unit"] or "").lower()) if match else (heading, "")
        if not name and told:  # a heading of one word
            name, told = told, ""
        unit = _UNITS.get(told, "")
        is_time, is_temperature = bool(_TIME.match(name.lower())), bool(_TEMPERATURE.match(name))
        if is_time and is_temperature:  # "t" is time but in °C; "T" is temperature but in h or s
            is_time = unit in ("h", "s") or (not unit and name == "t")
            is_temperature = not is_time
        if is_time:
            if unit not in ("h", "s"):
                raise ValueError(f"column '{heading}': time must be in h or s, told in the heading: time_h or time_s")
            times.append(k)
            units.append(unit)
        elif is_temperature:
            if unit != "c":
                raise ValueError(f"column '{heading}': temperature must be in °C, told in the heading: temperature_c")
            temperatures.append(k)
    for what, places, example in (("time", times, "time_h"), ("temperature", temperatures, "temperature_c")):
        if not places:
            raise ValueError(f"has no column of {what}; name one '{example}' (there are: {', '.join(columns)})")
        if len(places) > 1:
            names = " and ".join(f"'{columns[k]}'" for k in places)
            raise ValueError(f"{names} are both columns of {what}; keep one, or name the other differently")
    return times[0], units[0], temperatures[0]


def _value(cells: list[str], column: int, heading: str, separator: str) -> float:
    """Number of a cell."""
    cell = cells[column].strip().strip('"').strip() if column < len(cells) else ""
    if not cell:
        raise ValueError(f"has nothing under '{heading}'; give a number or take the line out")
    try:
        return float(cell.replace(",", ".") if separator != "," else cell)
    except ValueError:
        pass
    if re.match(r"^[-+]?[\d.,]+(?:[eE][-+]?\d+)?\s*[°ºa-zA-Z]+$", cell):
        raise ValueError(f"'{cell}' under '{heading}' has a unit of its own; tell one unit, in the heading")
    raise ValueError(f"'{cell}' under '{heading}' is no number")
