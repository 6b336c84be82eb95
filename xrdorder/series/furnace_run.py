"""A furnace run from its files to quantities over time and temperature; what was done already is kept."""

import json
import math
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder import __version__
from xrdorder.crystals import Phase, phase
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.files.atomic import file_hash, make_folder, only_run, sweep, write_table
from xrdorder.files.sealed import write_sealed
from xrdorder.fitting import DEFAULT_PHASES
from xrdorder.kinetics import ConversionCurve
from xrdorder.profiles import read_instrument
from xrdorder.results.fingerprint import OF_FIT, fingerprint
from xrdorder.results.netcdf import netcdf
from xrdorder.running.pool import run_all
from xrdorder.series.chunks import (
    CHUNK,
    FAILED,
    NO_BEAM,
    NO_BEAM_STATUS,
    TEXTS,
    Chunk,
    do_chunk,
    is_done,
    stored,
)
from xrdorder.series.conversion_curve import conversion_curve
from xrdorder.series.events import Onset, Period, onset, periods
from xrdorder.series.frames import Frames, open_frames
from xrdorder.series.wire_signal import WireSignal, matched, read_signal
from xrdorder.treatments import LoggedTreatment
from xrdorder.treatments.logged import read_log

Array = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

SERIES_NC, SERIES_CSV, CHUNKS = "series.nc", "series.csv", "chunks"
BINS = 400
"""Of the intensity map, over the angles of the first frame that can be read."""

OF_CHUNK = (*OF_FIT, "xrdorder.series.chunks")
"""Modules that a chunk is computed by, with all that they import."""


@dataclass(frozen=True)
class FurnaceRun:
    """What came out.

    Attributes
    ----------
    table : Dataset
        Over frames, as in `SERIES_NC`.
    log : LoggedTreatment
    a15 : str
        Name of the A15 phase; empty where none was asked for.
    phases : tuple of str
        All asked for.
    onset : Onset or None
    curve : ConversionCurve or None
    periods : mapping of str to list of Period
        When each phase is seen.
    chunks_fitted, chunks_kept : int
        Of this call.
    signal : WireSignal or None
        Resistance or voltage of the wire, where the log has it.
    """

    table: xr.Dataset
    log: LoggedTreatment
    a15: str
    phases: tuple[str, ...]
    onset: Onset | None
    curve: ConversionCurve | None
    periods: dict[str, list[Period]]
    chunks_fitted: int
    chunks_kept: int
    signal: WireSignal | None = None


def run_series(
    frames: str | Path,
    instrument: str | Path,
    log: str | Path,
    out: str | Path,
    *,
    phases: Sequence[str] = (),
    signal: str = "",
    again: bool = False,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
) -> FurnaceRun:
    """Fit all frames of a furnace run; write `SERIES_NC` and `SERIES_CSV`.

    Parameters
    ----------
    frames : str or Path
        A stack, or a folder with a table of times (`xrdorder.series.frames`).
    instrument : str or Path
        Instrument file.
    log : str or Path
        CSV of time and temperature, on the clock of the frames (`xrdorder.treatments.logged`).
    out : str or Path
        Folder for the results; chunks that stand there, and whose inputs are the same, are not fitted again.
    phases : sequence of str
        Names or paths; those of single patterns unless given.
    signal : str
        Column of the log with resistance or voltage of the wire; recognised unless told (`wire_signal`).
    again : bool
        Fit all chunks again.
    workers : int, optional
        Number of processes.
    cluster : str, optional
        Address of a dask scheduler whose workers fit the chunks instead (`xrdorder.running.cluster`).
    progress : callable, optional
        Called with (frames done, frames to do, name of the chunk).

    Raises
    ------
    StudyError
        Frames, times or log cannot be used; another run is at work; the disk refuses.
    InstrumentError, PhaseError, UnknownNameError
        Instrument or phases cannot be used.
    """
    out, instrument = Path(out).absolute(), Path(instrument)  # workers may stand in other folders
    source, course = open_frames(Path(frames).absolute()), read_log(log)
    wire = read_signal(Path(log), signal)
    chosen = tuple(phase(name) for name in phases or DEFAULT_PHASES)
    temperatures = _temperatures(source, course, Path(log))
    chunks = _chunks(source, temperatures, instrument, chosen, out)
    make_folder(out / CHUNKS)
    with only_run(out):
        sweep(out)
        sweep(out / CHUNKS)
        todo = [chunk for chunk in chunks if again or not is_done(chunk)]
        counted = _Counter(progress, sum(chunk.last - chunk.first for chunk in todo))
        run_all(do_chunk, todo, workers=workers, cluster=cluster, done=counted.up)
        table = _collated(chunks)
        a15 = next((choice.name for choice in chosen if choice.order is not None), "")
        kept = len(chunks) - len(todo)
        run = _run_of(table, course, a15, tuple(choice.name for choice in chosen), len(todo), kept, wire)
        write_sealed(out / SERIES_NC, netcdf(table))
        write_table(out / SERIES_CSV, _rows(table))
    return run


