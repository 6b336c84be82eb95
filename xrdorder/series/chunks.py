"""Some frames in a row: fitted together, stored together.

Borders of chunks are fixed, and the first frame of each is fitted from nothing: what comes out does not hang on who
fits which chunk. A chunk is a small file that is whole or not there, so that an ended run loses the chunks in work.
"""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.crystals import Phase
from xrdorder.exceptions import XrdorderError
from xrdorder.files.sealed import read_sealed, write_sealed
from xrdorder.material.lattice import (
    EXPANSION_PER_K,
    REFERENCE_C,
    U_EXPANSION_PER_K,
    U_STATED_TEMPERATURE_K,
    factor_of,
)
from xrdorder.profiles import Instrument
from xrdorder.profiles.width_terms import size_from_lorentz_sec
from xrdorder.quantities.of_phase import UPPER_LIMIT, WEIGHT_FRACTION
from xrdorder.quantities.records import as_fitted
from xrdorder.quantities.registry import unit_of
from xrdorder.results.conventions import udunits
from xrdorder.results.netcdf import netcdf, read_root
from xrdorder.series.frame_fit import FittedFrame, Neighbour, fit_frame
from xrdorder.series.frames import Frames
from xrdorder.xrays import radiation

Array = NDArray[np.float64]
Row = dict[str, float | str]

CHUNK = 100
"""Frames of a chunk: some seconds of work, and one start from nothing in a hundred costs little."""

NO_BEAM = 0.1
"""Share of the median count rate below which a frame is taken for one without beam (judged)."""

OK, NO_A15, NO_BEAM_STATUS, FAILED = "ok", "no A15", "no beam", "failed"
U, U_OWN = "u_", "u_own_"
"""Before a name: its standard uncertainty, and the part of it that frames do not share."""

_LEAST_WIDTH = 2.0  # standard uncertainties of a size broadening below which it tells no size


@dataclass(frozen=True)
class Chunk:
    """Frames `first` to `last` - 1 of a series.

    Attributes
    ----------
    frames : Frames
    first, last : int
    temperatures_c : array, (last - first,)
        NaN where the log does not reach.
    instrument : Instrument
    phases : tuple of Phase
        At room temperature.
    edges : array, (bins + 1,)
        Of the intensity map, degrees.
    inputs : str
        What beside the frames the result hangs on, program included, as a hash.
    target : Path
    """

    frames: Frames
    first: int
    last: int
    temperatures_c: Array
    instrument: Instrument
    phases: tuple[Phase, ...]
    edges: Array
    inputs: str
    target: Path

    @property
    def fingerprint(self) -> str:
        """Hash of all that the result hangs on."""
        parts = (
            self.inputs, self.frames.digest(self.first, self.last), self.temperatures_c.tobytes().hex(),
            self.frames.times_h[self.first : self.last].tobytes().hex(), self.edges.tobytes().hex(),
        )  # fmt: skip
        return hashlib.sha256(" ".join(parts).encode()).hexdigest()


def is_done(chunk: Chunk) -> bool:
    """Whether the chunk is stored, whole, and of these inputs."""
    try:
        return str(stored(chunk.target).attrs["fingerprint"]) == chunk.fingerprint
    except (OSError, ValueError, KeyError):
        return False


def stored(path: Path) -> xr.Dataset:
    """Read a stored chunk.

    Raises
    ------
    OSError, ValueError
        It is not there, or damaged.
    """
    return read_root(read_sealed(path))


def do_chunk(chunk: Chunk) -> int:
    """Fit the frames of a chunk and store them; what is wrong with a frame becomes its status. Gives their number.

    Raises
    ------
    StudyError
        The stack cannot be read, or the chunk cannot be stored.
    """
    patterns = list(chunk.frames.read(chunk.first, chunk.last))
    rates = np.array([_rate(pattern) for pattern in patterns])
    usual = float(np.nanmedian(rates)) if np.any(np.isfinite(rates)) else 0.0
    rows: list[Row] = []
    neighbour: Neighbour | None = None
    for pattern, rate, temperature in zip(patterns, rates, chunk.temperatures_c, strict=True):
        row: Row = {"counts_per_s": float(rate)}
        if isinstance(pattern, XrdorderError):
            row |= {"status": FAILED, "reason": str(pattern)}
        elif rate <= NO_BEAM * usual:
            row |= {"status": NO_BEAM_STATUS, "reason": f"{rate:.3g} counts/s, usual are {usual:.3g}"}
        else:
            before, neighbour = neighbour, None  # a frame that fails leaves nothing to start from
            try:
                done = fit_frame(pattern, chunk.instrument, chunk.phases, float(temperature), before)
                neighbour = done.neighbour
                row |= {"warm": float(done.warm), "evaluations": float(done.evaluations)}
                row |= quantities(
                    done, float(temperature), radiation(chunk.instrument.radiation).wavelength_nm
                )
            except XrdorderError as error:
                row |= {"status": FAILED, "reason": str(error)}
            except Exception as error:  # one bad frame never stops the rest
                row |= {"status": FAILED, "reason": f"unexpected {type(error).__name__}: {error}"}
        rows.append(row)
    dataset = table(rows, chunk.frames.times_h[chunk.first : chunk.last], chunk.temperatures_c)
    binned = np.array([_binned(pattern, chunk.edges) for pattern in patterns], dtype=np.float32)  # to be looked at
    dataset["intensity"] = ("frame", "angle"), binned
    dataset.attrs["fingerprint"] = chunk.fingerprint
    write_sealed(chunk.target, netcdf(dataset))
    return len(rows)


