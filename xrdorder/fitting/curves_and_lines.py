"""What a fit hands on as tables: curves over the angle, and the list of lines."""

from collections.abc import Iterable, Mapping, Sequence

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
    scatter = "observed less calculated over standard uncertainty (NaN: point left out)"
    columns = [
        ("observed", fit.observed, "count", "observed counts"),
        ("calculated", calculated, "count", "calculated counts"),
        ("background", fit.model.background(values), "count", "calculated background"),
        ("weighted_residual", residual, "1", scatter),
    ]
    names = [lines.phase.name for lines in present]
    columns += [(f"part_{n}", fit.model.part_of(n, values), "count", f"part of {n}") for n in names]
    if np.ptp(fit.model.time_factor) > 0.0:
        columns.append(("time_factor", fit.model.time_factor, "1", "counting time over its median"))
    axis = ("two_theta", fit.two_theta, {"units": "degree", "long_name": "diffraction angle 2 theta"})
    return xr.Dataset(described("two_theta", columns), coords={"two_theta": axis})


def described(dim: str, columns: Iterable[tuple[str, Array, str, str]]) -> dict[str, tuple[str, Array, dict[str, str]]]:
    """Variables of a dataset over one dimension, from name, values, unit and what they are."""
    return {name: (dim, values, {"units": unit, "long_name": about}) for name, values, unit, about in columns}


def line_table(present: Sequence[PhaseLines], values: Mapping[str, float]) -> xr.Dataset:
    """Every reflection of the phases found, at the reference wavelength."""
    names, hkl = [], []
    parts: list[tuple[Array, Array, Array, Array]] = [(np.zeros(0),) * 4]
    for lines in present:
        drawn = lines.summary(values)
        names += [lines.phase.name] * len(lines.hkl)
        hkl += [" ".join(str(int(i)) for i in index) for index in lines.hkl]
        width = fwhm(drawn.gauss_squared, drawn.lorentz)
        parts.append((drawn.position, lines.spacing_nm(values), drawn.area, width))
    about = (
        ("two_theta", "degree", "angle of the line, all shifts included"),
        ("d_nm", "nm", "spacing of the planes"),
        ("area", "count degree", "calculated area, all emission lines together"),
        ("fwhm", "degree", "full width at half maximum"),
    )
    columns = zip(about, zip(*parts, strict=True), strict=True)
    data = described("line", ((name, np.concatenate(part), unit, text) for (name, unit, text), part in columns))
    coords = {"phase": ("line", np.array(names, dtype=object)), "hkl": ("line", np.array(hkl, dtype=object))}
    return xr.Dataset(data, coords=coords)
