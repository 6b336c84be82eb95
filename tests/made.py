"""Patterns made in memory, for tests that need no file."""

import numpy as np
import xarray as xr


def as_pattern(two_theta: np.ndarray, counts: np.ndarray, radiation: str = "cu-ka") -> xr.DataArray:
    """Counts as `read_pattern` would give them."""
    dims = ("two_theta",)
    coords = {
        "two_theta": two_theta,
        "counting_time": (dims, np.ones_like(two_theta)),
        "variance": (dims, np.maximum(counts, 1.0)),
    }
    attrs = {"radiation": radiation, "source_file": "made.xy", "intensity_kind": "counts", "flags": "[]"}
    return xr.DataArray(counts, dims=dims, name="counts", coords=coords, attrs=attrs)