def _rate(pattern: xr.DataArray | XrdorderError) -> float:
    """Mean counts per second of a point."""
    if isinstance(pattern, XrdorderError):
        return math.nan
    return float(np.mean(pattern.values / pattern["counting_time"].values))


def _binned(pattern: xr.DataArray | XrdorderError, edges: Array) -> Array:
    """Mean counts per second in bins of angle; NaN where there are none."""
    if isinstance(pattern, XrdorderError):
        return np.full(len(edges) - 1, np.nan)
    angles = pattern["two_theta"].values
    rate = pattern.values / pattern["counting_time"].values
    number, _ = np.histogram(angles, edges)
    total, _ = np.histogram(angles, edges, weights=rate)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def quantities(fit: FittedFrame, temperature_c: float, wavelength_nm: float) -> Row:
    """Values of a frame with their standard uncertainties, all and own.

    Parameters
    ----------
    fit : FittedFrame
    temperature_c : float
        Of the specimen, for the lattice parameter at 22.5 °C; NaN where it is not known.
    wavelength_nm : float
    """
    row: Row = {"status": OK if "a_nm" in fit.values else NO_A15, "chi2_reduced": fit.chi2_reduced}
    for name in fit.contributions.quantities:
        if name == "order_contrast" and not fit.contributions.total(name) > 0.0:  # at its bound: not given
            continue
        own = fit.contributions.part(name, shared=False)
        called = as_fitted(name) if name == "a_nm" else name
        row |= {called: fit.values[name], U + called: fit.contributions.total(name), U_OWN + called: own}
    for name, phase in fit.phases.items():
        row |= {f"present_{name}": float(phase.present), f"significance_{name}": float(phase.significance)}
        if not phase.present:
            row |= {WEIGHT_FRACTION.of(name): 0.0, UPPER_LIMIT.of(name): phase.upper_limit}
    if "a_nm" in fit.values:
        away, a, table_ = temperature_c - REFERENCE_C, fit.values["a_nm"], fit.contributions
        factor = factor_of(away)
        shared = math.hypot(
            table_.part("a_nm", shared=True),
            a * away * U_EXPANSION_PER_K,
            a * EXPANSION_PER_K * U_STATED_TEMPERATURE_K,
        )
        own = factor * table_.part("a_nm", shared=False)
        row |= {"a_nm": factor * a, U + "a_nm": math.hypot(factor * shared, own), U_OWN + "a_nm": own}
        width, u_width = fit.values["lorentz_sec"], fit.contributions.total("lorentz_sec")
        if width > _LEAST_WIDTH * u_width:
            size = size_from_lorentz_sec(width, wavelength_nm)
            own = size * fit.contributions.part("lorentz_sec", shared=False) / width
            row |= {
                "domain_size_nm": size,
                U + "domain_size_nm": size * u_width / width,
                U_OWN + "domain_size_nm": own,
            }
    return row


TEXTS = ("status", "reason")


def table(rows: Sequence[Row], times_h: Array, temperatures_c: Array) -> xr.Dataset:
    """Rows of frames as a dataset; a number that a frame does not have is NaN."""
    time = {"units": "h", "long_name": "time on the clock of the log"}
    temperature = {"units": "degC", "long_name": "temperature of the furnace"}
    columns: dict[str, tuple[str, object, dict[str, str]]] = {"temperature_c": ("frame", temperatures_c, temperature)}
    always = (*TEXTS, "counts_per_s", "warm", "evaluations")
    for name in dict.fromkeys([*always, *(name for row in rows for name in row)]):
        if name in TEXTS:
            columns[name] = "frame", np.array([row.get(name, "") for row in rows], dtype=object), {}
        else:
            unit = udunits(unit_of(name.removeprefix(U_OWN).removeprefix(U)))
            columns[name] = "frame", np.array([row.get(name, math.nan) for row in rows], dtype=float), {"units": unit}
    return xr.Dataset(columns, coords={"time_h": ("frame", times_h, time)})