def _run_of(
    table: xr.Dataset, log: LoggedTreatment, a15: str, phases: tuple[str, ...], fitted: int, kept: int,
    signal: WireSignal | None,
) -> FurnaceRun:  # fmt: skip
    """Look for what happened, and note it in the table."""
    when = onset(table, a15) if a15 else None
    curve = conversion_curve(table, a15, log) if a15 else None
    spans = {name: periods(table, name) for name in phases}
    if signal is not None:
        hours = table["time_h"].values
        signal = replace(signal, steps=matched(signal.steps, when, spans, a15, hours))
        at = np.interp(hours, signal.hours, signal.values, left=np.nan, right=np.nan)
        table["wire_signal"] = "frame", at, {"units": signal.unit, "long_name": f"{signal.name} of the wire"}
    table.attrs |= {
        "title": "furnace run", "program": f"xrdorder {__version__}",
        "onset": json.dumps(asdict(when)) if when else "",
        "conversion": json.dumps(asdict(curve)) if curve else "",
        "signal": json.dumps(signal.record()) if signal else "",
        "periods_h": json.dumps({name: [[at.from_h, at.to_h] for at in seen] for name, seen in spans.items()}),
    }  # fmt: skip
    return FurnaceRun(table, log, a15, phases, when, curve, spans, fitted, kept, signal)


class _Counter:
    """Frames done so far."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress, self._total, self._done = progress, total, 0

    def up(self, chunk: Chunk, frames: int) -> None:
        self._done += frames
        if self._progress is not None:
            self._progress(self._done, self._total, f"frames {chunk.first} to {chunk.last - 1}")


def _temperatures(frames: Frames, log: LoggedTreatment, file: Path) -> Array:
    """Temperature at each frame; NaN where the log does not reach."""
    hours = frames.times_h
    temperatures = np.interp(hours, log.hours, log.temperatures_c, left=np.nan, right=np.nan)
    if not np.any(np.isfinite(temperatures)):
        raise StudyError(
            f"{file}: logged from {log.hours[0]:g} to {log.hours[-1]:g} h, but the frames are of {hours[0]:g} to "
            f"{hours[-1]:g} h; bring both to one clock"
        )
    return np.asarray(temperatures)


def _chunks(
    frames: Frames, temperatures: Array, instrument: Path, phases: tuple[Phase, ...], out: Path
) -> list[Chunk]:
    """All chunks, their borders hanging on nothing but the number of frames."""
    used, edges = read_instrument(instrument), _edges(frames)
    # a phase is its numbers, all digits of them however this process prints arrays; an address in memory would make
    # every run another one
    with np.printoptions(threshold=sys.maxsize, floatmode="unique", suppress=False, linewidth=120):
        numbers = [re.sub(r" at 0x[0-9a-f]+", "", repr(phase)) for phase in phases]
    inputs = fingerprint({"instrument": file_hash(instrument)}, {"phases": numbers}, OF_CHUNK)
    total = len(frames.times_h)
    return [
        Chunk(
            frames, first, min(first + CHUNK, total), temperatures[first : first + CHUNK], used, phases, edges, inputs,
            out / CHUNKS / f"chunk-{first // CHUNK:05d}.nc",
        )
        for first in range(0, total, CHUNK)
    ]  # fmt: skip


def _edges(frames: Frames) -> Array:
    """Bins of the intensity map."""
    for k in range(len(frames.times_h)):
        for pattern in frames.read(k, k + 1):
            if isinstance(pattern, XrdorderError):
                reason = pattern
                continue
            angles = pattern["two_theta"].values
            bins = max(min(BINS, len(angles) // 2), 1)
            half = 0.5 * float(angles[1] - angles[0])
            return np.linspace(float(angles[0]) - half, float(angles[-1]) + half, bins + 1)
    raise StudyError(f"{frames.path}: no frame can be read, the last one as: {reason}")


def _collated(chunks: Sequence[Chunk]) -> xr.Dataset:
    """Join chunks, of which one at a time is open; frames far below the usual count rate of all are without beam."""
    total = chunks[-1].last
    dataset = xr.Dataset()
    for chunk in chunks:
        table = stored(chunk.target).reset_coords(drop=False)
        for name, part in table.data_vars.items():
            if name not in dataset:
                empty = np.full((total, *part.shape[1:]), np.nan, dtype=part.dtype)
                dataset[name] = part.dims, empty, part.attrs
            dataset[name].values[chunk.first : chunk.last] = part.values
    edges = chunks[0].edges
    dataset = dataset.set_coords("time_h").assign_coords(
        two_theta=(
            "angle",
            0.5 * (edges[1:] + edges[:-1]),
            {"units": "degree", "long_name": "middle of the bin"},
        )
    )
    rates = dataset["counts_per_s"].values
    dark = (rates <= NO_BEAM * np.nanmedian(rates)) & (dataset["status"].values != FAILED)
    for name in _numbers(dataset):
        if name not in ("counts_per_s", "temperature_c"):
            dataset[name].values[dark] = np.nan
    dataset["status"].values[dark] = NO_BEAM_STATUS
    return dataset


def _numbers(table: xr.Dataset) -> list[str]:
    """Names of numbers that each frame has."""
    return [str(name) for name, variable in table.data_vars.items() if variable.ndim == 1 and name not in TEXTS]


def _rows(table: xr.Dataset) -> Iterator[list[object]]:
    """Heads, then one row a frame, made as it is asked for; an empty cell where there is no number."""
    first, *rest = _numbers(table)
    names = ["time_h", first, *TEXTS, *rest]
    yield ["frame", *names]
    for frame, cells in enumerate(zip(*(table[name].values for name in names), strict=True)):
        yield [frame, *map(_cell, cells)]


def _cell(value: str | float) -> str:
    if isinstance(value, str):
        return value
    return "" if math.isnan(value) else f"{value:.9g}"
