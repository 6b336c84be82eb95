"""Patterns of one specimen over time, read a few at a time: a stack in one file, or a folder with a table of times.

A stack is an HDF5 file, as NeXus has it: an NXdata group whose ``signal`` has two dimensions, frames and points, and
whose ``axes`` name the times and the angles. The unit of time (``s``, ``min``, ``h``) stands at the times; angles are
degrees of 2 theta unless they are told in ``rad``. Intensities are counts unless ``<signal>_errors`` stands
beside them.
``count_time`` holds the seconds of a frame, one number or one each.

A folder holds `TIMES`, a CSV table with the columns ``file`` and ``time_s`` or ``time_h``, and the patterns, of any
format that `xrdorder.patterns.read_pattern` knows.
"""

import csv
import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import h5py
import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.exceptions import PatternError, StudyError, XrdorderError
from xrdorder.files.atomic import file_hash
from xrdorder.files.regular import open_regular, read_text
from xrdorder.patterns import read_pattern
from xrdorder.patterns.declared import seconds
from xrdorder.treatments.history import SECONDS_PER_HOUR

Array = NDArray[np.float64]

TIMES = "times.csv"
MOST_FRAMES = 1_000_000
"""Of a series; a damaged header may claim any number."""

_MOST_POINTS = 1_000_000


@dataclass(frozen=True)
class Folder:
    """Files of a folder, in the order of its table of times."""

    path: Path
    times_h: Array
    files: tuple[str, ...]

    def name(self, frame: int) -> str:
        """File of a frame."""
        return self.files[frame]

    def read(self, first: int, last: int) -> Iterator[xr.DataArray | XrdorderError]:
        """Read file by file."""
        for file in self.files[first:last]:
            try:
                yield read_pattern(self.path / file)
            except XrdorderError as error:
                yield error

    def digest(self, first: int, last: int) -> str:
        """SHA-256 over the files; one that cannot be read has none."""
        hashes = []
        for file in self.files[first:last]:
            try:
                hashes.append(file_hash(self.path / file))
            except OSError:
                hashes.append("")
        return hashlib.sha256(" ".join(hashes).encode()).hexdigest()


def _folder(path: Path) -> Folder:
    table = path / TIMES
    if not table.is_file():
        raise StudyError(f"{path}: has no {TIMES}; write one with the columns file and time_s or time_h")
    try:
        rows = list(csv.reader(read_text(table).splitlines()))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise StudyError(f"{table}: cannot be read ({error})") from None
    head = [cell.strip().lower() for cell in rows[0]] if rows else []
    unit = next((u for u in ("time_s", "time_h") if u in head), "")
    if not unit or "file" not in head:
        raise StudyError(
            f"{table}: line 1: needs the columns file and time_s or time_h; it has {', '.join(head) or 'none'}"
        )
    files, times = [], []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            files.append(row[head.index("file")].strip())
            times.append(float(row[head.index(unit)]))
        except (IndexError, ValueError):
            raise StudyError(f"{table}: line {number}: needs a file and a number under {unit}") from None
    hours = np.array(times) / (SECONDS_PER_HOUR if unit == "time_s" else 1.0)
    return Folder(path, _rising(hours, str(table)), tuple(files))


def _rising(hours: Array, where: str) -> Array:
    """Refuse times that are no course."""
    if not 0 < len(hours) <= MOST_FRAMES:
        raise StudyError(f"{where}: {len(hours)} frames; a series has 1 to {MOST_FRAMES}")
    wrong = np.flatnonzero(~np.isfinite(hours) | (np.diff(hours, prepend=-np.inf) <= 0.0))
    if wrong.size:
        raise StudyError(
            f"{where}: frame {wrong[0]}: its time is not later than that of the frame before; put them in order"
        )
    return hours


@dataclass(frozen=True)
class Stack:
    """Frames of one HDF5 file; `signal`, `errors` and `count_time` are places in it, the last two maybe empty."""

    path: Path
    times_h: Array
    two_theta: Array
    signal: str
    errors: str
    count_time: str

    def name(self, frame: int) -> str:
        """File and number of a frame, from 0 as in the file."""
        return f"{self.path.name} frame {frame}"

    def read(self, first: int, last: int) -> Iterator[xr.DataArray | XrdorderError]:
        """Read all asked for in one go: hand over chunks, not the whole."""
        with _opened(self.path) as file:
            counts = np.asarray(file[self.signal][first:last], dtype=np.float64)
            errors = np.asarray(file[self.errors][first:last], dtype=np.float64) if self.errors else None
            time = np.ones(last - first)
            if self.count_time:
                held = file[self.count_time]
                time = time * (
                    held[first:last] if held.size == len(self.times_h) > 1 else np.ravel(held[()])[0]
                )
        for k in range(last - first):
            try:
                yield self._pattern(
                    first + k, counts[k], None if errors is None else errors[k] ** 2, float(time[k])
                )
            except PatternError as error:
                yield error

    def _pattern(self, frame: int, counts: Array, variance: Array | None, time_s: float) -> xr.DataArray:
        """One frame as `read_pattern` would give it."""
        if not np.all(np.isfinite(counts)) or (variance is None and counts.min() < 0.0):
            raise PatternError(f"{self.name(frame)}: counts below zero or none at all; leave such points out")
        if variance is not None and not np.all(np.isfinite(variance) & (variance > 0.0)):
            raise PatternError(
                f"{self.name(frame)}: uncertainties that are not above zero; leave such points out"
            )
        if not (np.isfinite(time_s) and time_s > 0.0):
            raise PatternError(f"{self.name(frame)}: counting time {time_s:g} s; give seconds above zero")
        dims = ("two_theta",)
        coords = {
            "two_theta": self.two_theta,
            "counting_time": (dims, np.full(len(counts), time_s)),
            "variance": (dims, np.maximum(counts, 1.0) if variance is None else variance),
        }
        kind = "counts" if variance is None else "intensity"
        attrs = {"source_file": self.name(frame), "intensity_kind": kind, "flags": "[]"}
        return xr.DataArray(counts, dims=dims, name="counts", coords=coords, attrs=attrs)

    def digest(self, first: int, last: int) -> str:
        """SHA-256 over angles, counts and what stands beside them."""
        digest = hashlib.sha256(self.two_theta.tobytes())
        with _opened(self.path) as file:
            for place in (self.signal, self.errors):
                if place:
                    digest.update(np.ascontiguousarray(file[place][first:last]).tobytes())
            if self.count_time:
                digest.update(np.ascontiguousarray(file[self.count_time][()]).tobytes())
        return digest.hexdigest()


