"""Start values without a user: background, lattices and scales from the pattern itself."""

from collections.abc import Mapping, Sequence

import lmfit
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d
from scipy.optimize import nnls

from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.forward_model.roles import Kind, Role, add_parameter
from xrdorder.patterns.steps import angle_step
from xrdorder.profiles import INSTRUMENT_NAMES
from xrdorder.profiles.widths import GAUSS_TERMS, LORENTZ_TERMS, lorentz_sec_from_size
from xrdorder.xrays import Radiation

Array = NDArray[np.float64]

_CLIP_HALF_WIDTH_DEG = 2.0  # wider than any line, narrower than any hump of the background
_SMOOTHING_FWHM_DEG = 0.25
START_SIZE_NM = 100.0  # domain size to begin with
PACKING = 0.6  # solid share of a powder or a mat of filaments; common practice, no source
DETECTABLE_TRANSPARENCY_DEG = 0.005  # below it (metals, LaB6) the shift is computed and held, not fitted
U_TRANSPARENCY_RELATIVE = 0.5  # of the computed shift: packing of 0.4 to 0.9, thin specimens; judged
_WIDEST_DEG = 3.0  # domains of 2 nm; what is broader is background
_ANISOTROPY_LIMITS = (-1.4, 0.95)  # between them strain is positive along (100) and along (111)
_LONGEST_TAIL_NM = 2e-3  # the whole homogeneity field of the A15 is 0.9 pm wide
_LARGEST_STRAIN = 0.01
_STEEPEST = 1e-5  # nm of lattice for each nm of depth; 1 at.% for each micrometre is 1.4e-7
_INSTRUMENT_KINDS = {
    **dict.fromkeys((*GAUSS_TERMS, *LORENTZ_TERMS), Kind.WIDTH),
    "axial_source_ratio": Kind.AXIAL,
    "axial_detector_ratio": Kind.AXIAL,
    "two_theta_offset": Kind.OFFSET,
    "alpha2_ratio": Kind.EMISSION,
}
_SEARCH_STEP = 2e-4  # relative; a line is several times as wide at any angle


