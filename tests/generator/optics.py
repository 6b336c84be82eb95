"""What does the diffractometer do to a line? Emission, widths, axial divergence, shifts of geometry."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial.laguerre import laggauss
from numpy.polynomial.legendre import leggauss
from scipy.special import voigt_profile

from .cells import HC_EV_NM, Array

# Energy (eV), FWHM (eV) and share of every Lorentz line of the emission.
# Four lines: G. Hölzer et al., Phys. Rev. A 56 (1997) 4554; values from memory. The plain doublet: peak
# energies of the same paper, widths 2.29 and 2.94 eV from memory, and the shares of the two groups of the
# four-line description.
EMISSION: dict[str, tuple[tuple[float, float, float], ...]] = {
    "cu-ka": (
        (8047.837, 2.285, 0.579),
        (8045.367, 3.358, 0.080),
        (8027.993, 2.666, 0.236),
        (8026.504, 3.571, 0.105),
    ),
    "cu-ka doublet": ((8047.8227, 2.29, 0.659), (8027.8416, 2.94, 0.341)),
    "cu-ka1": ((8047.8227, 2.29, 1.0),),
}
_BETWEEN_THE_GROUPS_EV = 8037.0

SIGMA_PER_FWHM = 1.0 / math.sqrt(8.0 * math.log(2.0))

# Within this distance (degrees) of a line the axial divergence is summed over many heights, beyond it over
# few: the tail varies over degrees, the shift is below 0.2 degrees, and the three-node rule is exact to the
# second moment of the shift, so that what is lost there is below (0.2/2)³ of a tail that is itself 1e-4 of
# the peak.
_CORE_DEG = 2.0
_CORE_NODES = (12, 20)
_TAIL_NODES = (2, 3)


@dataclass(frozen=True)
class InstrumentTruth:
    """A diffractometer in reflection geometry with fixed slit, in degrees of 2θ and mm.

    The Gauss part has FWHM² = gauss_tan2 tan²θ + gauss_tan tanθ + gauss_const (deg²), the Lorentz part
    FWHM = lorentz_sec / cosθ + lorentz_tan tanθ (deg), the natural widths of the emission lines come on
    top. The axial ratios are half height over detector distance, seen from source (specimen) and detector.
    `flat_specimen` adds the aberration of a flat specimen in a beam of `divergence_deg`.
    """

    radiation: str = "cu-ka"
    alpha2_ratio: float | None = None
    radius_mm: float = 217.5
    divergence_deg: float = 0.5
    flat_specimen: bool = False
    monochromator_two_theta_deg: float | None = None
    two_theta_offset: float = 0.0
    gauss_tan2: float = 0.0010
    gauss_tan: float = -0.0006
    gauss_const: float = 0.0016
    lorentz_sec: float = 0.008
    lorentz_tan: float = 0.006
    axial_source_ratio: float = 0.020
    axial_detector_ratio: float = 0.020

    def emission(self) -> tuple[tuple[float, float, float], ...]:
        """(energy, FWHM, share) of the emission lines in eV, the second group rescaled when asked for."""
        lines = EMISSION[self.radiation]
        if self.alpha2_ratio is None:
            return lines
        first = sum(share for energy, _, share in lines if energy > _BETWEEN_THE_GROUPS_EV)
        second = 1.0 - first
        return tuple(
            (
                energy,
                fwhm,
                share / first / (1.0 + self.alpha2_ratio)
                if energy > _BETWEEN_THE_GROUPS_EV
                else share / second * self.alpha2_ratio / (1.0 + self.alpha2_ratio),
            )
            for energy, fwhm, share in lines
        )


def lorentz_polarisation(two_theta: Array, monochromator_two_theta_deg: float | None) -> Array:
    """(1 + K cos²2θ) / ((1 + K) sinθ sin2θ), K = cos²2θ_m of a mosaic monochromator, 1 without it."""
    k = math.cos(math.radians(monochromator_two_theta_deg or 0.0)) ** 2
    angle = np.radians(two_theta)
    return (1.0 + k * np.cos(angle) ** 2) / ((1.0 + k) * np.sin(angle / 2.0) * np.sin(angle))


def caught_by_specimen(
    two_theta: Array, instrument: InstrumentTruth, specimen_length_mm: float | None
) -> Array:
    """Share of the beam of a fixed slit that falls on a specimen of this length, centred on the axis.

    A ray that leaves the source at the angle ψ from the central one meets the surface at
    x = R sinψ / sin(θ ∓ ψ); turned round, tanψ = x sinθ / (R ± x cosθ) on either side.
    """
    theta = np.radians(two_theta) / 2.0
    if specimen_length_mm is None:
        return np.ones_like(theta)
    half_beam = math.radians(instrument.divergence_deg) / 2.0
    x = specimen_length_mm / 2.0
    near = np.arctan2(x * np.sin(theta), instrument.radius_mm - x * np.cos(theta))
    far = np.arctan2(x * np.sin(theta), instrument.radius_mm + x * np.cos(theta))
    return (np.minimum(near, half_beam) + np.minimum(far, half_beam)) / (2.0 * half_beam)


@lru_cache(maxsize=16)
def _heights(nodes: tuple[int, int], source: float, detector: float) -> tuple[Array, Array]:
    """Squared height differences h² over a grid of heights, and their weights (sum 1).

    Turning both heights round changes nothing, so that half of the source suffices.
    """
    z_source, w_source = leggauss(nodes[0])
    z_detector, w_detector = leggauss(nodes[1])
    h = source * (z_source[:, None] + 1.0) / 2.0 - detector * z_detector[None, :]
    return (h**2).ravel(), (w_source[:, None] * w_detector[None, :] / 4.0).ravel()


def axial_rays(
    two_theta_rad: float, source: float, detector: float, nodes: tuple[int, int] = _CORE_NODES
) -> tuple[Array, Array]:
    """Shift (rad) and relative weight of rays between all heights of source and detector.

    The detector slit at height h L above the ray's origin, standing at 2φ in the equatorial plane, looks
    along (cos2φ, sin2φ, h): the angle to the incident beam follows cos2θ = cos2φ / √(1 + h²), so that a
    cone of half angle 2θ is met at cos2φ = cos2θ √(1 + h²) (L. W. Finger, D. E. Cox, A. P. Jephcoat, J.
    Appl. Cryst. 27 (1994) 892). The weight: a slit element of given area covers the solid angle ∝ (1 +
    h²)^(-3/2) (distance squared and obliquity), the cone sends ∝ 1/sin2θ per solid angle, and sweeping the
    slit over it in 2φ takes |d2φ/d2θ| = sin2θ √(1 + h²) / sin2φ. The product is 1 / ((1 + h²) sin2φ), and
    relative to the ray with h = 0 it is sin2θ / ((1 + h²) sin2φ). The sum of the weights differs from one
    by some 1e-4, as it does in nature.
    """
    h2, weight = _heights(nodes, source, detector)
    cosine = math.cos(two_theta_rad) * np.sqrt(1.0 + h2)
    met = np.abs(cosine) < 1.0  # the slit passes outside the cone otherwise
    two_phi = np.arccos(cosine[met])
    relative = math.sin(two_theta_rad) / ((1.0 + h2[met]) * np.sin(two_phi))
    return two_phi - two_theta_rad, weight[met] * relative


def _geometry_shifts(
    theta: float, instrument: InstrumentTruth, specimen_length_mm: float | None, attenuation: float | None
) -> tuple[Array, Array]:
    """Shifts (rad) and weights of the flat-specimen and transparency aberrations.

    A flat specimen leaves the focusing circle (radius R / (2 sinθ)) by x² sinθ / R at the distance x = R ψ
    / sinθ from the axis, which shifts the ray by -2 ψ² cotθ: uniform in ψ, centroid -δ² cotθ / 6 with the
    full divergence δ. A depth z contributes with exp(-2 µ z / sinθ) and shifts by -2 z cosθ / R:
    exponential, centroid -sin2θ / (2 µ R). Both are far narrower than a line: two nodes each give the first
    three moments of the depth and seven of ψ.
    """
    shift, weight = np.zeros(1), np.ones(1)
    if instrument.flat_specimen:
        psi_max = math.radians(instrument.divergence_deg) / 2.0
        if specimen_length_mm is not None:
            psi_max = min(psi_max, specimen_length_mm / 2.0 * math.sin(theta) / instrument.radius_mm)
        node, share = leggauss(2)
        psi = psi_max * (node + 1.0) / 2.0
        shift = (shift[:, None] - 2.0 * psi**2 / math.tan(theta)).ravel()
        weight = (weight[:, None] * share / 2.0).ravel()
    if attenuation is not None:
        depth, share = laggauss(2)
        scale = math.sin(2.0 * theta) / (2.0 * attenuation * instrument.radius_mm)
        shift = (shift[:, None] - scale * depth).ravel()
        weight = (weight[:, None] * share).ravel()
    return shift, weight


def line_profile(
    two_theta: Array,
    d_nm: float,
    energy_ev: float,
    natural_fwhm_ev: float,
    instrument: InstrumentTruth,
    *,
    domain_size_nm: float = math.inf,
    lattice_spread: float = 0.0,
    microstrain_lorentz: float = 0.0,
    displacement_mm: float = 0.0,
    specimen_length_mm: float | None = None,
    attenuation: float | None = None,
) -> Array:
    """One emission line of one reflection over the whole pattern, per degree, area one (see `axial_rays`).

    Domains: volume-weighted size D in the Scherrer equation with K = 1 on the integral breadth λ / (D
    cosθ); a Lorentz line of that breadth has FWHM = (2/π) λ / (D cosθ). `lattice_spread` is the rms Δa/a of
    a Gauss distribution: standard deviation 2 tanθ Δa/a in 2θ. `microstrain_lorentz` e is the integral
    breadth 4 e tanθ of a Lorentz line. `displacement_mm` s shifts by -2 s cosθ / R; attenuation (1/mm)
    switches the transparency on.
    """
    wavelength = HC_EV_NM / energy_ev
    theta = math.asin(wavelength / (2.0 * d_nm))
    tangent, cosine = math.tan(theta), math.cos(theta)
    gauss2 = instrument.gauss_tan2 * tangent**2 + instrument.gauss_tan * tangent + instrument.gauss_const
    sigma = math.hypot(math.sqrt(gauss2) * SIGMA_PER_FWHM, math.degrees(2.0 * tangent * lattice_spread))
    breadth = wavelength / (domain_size_nm * cosine) + 4.0 * microstrain_lorentz * tangent
    lorentz_fwhm = (
        instrument.lorentz_sec / cosine
        + instrument.lorentz_tan * tangent
        + math.degrees(2.0 * tangent * natural_fwhm_ev / energy_ev)
        + math.degrees(2.0 / math.pi * breadth)
    )
    centre = (
        math.degrees(2.0 * theta - 2.0 * displacement_mm * cosine / instrument.radius_mm)
        + instrument.two_theta_offset
    )
    aside, aside_weight = _geometry_shifts(theta, instrument, specimen_length_mm, attenuation)

    def summed(x: Array, nodes: tuple[int, int]) -> Array:
        shift, weight = axial_rays(
            2.0 * theta, instrument.axial_source_ratio, instrument.axial_detector_ratio, nodes
        )
        shifts = np.degrees(shift[:, None] + aside).ravel()
        weights = (weight[:, None] * aside_weight).ravel()
        return weights @ voigt_profile(x[None, :] - centre - shifts[:, None], sigma, lorentz_fwhm / 2.0)

    near = np.abs(two_theta - centre) < _CORE_DEG
    profile = np.empty_like(two_theta)
    profile[~near] = summed(two_theta[~near], _TAIL_NODES)
    profile[near] = summed(two_theta[near], _CORE_NODES)
    return profile