Frames: TypeAlias = Folder | Stack
"""Patterns over time: `times_h` rise, `read` gives frames one after the other, an error in the place of one that is
unusable; `digest` is a hash of what stands in them."""


def open_frames(path: Path) -> Frames:
    """Look at a stack or a folder, without reading a frame.

    Raises
    ------
    StudyError
        It is neither, or its times are missing or do not rise.
    """
    if path.is_dir():
        return _folder(path)
    if not path.exists():
        raise StudyError(f"{path}: no such file or folder; name an HDF5 stack, or a folder with {TIMES}")
    return _stack(path)


@contextmanager
def _opened(path: Path) -> Iterator[h5py.File]:
    """Open an HDF5 file; damage is one line."""
    try:
        open_regular(path).close()
        with h5py.File(path, "r") as file:
            yield file
    except XrdorderError:
        raise
    except (OSError, RuntimeError, KeyError, ValueError, TypeError) as error:
        said = " ".join(str(error).split())[:120]
        raise StudyError(
            f"{path}: is no HDF5 stack, or damaged ({said}); copy it again, or name a folder with {TIMES}"
        ) from None


def _stack(path: Path) -> Stack:
    with _opened(path) as file:
        groups: list[h5py.Group] = []
        file.visititems(lambda _, item: groups.append(item) if _holds_frames(item) else None)
        if len(groups) != 1:
            what = "no NXdata group" if not groups else f"{len(groups)} NXdata groups"
            raise StudyError(
                f"{path}: {what} with a signal over frames and points whose axes are named; a stack needs one "
                "(docs/howto/series.md)"
            )
        return _of_group(path, groups[0])


def _text(value: Any) -> str:
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _holds_frames(item: Any) -> bool:
    """Whether a group is NXdata with a signal of two dimensions."""
    if not isinstance(item, h5py.Group) or "signal" not in item.attrs or "axes" not in item.attrs:
        return False
    signal = item.get(_text(item.attrs["signal"]))
    return isinstance(signal, h5py.Dataset) and signal.ndim == 2 and signal.dtype.kind in "iuf"


def _of_group(path: Path, group: h5py.Group) -> Stack:
    signal = group[_text(group.attrs["signal"])]
    frames, points = signal.shape
    axes = [group.get(_text(name)) for name in np.ravel(group.attrs["axes"])]
    if len(axes) != 2 or any(not isinstance(a, h5py.Dataset) or a.dtype.kind not in "iuf" for a in axes):
        raise StudyError(
            f"{path}: {group.name}: axes must name two datasets of numbers, the times and the angles"
        )
    times, angles = axes
    if times.shape != (frames,) or angles.shape != (points,):
        raise StudyError(
            f"{path}: {group.name}: {frames} frames of {points} points, but axes of {times.shape} and {angles.shape}"
        )
    if frames > MOST_FRAMES or points > _MOST_POINTS or points < 3:
        raise StudyError(f"{path}: {signal.name}: claims {frames} frames of {points} points")
    if any(dataset.is_virtual or dataset.external for dataset in (signal, times, angles)):
        raise StudyError(f"{path}: its numbers stand in another file, which is not followed; export it whole")
    unit = _text(times.attrs.get("units", "")).strip()
    factor = seconds(f"1 {unit}") if unit else None
    if factor is None:
        raise StudyError(f"{path}: {times.name}: tell the unit of time in its attribute units: s, min or h")
    two_theta = np.asarray(angles[()], dtype=np.float64)
    if _text(angles.attrs.get("units", "")).strip().lower() in ("rad", "radian", "radians"):
        two_theta = np.degrees(two_theta)
    if (
        not np.all(np.isfinite(two_theta))
        or np.any(np.diff(two_theta) <= 0.0)
        or two_theta[0] <= 0.0
        or two_theta[-1] >= 180.0
    ):
        raise StudyError(f"{path}: {angles.name}: angles must rise between 0 and 180 degrees of 2 theta")
    hours = np.asarray(times[()], dtype=np.float64) * factor / SECONDS_PER_HOUR
    errors = next((f"{n}" for n in (f"{signal.name}_errors", f"{group.name}/errors") if n in group.file), "")
    count_time = f"{group.name}/count_time" if "count_time" in group else ""
    if errors and group.file[errors].shape != signal.shape:
        raise StudyError(f"{path}: {errors}: not of the shape of {signal.name}")
    if count_time and group.file[count_time].size not in (1, frames):
        raise StudyError(f"{path}: {count_time}: needs one number, or one a frame")
    return Stack(path, _rising(hours, str(path)), two_theta, signal.name, errors, count_time)
