"""What happens along a furnace run: when the A15 appears, which phases come and go."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.material.lattice import U_STATED_TEMPERATURE_K
from xrdorder.quantities.of_phase import UPPER_LIMIT, WEIGHT_FRACTION
from xrdorder.series.chunks import FAILED, NO_BEAM_STATUS, U_OWN
from xrdorder.uncertainty import ONE_SIDED_95

Array = NDArray[np.float64]

ONSET_FRACTION = 0.02
"""Weight fraction of the A15 that is called its onset: a frame of a minute tells it, and one level for all runs can be
compared (judged)."""

LASTING = 3
"""Frames in a row that a phase must be seen, or not be seen, for it to have come or gone; fewer may be chance."""


@dataclass(frozen=True)
class Onset:
    """When the A15 reaches `ONSET_FRACTION`, and how hot the furnace is then, with standard uncertainties.

    `u_h` is about frames and their spacing; `u_temperature_c` has in it how fast the furnace heats.
    """

    time_h: float
    u_h: float
    temperature_c: float
    u_temperature_c: float


@dataclass(frozen=True)
class Period:
    """From which time to which a phase is seen, h; the ends of the run where it does not come or go."""

    from_h: float
    to_h: float


def fitted(run: xr.Dataset) -> xr.Dataset:
    """Frames that have a result."""
    return run.isel(frame=np.flatnonzero(~np.isin(run["status"].values, (FAILED, NO_BEAM_STATUS))))


def onset(run: xr.Dataset, a15: str) -> Onset | None:
    """Find when the A15 appears; None where it never reaches the level, or has from the first frame on.

    A weighted line through the two frames before and the two after the level says when; that the course between frames
    is not known adds the spacing of frames over the root of twelve.

    Parameters
    ----------
    run : Dataset
        Over frames.
    a15 : str
        Name of the phase.
    """
    frames = fitted(run)
    if WEIGHT_FRACTION.of(a15) not in frames or frames.sizes["frame"] < LASTING + 1:
        return None
    hours, (share, u) = frames["time_h"].values, shares(frames, a15)
    above = np.convolve(share >= ONSET_FRACTION, np.ones(LASTING), "valid") == LASTING
    if not above.any() or above[0]:
        return None
    k = int(np.argmax(above))
    near = slice(max(k - 2, 0), k + 2)
    time, u_time = _crossing(hours[near], share[near], u[near])
    if not hours[near][0] <= time <= hours[near][-1]:  # a step among noise
        time, u_time = 0.5 * float(hours[k - 1] + hours[k]), 0.0
    u_time = math.hypot(u_time, float(hours[k] - hours[k - 1]) / math.sqrt(12.0))
    celsius = run["temperature_c"].values
    known = np.isfinite(celsius)
    if not known.any():
        return Onset(time, u_time, math.nan, math.nan)
    about = [
        float(np.interp(t, run["time_h"].values[known], celsius[known]))
        for t in (time - u_time, time, time + u_time)
    ]
    return Onset(time, u_time, about[1], math.hypot(0.5 * (about[2] - about[0]), U_STATED_TEMPERATURE_K))


def shares(frames: xr.Dataset, phase: str) -> tuple[Array, Array]:
    """Weight fraction of a phase in each frame and its own standard uncertainty.

    Where the phase was not found this is what the residual says nevertheless: none at all would be too little just
    before it is found.
    """
    nan = xr.DataArray(np.full(frames.sizes["frame"], np.nan))

    def of(name: str) -> Array:
        return np.asarray(frames.get(name, nan).values, dtype=float)

    name, significance = WEIGHT_FRACTION.of(phase), of(f"significance_{phase}")
    missing = of(f"present_{phase}") < 0.5
    own_of_missing = of(UPPER_LIMIT.of(phase)) / (significance + ONE_SIDED_95)
    share = np.where(missing, significance * own_of_missing, of(name))
    u = np.where(missing, own_of_missing, of(U_OWN + name))
    whole = ~(np.isfinite(u) & (u > 0.0))  # a phase alone is all there is: no uncertainty of its share
    return np.where(np.isfinite(share), share, 0.0), np.where(whole, ONSET_FRACTION, u)


def _crossing(hours: Array, share: Array, u: Array) -> tuple[float, float]:
    """Time at which the weighted line through fractions reaches the level, and its standard uncertainty."""
    middle = float(np.mean(hours))
    design = np.column_stack([np.ones_like(hours), hours - middle]) / u[:, None]
    covariance = np.linalg.inv(design.T @ design)
    level, slope = covariance @ (design.T @ (share / u))
    left = np.sum((design @ np.array([level, slope]) - share / u) ** 2)
    scatter = max(1.0, float(left) / (len(hours) - 2)) if len(hours) > 2 else 1.0
    away = (ONSET_FRACTION - level) / slope
    gradient = np.array([-1.0 / slope, -away / slope])
    return middle + float(away), math.sqrt(scatter * float(gradient @ covariance @ gradient))


def periods(run: xr.Dataset, phase: str) -> list[Period]:
    """When a phase is seen; gaps and sightings of fewer than `LASTING` frames are passed over."""
    frames = fitted(run)
    if f"present_{phase}" not in frames or not frames.sizes["frame"]:
        return []
    hours, seen = frames["time_h"].values, frames[f"present_{phase}"].values > 0.5
    for kind in (False, True):  # first close gaps, then drop what is seen too shortly
        edges = np.flatnonzero(np.diff(seen.astype(int), prepend=-1, append=-1))
        for start, end in pairwise(edges):
            # nobody knows how long what is cut off by an end of the run was
            inside = start > 0 and end < len(seen)
            if seen[start] == kind and end - start < LASTING and inside:
                seen[start:end] = not kind
    edges = np.flatnonzero(np.diff(seen.astype(int), prepend=0, append=0))
    return [
        Period(float(hours[a]), float(hours[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]
