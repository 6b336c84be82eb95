"""What do centres and areas of single lines say about lattice and order?

Lattice by least squares with the specimen's displacement free, and by the extrapolation of Nelson and Riley; order from
ratios of areas, chosen so that texture cancels: (110) against (211) and (321), whose cubic harmonics of order 4 are the
same, and (110) against (440), the same direction, where nothing of texture is left but displacement parameters matter.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.fitting.curves_and_lines import described
from xrdorder.fitting.single_lines import ORDER_LINE, STRONG_LINES, Hkl, SingleLine, drawn_lines, hkl_name
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.refinement import Refinement, Solution

Array = NDArray[np.float64]

_LEAST_LINES = 4  # two unknowns, and something left to judge by
_LEAST_AREA = 3.0  # standard uncertainties; below it the logarithm of an area is meaningless
_LEAST_CONTRAST = 0.01
_ROUNDS = 50


@dataclass(frozen=True)
class LineLattice:
    """Lattice parameter from line centres.

    Attributes
    ----------
    a_nm, u_a_nm
        Value and standard uncertainty from counting and scatter of the lines; NaN with a reason.
    bias_nm
        By how much the method misses the lattice of the whole fit when given that fit's own line centres: zero for
        least squares in the same geometry, not for an extrapolation.
    chi2_reduced
        Scatter of the centres over what their uncertainties allow.
    count
        Number of lines.
    reason
        Why there is no value; empty when there is one.
    """

    a_nm: float
    u_a_nm: float
    bias_nm: float = 0.0
    chi2_reduced: float = float("nan")
    count: int = 0
    reason: str = ""


@dataclass(frozen=True)
class LineOrder:
    """Contrast between the sites from areas of lines.

    Attributes
    ----------
    contrast, u_contrast
        Value and standard uncertainty from counting, displacement parameters and texture; NaN with a reason.
    against
        Lines the order line was compared with.
    reason
        Why there is no value; empty when there is one.
    """

    contrast: float
    u_contrast: float
    against: tuple[Hkl, ...]
    reason: str = ""


def lattice_from_lines(lines: Sequence[SingleLine], fit: Refinement, a15: PhaseLines) -> LineLattice:
    """Lattice parameter of a cubic phase from line centres, by weighted least squares.

    Displacement of the specimen is free, all other shifts are those of the whole fit.

    Parameters
    ----------
    lines
        From `fit_single_lines`.
    fit, a15
        The whole fit they belong to, for the shifts and their derivatives.
    """
    values = fit.values()
    out_of_place = [name for name in fit.model.displacement_names if fit.parameters[name].vary]
    names = (*a15.length_names[:1], *out_of_place)
    usable, slopes = centres(lines, a15, values, names)
    if len(usable) < max(_LEAST_LINES, len(names) + 1):
        return no_lattice(len(usable))
    departure = np.array([line.centre - line.calculated_centre for line in usable])
    u = np.array([line.u_centre for line in usable])
    solved, u_solved, chi2 = _weighted(slopes, departure, u)
    return LineLattice(values[names[0]] + float(solved[0]), float(u_solved[0]), 0.0, chi2, len(usable))


def nelson_riley(lines: Sequence[SingleLine], fit: Refinement, a15: PhaseLines) -> LineLattice:
    """Lattice parameter of a cubic phase, each line's own extrapolated to theta = 90 degrees.

    Plotted against (cos^2 theta / sin theta + cos^2 theta / theta) / 2 the errors of a cylindrical, absorbing
    specimen fall on a straight line: J. B. Nelson, D. P. Riley, Proc. Phys. Soc. 57 (1945) 160 (from memory). On a flat
    specimen a displacement goes with cos^2 theta / sin theta alone, so the extrapolation does not remove it exactly:
    `bias_nm` says what is left of the displacement of the whole fit. It needs no distances and assumes no single
    cause, which is what it is good for: a shift of any kind that vanishes toward high angles ends near the same value,
    while a wrong zero or a wrong wavelength does not.

    Parameters
    ----------
    lines, fit, a15
        As for `lattice_from_lines`. Offset, transparency and the flat specimen are corrected, displacement is not.
    """
    values = fit.values()
    usable, _ = centres(lines, a15, values, ())
    if len(usable) < _LEAST_LINES:
        return no_lattice(len(usable))
    apparent_of = _Apparent(usable, fit, a15)
    u_centre = np.array([line.u_centre for line in usable])

    def extrapolated(centres: Array) -> tuple[float, float, float]:
        return at_back_reflection(*apparent_of(centres, u_centre))

    a, u_a, chi2 = extrapolated(np.array([line.centre for line in usable]))
    expected, _, _ = extrapolated(np.array([line.calculated_centre for line in usable]))
    return LineLattice(a, u_a, expected - values[a15.length_names[0]], chi2, len(usable))


def nelson_riley_function(theta: Array) -> Array:
    """(cos² theta / sin theta + cos² theta / theta) / 2 of Bragg angles in rad; zero at 90 degrees."""
    return np.asarray(0.5 * np.cos(theta) ** 2 * (1.0 / np.sin(theta) + 1.0 / theta))


def at_back_reflection(theta: Array, apparent: Array, u: Array) -> tuple[float, float, float]:
    """Lattice parameter at 90 degrees, its standard uncertainty and reduced chi squared, by `nelson_riley_function`.

    Parameters
    ----------
    theta, apparent, u
        Bragg angles in rad, lattice parameters by each line and their standard uncertainties, shape (lines,).
    """
    basis = np.stack([np.ones_like(theta), nelson_riley_function(theta)], axis=1)
    solved, u_solved, chi2 = _weighted(basis, apparent, u)
    return float(solved[0]), float(u_solved[0]), chi2


def single_line_table(lines: Sequence[SingleLine], fit: Refinement, a15: PhaseLines) -> xr.Dataset:
    """Single lines as they are stored and drawn, over `single_line`.

    Parameters
    ----------
    lines, fit, a15
        As for `lattice_from_lines`.

    Returns
    -------
    Dataset
        ``two_theta``, ``a_nm`` (from this line alone; the displacement is left in, all other shifts are corrected),
        ``area`` and ``specimen_lorentz`` (Lorentzian full width beyond that of instrument and radiation, at the
        ``specimen_gauss_squared`` of the whole fit), each with ``u_`` and ``calculated_`` by the whole fit; ``theta``
        (Bragg angle, degrees); ``reason`` where a line could not be used. Coordinate ``hkl``.
    """
    values = fit.values()
    drawn, _ = a15.lines(values, {})
    bare, _ = a15.lines(values | dict.fromkeys(a15.width_names, 0.0), {})
    first = {line.hkl: line.reference[0] for line in drawn_lines(a15, drawn, values)}
    rows = np.array([first[line.hkl] for line in lines], dtype=np.intp)

    def column(name: str) -> Array:
        return np.array([getattr(line, name) for line in lines], dtype=float)

    apparent_of = _Apparent(lines, fit, a15)
    centre, u_centre = column("centre"), column("u_centre")
    _, apparent, u_apparent = apparent_of(centre, u_centre)
    theta, calculated, _ = apparent_of(column("calculated_centre"), u_centre)
    columns = (
        ("two_theta", centre, "degree", "centre of the line, all shifts included"),
        ("u_two_theta", u_centre, "degree", "standard uncertainty"),
        ("calculated_two_theta", column("calculated_centre"), "degree", "centre by the whole fit"),
        ("theta", np.degrees(theta), "degree", "Bragg angle, displacement left in"),
        ("a_nm", apparent, "nm", "lattice parameter by this line alone, displacement left in"),
        ("u_a_nm", u_apparent, "nm", "standard uncertainty"),
        ("calculated_a_nm", calculated, "nm", "the same by the whole fit"),
        ("area", column("area"), "count degree", "area, all emission lines together"),
        ("u_area", column("u_area"), "count degree", "standard uncertainty"),
        ("calculated_area", column("calculated_area"), "count degree", "area by the whole fit"),
        ("specimen_lorentz", column("lorentz") - bare.lorentz[rows], "degree", "Lorentzian full width of the specimen"),
        ("u_specimen_lorentz", column("u_lorentz"), "degree", "standard uncertainty"),
        ("calculated_specimen_lorentz", (drawn.lorentz - bare.lorentz)[rows], "degree", "the same by the whole fit"),
        ("specimen_gauss_squared", (drawn.gauss_squared - bare.gauss_squared)[rows], "degree^2",
         "squared Gaussian full width of the specimen by the whole fit"),
    )  # fmt: skip
    reasons = np.array([line.reason for line in lines], dtype=object)
    hkl = np.array([" ".join(str(i) for i in line.hkl) for line in lines], dtype=object)
    why = {"reason": ("single_line", reasons, {"long_name": "why the line could not be used"})}
    return xr.Dataset(described("single_line", columns) | why, coords={"hkl": ("single_line", hkl)})


def order_from_lines(
    lines: Sequence[SingleLine],
    fit: Refinement,
    a15: PhaseLines,
    solution: Solution,
    enlargement: float = 1.0,
    against: tuple[Hkl, ...] = STRONG_LINES,
) -> LineOrder:
    """Site-order contrast from the area of (110) and the areas of other lines.

    Everything else (mean scattering, displacement parameters, polarisation, texture beyond what cancels) is that of
    the whole fit; what the fit does not know exactly of displacement parameters and texture is in the uncertainty.

    Parameters
    ----------
    lines
        From `fit_single_lines`.
    fit, a15
        The whole fit they belong to.
    solution
        Covariance of its free parameters.
    enlargement
        Factor on that covariance's standard uncertainties.
    against
        Lines to compare with; their areas, each over the calculated one, are averaged by weight.
    """
    nan = float("nan")
    name = a15.contrast_name
    if name is None:
        return LineOrder(nan, nan, against, "the phase has no order")
    line_of = {line.hkl: line for line in lines}
    for hkl in (ORDER_LINE, *against):
        if hkl not in line_of:
            return LineOrder(nan, nan, against, f"{hkl_name(hkl)} is not in the measured range")
        if line_of[hkl].reason:
            return LineOrder(nan, nan, against, f"{hkl_name(hkl)}: {line_of[hkl].reason}")
        if not line_of[hkl].area > _LEAST_AREA * line_of[hkl].u_area:
            return LineOrder(nan, nan, against, f"{hkl_name(hkl)}: too few counts")
    order, others = line_of[ORDER_LINE], [line_of[hkl] for hkl in against]
    relative = np.array([line.u_area / line.area for line in others])
    weight = relative**-2 / np.sum(relative**-2)
    measured = np.log(order.area) - float(weight @ np.log([line.area for line in others]))
    u_squared = (order.u_area / order.area) ** 2 + 1.0 / float(np.sum(relative**-2))

    contrast = max(fit.values()[name], 0.5)
    values = fit.values() | {name: contrast}
    start, intensity_by = a15.intensities(values)
    nuisances = [n for n in intensity_by if n in solution.free and n != name]
    drawn, _ = a15.lines(values, {})
    each = len(drawn.area) // len(start)
    unit = drawn.area.reshape(len(start), each).sum(axis=1) / start
    members = {line.hkl: np.unique(line.rows // each) for line in drawn_lines(a15, drawn, values)}

    def calculated(contrast: float) -> tuple[float, Array]:
        """Logarithm of the calculated ratio and its derivatives by contrast and nuisances."""
        intensity, by = a15.intensities(values | {name: contrast})
        areas = np.stack([intensity, by[name], *(by[n] for n in nuisances)]) * unit
        area, *slope = np.stack([areas[:, members[hkl]].sum(axis=1) for hkl in (ORDER_LINE, *against)], axis=1)
        relative = np.array(slope) / area
        value = np.log(area[0]) - float(weight @ np.log(area[1:]))
        return value, relative[:, 0] - relative[:, 1:] @ weight

    for _ in range(_ROUNDS):
        value, slopes = calculated(contrast)
        # the ratio goes nearly with the square of the contrast: Newton's step is taken in its logarithm
        step = float(np.clip((measured - value) / (slopes[0] * contrast), -1.0, 1.0))
        contrast = max(contrast * float(np.exp(step)), _LEAST_CONTRAST)
        if abs(step) < 1e-9:
            break
    else:
        return LineOrder(nan, nan, against, "no contrast gives these areas")
    _, slopes = calculated(contrast)
    if nuisances:
        covariance = solution.block(nuisances) * enlargement**2
        u_squared += float(slopes[1:] @ covariance @ slopes[1:])
    return LineOrder(contrast, float(np.sqrt(u_squared) / abs(slopes[0])), against)


def centres(
    lines: Sequence[SingleLine], a15: PhaseLines, values: Mapping[str, float], names: Sequence[str]
) -> tuple[list[SingleLine], Array]:
    """Lines whose centre was fitted, and derivatives of their centres by parameters, shape (lines, names)."""
    usable = [line for line in lines if not line.reason and np.isfinite(line.u_centre)]
    drawn, by = a15.lines(values, {name: k for k, name in enumerate(names)})
    at = {line.hkl: line.mean(by.position, drawn.area) for line in drawn_lines(a15, drawn, values)}
    return usable, np.array([at[line.hkl] for line in usable]).reshape(len(usable), len(names))


class _Apparent:
    """Lattice parameters that single centres give: corrected for every shift but that of the displacement."""

    def __init__(self, lines: Sequence[SingleLine], fit: Refinement, a15: PhaseLines) -> None:
        values = fit.values()
        drawn, _ = a15.lines(values | dict.fromkeys(fit.model.displacement_names, 0.0), {})
        self._wavelength = a15.optics.radiation.wavelength_nm * (1.0 + values["wavelength_shift"])
        known = {
            line.hkl: float(line.mean(drawn.position, drawn.area))
            - float(np.degrees(2.0 * np.arcsin(0.5 * self._wavelength / line.spacing_nm)))
            for line in drawn_lines(a15, drawn, values)
        }
        self._shift = np.array([known[line.hkl] for line in lines])
        self._index = np.array([np.sqrt(float(np.sum(np.square(line.hkl)))) for line in lines])

    def __call__(self, centres: Array, u_centres: Array) -> tuple[Array, Array, Array]:
        """Bragg angles in rad, lattice parameters and their standard uncertainties, from centres in degrees."""
        theta = np.radians(0.5 * (centres - self._shift))
        apparent = self._wavelength * self._index / (2.0 * np.sin(theta))
        return theta, apparent, apparent / np.tan(theta) * np.radians(0.5 * u_centres)


def no_lattice(count: int, reason: str = "") -> LineLattice:
    """Say why there is no lattice parameter; without a reason it is the number of lines."""
    nan = float("nan")
    return LineLattice(nan, nan, nan, nan, count, reason or f"only {count} lines could be used")


def _weighted(basis: Array, observed: Array, u: Array) -> tuple[Array, Array, float]:
    """Weighted least squares: solution, standard uncertainties enlarged for scatter, reduced chi squared."""
    weighted = basis / u[:, None]
    norms = np.linalg.norm(weighted, axis=0)
    inverse = np.linalg.pinv(weighted / norms) / norms[:, None]
    solved = inverse @ (observed / u)
    chi2 = float(np.sum(((observed - basis @ solved) / u) ** 2)) / max(len(observed) - basis.shape[1], 1)
    return solved, np.linalg.norm(inverse, axis=1) * np.sqrt(max(1.0, chi2)), chi2