def clipped_background(two_theta: Array, counts: Array) -> Array:
    """Estimate the background by clipping peaks, shape (n,).

    Square roots of the counts are lowered to the mean of their neighbours at ever smaller distances: C. G. Ryan,
    E. Clayton, W. L. Griffin, S. H. Sie, D. R. Cousens, Nucl. Instrum. Methods B 34 (1988) 396 (from memory).
    """
    step = angle_step(two_theta)
    level = np.sqrt(np.maximum(gaussian_filter1d(counts, 3.0, mode="nearest"), 0.0))
    widest = max(int(_CLIP_HALF_WIDTH_DEG / step), 2)
    for distance in range(widest, 0, -max(widest // 40, 1)):
        padded = np.pad(
            level, distance, mode="reflect", reflect_type="odd"
        )  # goes on straight beyond the ends
        level = np.minimum(level, 0.5 * (padded[: len(level)] + padded[2 * distance :]))
    return np.asarray(level**2)


def background_terms(two_theta: Array) -> int:
    """Number of Chebyshev terms: one for about seven degrees, from 5 to 20.

    Trials with 6 to 10 terms over 122 degrees biased the order by up to 0.004 without a trace in chi squared; 14 to 20
    did not.
    """
    return int(np.clip(round((two_theta[-1] - two_theta[0]) / 7.0) + 1, 5, 20))


def smoothed_net(two_theta: Array, counts: Array, background: Array) -> Array:
    """Counts above background, smoothed to about a line width, not negative."""
    step = angle_step(two_theta)
    net = gaussian_filter1d(counts - background, _SMOOTHING_FWHM_DEG / 2.355 / step, mode="nearest")
    return np.asarray(np.maximum(net, 0.0))


def match_lattice(
    two_theta: Array,
    net: Array,
    inverse_d: Array,
    strength: Array,
    wavelength_nm: float,
    low: float,
    high: float,
) -> float:
    """Find the factor by which the lattice must be stretched for its lines to lie on those of the pattern.

    The score is the sum of sqrt(expected strength times net counts): unlike a plain product it is not won by one
    strong foreign line.

    Parameters
    ----------
    net
        Smoothed net counts, shape (n,).
    inverse_d, strength
        1/d (1/nm) at factor one and expected strength of each reflection, shape (m,).
    low, high
        Limits of the factor.
    """
    factors, where = _candidates(inverse_d, wavelength_nm, low, high)
    seen = np.interp(where, two_theta, net, left=0.0, right=0.0)
    score = np.sqrt(strength * seen).sum(axis=1)
    return float(factors[int(np.argmax(score))])


def match_residual(
    two_theta: Array,
    residual: Array,
    variance: Array,
    inverse_d: Array,
    strength: Array,
    wavelength_nm: float,
    low: float,
    high: float,
) -> float:
    """Like `match_lattice`, for a weak phase once the strong ones are explained.

    What is left is noise and the phase: the weighted sum of the residual under its lines, over the standard
    uncertainty of that sum, is the best that can be asked (a matched filter).
    """
    sigma = _SMOOTHING_FWHM_DEG / 2.355 / angle_step(two_theta)
    pull = gaussian_filter1d(residual / variance, sigma, mode="nearest")
    # the square of a Gaussian kernel is a Gaussian narrower by sqrt 2; its constant is the same at all angles
    weight = gaussian_filter1d(1.0 / variance, sigma / np.sqrt(2.0), mode="nearest")
    factors, where = _candidates(inverse_d, wavelength_nm, low, high)
    seen = (strength * np.interp(where, two_theta, pull, left=0.0, right=0.0)).sum(axis=1)
    noise = (strength**2 * np.interp(where, two_theta, weight, left=0.0, right=0.0)).sum(axis=1)
    return float(factors[int(np.argmax(seen / np.sqrt(np.maximum(noise, 1e-300))))])


def _candidates(inverse_d: Array, wavelength_nm: float, low: float, high: float) -> tuple[Array, Array]:
    """Lattice factors between the limits, and where each puts the lines, degrees (factors, lines)."""
    factors = np.arange(low, high + _SEARCH_STEP, _SEARCH_STEP) if high > low else np.array([low])
    sine = np.clip(0.5 * wavelength_nm * inverse_d[None, :] / factors[:, None], 0.0, 1.0)
    return factors, 2.0 * np.degrees(np.arcsin(sine))


def start_scales(parts: Sequence[Array], net: Array, variance: Array) -> Array:
    """Scales, not negative, with which the parts best add up to the net counts (weighted least squares)."""
    root = 1.0 / np.sqrt(variance)
    matrix = np.stack([part * root for part in parts], axis=1)
    norms = np.linalg.norm(matrix, axis=0)
    norms[norms == 0.0] = 1.0
    solution, _ = nnls(matrix / norms, net * root)
    return np.asarray(solution / norms)


def start_variance(counts: Array, time_factor: Array) -> Array:
    """Variance to begin with: counts smoothed over five points, at least one.

    The observed counts themselves would pull the background down (points that happen to be low would weigh more).
    """
    rate = uniform_filter1d(counts / time_factor, 5, mode="nearest")
    return np.asarray(np.maximum(rate * time_factor, 1.0))


def start_parameters(
    model: PatternModel, instrument_values: Mapping[str, float], light: Radiation
) -> lmfit.Parameters:
    """All parameters of a model with start values and bounds; nothing is free yet.

    The transparency shift begins at what the main phase's attenuation makes it. Of metals standard and sample share
    most of it, and the displacement takes up the rest; of clear specimens it is fitted (`xrdorder.fitting.effects`).
    """
    parameters = lmfit.Parameters()
    for name in model.background_names:
        add_parameter(parameters, name, Role("", Kind.BACKGROUND), 0.0)
    for name in INSTRUMENT_NAMES:
        add_parameter(parameters, name, Role("", _INSTRUMENT_KINDS[name]), float(instrument_values[name]))
    parameters["two_theta_offset"].set(min=-2.0, max=2.0)
    for name in model.displacement_names:
        add_parameter(parameters, name, Role("", Kind.PLACE), 0.0, -2.0, 2.0)
    main = model.phases[0]
    geometry = main.optics.geometry
    transparency = geometry.transparency_deg(main.attenuation_per_nm, PACKING)
    add_parameter(parameters, "transparency_deg", Role("", Kind.TRANSPARENCY), transparency, 0.0)
    add_parameter(parameters, "wavelength_shift", Role("", Kind.WAVELENGTH), 0.0)
    for lines in model.phases:
        add_phase_parameters(parameters, lines)
    return parameters


def add_phase_parameters(parameters: lmfit.Parameters, lines: PhaseLines) -> None:
    """Add those parameters of a phase, or of another population of it, that are not there yet."""
    p = lines.phase
    start_width = lorentz_sec_from_size(START_SIZE_NM, lines.optics.radiation.wavelength_nm)
    sec, tan, gauss = lines.width_names
    wanted: dict[str, tuple[float, float, float]] = {lines.scale_name: (0.0, 0.0, np.inf)}
    for name, value, low, high in zip(
        lines.length_names, p.lengths_nm, p.lengths_low_nm, p.lengths_high_nm, strict=True
    ):
        held = low == high  # the lattice of an internal standard
        wanted[name] = (value, -np.inf, np.inf) if held else (value, low, high)
    # A specimen that adds nothing to a line must be free to come out below nothing by chance, or the mean of many comes
    # out above; the instrument's own width keeps the line a line.
    least = lines.least_widths({name: float(parameters[name].value) for name in INSTRUMENT_NAMES})
    for name, value, low in zip((sec, tan, gauss), (start_width, 0.0, 0.0), least, strict=True):
        wanted[name] = (value, low, _WIDEST_DEG)
    for name, site in zip(lines.b_iso_names, p.sites, strict=True):
        wanted[name] = (site.b_iso_nm2, *site.b_iso_bounds_nm2)
    wanted |= {name: (0.0, -3.0, 3.0) for name in lines.texture_names}
    optional = (
        (lines.contrast_name, (0.93, 0.0, 1.5)),
        (lines.march_name, (1.0, 0.1, 10.0)),
        (lines.anisotropy_name, (0.0, *_ANISOTROPY_LIMITS)),
        (lines.tail_name, (0.0, -_LONGEST_TAIL_NM, _LONGEST_TAIL_NM)),
        (lines.elastic_name, (0.0, -_LARGEST_STRAIN, _LARGEST_STRAIN)),
        (lines.depth_name, (0.0, -_STEEPEST, _STEEPEST)),
        (lines.share_name, (0.0, 0.0, 0.5)),
        (lines.size_gauss_name, (0.0, 0.0, _WIDEST_DEG**2)),
    )
    wanted |= {name: limits for name, limits in optional if name}
    for name, (value, low, high) in wanted.items():
        add_parameter(parameters, name, lines.roles[name], value, low, high)
