"""What a fit hands on as tables: curves over the angle, and the list of lines."""

from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.refinement import Refinement
from xrdorder.profiles.voigt import fwhm

Array = NDArray[np.float64]


def curves(fit: Refinement, present: Sequence[PhaseLines], calculated: Array) -> xr.Dataset:
    """Observed and calculated pattern, background, residual and the part of each phase, over 2 theta.

    Where counting times differ ``time_factor`` says by how much: all counts are those of their own time.
    """
    values = fit.values()
    residual = np.where(fit.used, (fit.observed - calculated) / np.sqrt(fit.variance), np.nan)
    dims = ("two_theta",)
    data = {
        "observed": (dims, fit.observed, {"units": "count", "long_name": "observed counts"}),
        "calculated": (dims, calculated, {"units": "count", "long_name": "calculated counts"}),
        "background": (
            dims,
            fit.model.background(values),
            {"units": "count", "long_name": "calculated background"},
        ),
        "weighted_residual": (
            dims,
            residual,
            {
                "units": "1",
                "long_name": "observed less calculated over standard uncertainty (NaN: point left out)",
            },
        ),
    }
    for lines in present:
        part = fit.model.part_of(lines.phase.name, values)
        data[f"part_{lines.phase.name}"] = (
            dims,
            part,
            {"units": "count", "long_name": f"part of {lines.phase.name}"},
        )
    if np.ptp(fit.model.time_factor) > 0.0:
        about = {"units": "1", "long_name": "counting time over its median"}
        data["time_factor"] = (dims, fit.model.time_factor, about)
    axis = ("two_theta", fit.two_theta, {"units": "degree", "long_name": "diffraction angle 2 theta"})
    return xr.Dataset(data, coords={"two_theta": axis})


def line_table(present: Sequence[PhaseLines], values: Mapping[str, float]) -> xr.Dataset:
    """Every reflection of the phases found, at the reference wavelength."""
    names, hkl = [], []
    columns: list[tuple[Array, Array, Array, Array]] = []
    for lines in present:
        drawn = lines.summary(values)
        names += [lines.phase.name] * len(lines.hkl)
        hkl += [" ".join(str(int(i)) for i in index) for index in lines.hkl]
        columns.append(
            (drawn.position, lines.spacing_nm(values), drawn.area, fwhm(drawn.gauss_squared, drawn.lorentz))
        )
    stacked = (
        [np.concatenate(column) for column in zip(*columns, strict=True)] if columns else [np.zeros(0)] * 4
    )
    about = (
        ("two_theta", "degree", "angle of the line, all shifts included"),
        ("d_nm", "nm", "spacing of the planes"),
        ("area", "count degree", "calculated area, all emission lines together"),
        ("fwhm", "degree", "full width at half maximum"),
    )
    data = {
        name: ("line", column, {"units": unit, "long_name": text})
        for (name, unit, text), column in zip(about, stacked, strict=True)
    }
    coords = {"phase": ("line", np.array(names, dtype=object)), "hkl": ("line", np.array(hkl, dtype=object))}
    return xr.Dataset(data, coords=coords)
