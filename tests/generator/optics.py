"""What does the diffractometer do to a line? Emission, widths, axial divergence, shifts of geometry."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial.laguerre import laggauss
from numpy.polynomial.legendre import leggauss
from scipy.special import voigt_profile

from .absorption import capillary_points
from .cells import HC_EV_NM, Array
from .quadrature import combine, condense, rms
from .sizes import Sizes
from .stray import StrayTruth, WhiteTruth

# Energy (eV), FWHM (eV) and share of every Lorentz line of the emission.
# Four lines: G. Hölzer et al., Phys. Rev. A 56 (1997) 4554; values from memory. The plain doublet: peak
# energies of the same paper, widths 2.29 and 2.94 eV from memory, and the shares of the two groups of the
# four-line description. Molybdenum: energies R. D. Deslattes et al., Rev. Mod. Phys. 75 (2003) 35, widths M. O.
# Krause, J. H. Oliver, J. Phys. Chem. Ref. Data 8 (1979) 329, shares W. T. Elam et al., Radiat. Phys. Chem. 63 (2002)
# 121; all from memory.
EMISSION: dict[str, tuple[tuple[float, float, float], ...]] = {
    "cu-ka": (
        (8047.837, 2.285, 0.579),
        (8045.367, 3.358, 0.080),
        (8027.993, 2.666, 0.236),
        (8026.504, 3.571, 0.105),
    ),
    "cu-ka doublet": ((8047.8227, 2.29, 0.659), (8027.8416, 2.94, 0.341)),
    "cu-ka1": ((8047.8227, 2.29, 1.0),),
    "mo-ka": ((17479.372, 6.30, 0.6560), (17374.29, 6.49, 0.3440)),
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
# All rays of a line are condensed to few of the same moments: Voigt functions are what takes time. Twelve, and
# one more for each width of the line that six rms of the rays hold, are as good as all to 1e-8 of the peak.
_CORE_RAYS = 12
_MORE_RAYS = 28
_TAIL_RAYS = 3
_CAPILLARY_RAYS = 10
_DEPTH_NODES = 8
# Panels of the Fourier integral hold two periods of the fastest wave, for which 16 nodes are good to 1e-12.
_PERIODS_PER_PANEL, _FOURIER_NODES = 2.0, 16
_LEAST_COEFFICIENT = 1e-9
_MOST_PANELS = 4000

GEOMETRIES = ("reflection", "transmission", "capillary")


@dataclass(frozen=True)
class InstrumentTruth:
    """A diffractometer, in degrees of 2θ and mm; as it stands in reflection with a fixed slit.

    The Gauss part has FWHM² = gauss_tan2 tan²θ + gauss_tan tanθ + gauss_const (deg²), the Lorentz part
    FWHM = lorentz_sec / cosθ + lorentz_tan tanθ (deg), the natural widths of the emission lines come on
    top. The axial ratios are half height over detector distance, seen from source (specimen) and detector.
    `flat_specimen` adds the aberration of a flat specimen in a beam of `divergence_deg`.

    `geometry` is one of `GEOMETRIES`. `lit_length_mm` makes the slit a variable one that lights this length at
    every angle. `wavelength_nm` replaces the tube by a monochromatic beam whose lines have the relative FWHM
    `bandwidth`; `polarisation_ratio` is K itself instead of a monochromator's. `stray` and `white` are what
    else the beam holds. A circle of divisions that turns about another centre than the arm reads a true angle 2θ as
    2θ + `eccentricity_deg` sin(2θ - `eccentric_toward_deg`).
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
    geometry: str = "reflection"
    lit_length_mm: float | None = None
    polarisation_ratio: float | None = None
    wavelength_nm: float | None = None
    bandwidth: float = 2e-4
    stray: tuple[StrayTruth, ...] = ()
    white: WhiteTruth | None = None
    eccentricity_deg: float = 0.0
    eccentric_toward_deg: float = 0.0

    def __post_init__(self) -> None:
        if self.geometry not in GEOMETRIES:
            raise ValueError(f"unknown geometry {self.geometry!r}")
        if self.geometry != "reflection" and (self.flat_specimen or self.lit_length_mm is not None):
            raise ValueError("flat_specimen and lit_length_mm belong to reflection")
        if self.polarisation_ratio is not None and self.monochromator_two_theta_deg is not None:
            raise ValueError("give K or the monochromator, not both")

    def true_two_theta(self, read_deg: Array) -> Array:
        """Where the arm stands when the circle reads these angles, to second order of the eccentricity."""
        angle = np.radians(read_deg - self.eccentric_toward_deg)
        e = self.eccentricity_deg
        return read_deg - e * np.sin(angle) + e * math.radians(e) * np.sin(angle) * np.cos(angle)

    def emission(self) -> tuple[tuple[float, float, float], ...]:
        """(energy, FWHM, share) of the emission lines in eV, the second group rescaled when asked for.

        Stray lines follow, in addition to the sum of one.
        """
        return (*self._intended(), *(one.line() for one in self.stray))

    def _intended(self) -> tuple[tuple[float, float, float], ...]:
        if self.wavelength_nm is not None:
            energy = HC_EV_NM / self.wavelength_nm
            return ((energy, self.bandwidth * energy, 1.0),)
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


@dataclass(frozen=True)
class Mount:
    """How a specimen stands in the beam and lets it through, in mm and 1/mm.

    `displacement_mm` moves a surface (reflection) outward, or a plate in transmission along its normal, away from the
    source; `across_mm` and `along_mm` (transmission, capillary) move the specimen across the beam toward
    larger 2θ, and with the beam. `attenuation` switches the transparency of a packed powder in reflection on.
    `strain_per_mm` (of d, with the depth) and `depth_attenuation` describe a thick solid. `mu_r` and
    `capillary_radius_mm` let a capillary shift and widen lines by the place its radiation comes from.
    """

    displacement_mm: float = 0.0
    across_mm: float = 0.0
    along_mm: float = 0.0
    specimen_length_mm: float | None = None
    attenuation: float | None = None
    strain_per_mm: float = 0.0
    depth_attenuation: float | None = None
    mu_r: float = 0.0
    capillary_radius_mm: float | None = None

    def shift(self, theta: Array, instrument: InstrumentTruth) -> Array:
        """Shift of 2θ (rad) of all rays alike.

        Off the axis by (along, across) a ray in the direction (cos2θ, sin2θ) meets the detector's circle by
        -along sin2θ + across cos2θ from where it should. A plate moved by s along its normal, which halves
        the angle between the beams, is met by the beam s / cosθ further along.
        """
        if instrument.geometry == "reflection":
            if self.across_mm or self.along_mm:
                raise ValueError("across and along the beam belong to transmission and capillary")
            return -2.0 * self.displacement_mm * np.cos(theta) / instrument.radius_mm
        along = self.along_mm
        if instrument.geometry == "transmission":
            along = along + self.displacement_mm / np.cos(theta)
        elif self.displacement_mm:
            raise ValueError("a capillary is displaced across or along the beam")
        aside = self.across_mm * np.cos(2.0 * theta) - along * np.sin(2.0 * theta)
        return aside / instrument.radius_mm


def lorentz_polarisation(
    two_theta: Array, monochromator_two_theta_deg: float | None, polarisation_ratio: float | None = None
) -> Array:
    """(1 + K cos²2θ) / ((1 + K) sinθ sin2θ), K = cos²2θ_m of a mosaic monochromator, 1 without it.

    `polarisation_ratio` is K itself: zero when the beam is fully polarised across the plane of diffraction.
    """
    k = math.cos(math.radians(monochromator_two_theta_deg or 0.0)) ** 2
    if polarisation_ratio is not None:
        k = polarisation_ratio
    angle = np.radians(two_theta)
    return (1.0 + k * np.cos(angle) ** 2) / ((1.0 + k) * np.sin(angle / 2.0) * np.sin(angle))


def _seen_from_source(theta: Array, instrument: InstrumentTruth, half_length_mm: float) -> tuple[Array, Array]:
    """Angles (rad) from the central ray to both ends of a length on the surface.

    A ray that leaves the source at the angle ψ from the central one meets the surface at
    x = R sinψ / sin(θ ∓ ψ); turned round, tanψ = x sinθ / (R ± x cosθ) on either side.
    """
    x = half_length_mm
    near = np.arctan2(x * np.sin(theta), instrument.radius_mm - x * np.cos(theta))
    far = np.arctan2(x * np.sin(theta), instrument.radius_mm + x * np.cos(theta))
    return near, far


def caught_by_specimen(
    two_theta: Array, instrument: InstrumentTruth, specimen_length_mm: float | None
) -> Array:
    """Beam that falls on a specimen of this length, centred on the axis, over the whole beam of a fixed slit.

    A variable slit gives the beam that falls on the lit length, over what a fixed slit of `divergence_deg`
    would let pass: it grows like sinθ.
    """
    theta = np.radians(two_theta) / 2.0
    half_beam = math.radians(instrument.divergence_deg) / 2.0
    if instrument.lit_length_mm is not None:
        lit = instrument.lit_length_mm
        if specimen_length_mm is not None:
            lit = min(lit, specimen_length_mm)
        near, far = _seen_from_source(theta, instrument, lit / 2.0)
        return (near + far) / (2.0 * half_beam)
    if specimen_length_mm is None:
        return np.ones_like(theta)
    near, far = _seen_from_source(theta, instrument, specimen_length_mm / 2.0)
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


def _geometry_shifts(theta: float, instrument: InstrumentTruth, mount: Mount) -> tuple[Array, Array]:
    """Shifts (rad) and weights of the aberrations of specimen and mount.

    A flat specimen leaves the focusing circle (radius R / (2 sinθ)) by x² sinθ / R at the distance x = R ψ
    / sinθ from the axis, which shifts the ray by -2 ψ² cotθ: uniform in ψ, centroid -δ² cotθ / 6 with the
    full divergence δ. A depth z contributes with exp(-2 µ z / sinθ) and shifts by -2 z cosθ / R:
    exponential, centroid -sin2θ / (2 µ R). Both are narrower than a line: four nodes each give the first
    seven moments of the depth and fifteen of ψ, of which only even ones count. Inside a capillary the shift is the
    offset over R.
    """
    rays = np.zeros(1), np.ones(1)
    if instrument.flat_specimen:
        psi_max = math.radians(instrument.divergence_deg) / 2.0
        lengths = [one for one in (instrument.lit_length_mm, mount.specimen_length_mm) if one is not None]
        if lengths:
            seen = min(lengths) / 2.0 * math.sin(theta) / instrument.radius_mm
            psi_max = seen if instrument.lit_length_mm is not None else min(psi_max, seen)
        node, share = (part[4:] for part in leggauss(8))  # the positive half
        rays = combine(rays, (-2.0 * (psi_max * node) ** 2 / math.tan(theta), share))
    if mount.attenuation is not None and instrument.geometry == "reflection":
        depth, share = laggauss(4)
        scale = math.sin(2.0 * theta) / (2.0 * mount.attenuation * instrument.radius_mm)
        rays = combine(rays, (-scale * depth, share))
    if mount.capillary_radius_mm is not None and instrument.geometry == "capillary":
        offset, weight = capillary_points(theta, mount.mu_r)
        scale = mount.capillary_radius_mm / instrument.radius_mm
        rays = combine(rays, condense(scale * offset, weight / weight.sum(), _CAPILLARY_RAYS))
    return rays


def _depth_shifts(theta: float, mount: Mount) -> tuple[Array, Array]:
    """Shifts (rad) where d changes with the depth z: d (1 + g z), weight exp(-2 µ z / sinθ)."""
    if mount.strain_per_mm == 0.0 or mount.depth_attenuation is None:
        return np.zeros(1), np.ones(1)
    node, share = laggauss(_DEPTH_NODES)
    depth_mm = node * math.sin(theta) / (2.0 * mount.depth_attenuation)
    sine = math.sin(theta) / (1.0 + mount.strain_per_mm * depth_mm)
    return 2.0 * (np.arcsin(sine) - theta), share


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
    """One emission line of one reflection over the whole pattern, per degree, area one (see `spread_profile`)."""
    mount = Mount(displacement_mm, specimen_length_mm=specimen_length_mm, attenuation=attenuation)
    return spread_profile(
        two_theta, np.array([d_nm]), np.ones(1), np.array([domain_size_nm]), energy_ev, natural_fwhm_ev,
        instrument, mount, lattice_spread=lattice_spread, microstrain_lorentz=microstrain_lorentz,
    )  # fmt: skip


def spread_profile(
    two_theta: Array,
    d_nm: Array,
    weights: Array,
    domain_size_nm: Array,
    energy_ev: float,
    natural_fwhm_ev: float,
    instrument: InstrumentTruth,
    mount: Mount,
    *,
    lattice_spread: float = 0.0,
    microstrain_lorentz: float = 0.0,
    sizes: Sizes | None = None,
) -> Array:
    """One emission line of one reflection of all components of a phase, per degree (see `axial_rays`).

    The area is the sum of the weights of the components, shape (n,) like their d and domain sizes.

    Domains: volume-weighted size D in the Scherrer equation with K = 1 on the integral breadth λ / (D
    cosθ); a Lorentz line of that breadth has FWHM = (2/π) λ / (D cosθ). Where a law of `sizes` is given it takes the
    place of that in all components, with the line shape that is its own. `lattice_spread` is the rms Δa/a of
    a Gauss distribution: standard deviation 2 tanθ Δa/a in 2θ. `microstrain_lorentz` e is the integral
    breadth 4 e tanθ of a Lorentz line.
    """
    wavelength = HC_EV_NM / energy_ev
    theta = np.arcsin(wavelength / (2.0 * d_nm))
    tangent, cosine = np.tan(theta), np.cos(theta)
    gauss2 = instrument.gauss_tan2 * tangent**2 + instrument.gauss_tan * tangent + instrument.gauss_const
    sigma = np.hypot(np.sqrt(gauss2) * SIGMA_PER_FWHM, np.degrees(2.0 * tangent * lattice_spread))
    if sizes is not None:
        domain_size_nm = np.full_like(d_nm, math.inf)
    breadth = wavelength / (domain_size_nm * cosine) + 4.0 * microstrain_lorentz * tangent
    gamma = 0.5 * (
        instrument.lorentz_sec / cosine
        + instrument.lorentz_tan * tangent
        + np.degrees(2.0 * tangent * natural_fwhm_ev / energy_ev)
        + np.degrees(2.0 / math.pi * breadth)
    )
    centre = np.degrees(2.0 * theta + mount.shift(theta, instrument)) + instrument.two_theta_offset
    mean = float(weights @ theta / weights.sum())
    middle = float(weights @ centre / weights.sum())
    aside = combine(_geometry_shifts(mean, instrument, mount), _depth_shifts(mean, mount))

    def rays(nodes: tuple[int, int], number: int | None = None) -> tuple[Array, Array]:
        axial = axial_rays(
            2.0 * mean, instrument.axial_source_ratio, instrument.axial_detector_ratio, nodes
        )
        if number is None:
            reach = 6.0 * math.degrees(math.hypot(rms(*axial), rms(*aside)))
            number = _CORE_RAYS + min(math.ceil(reach / float((sigma + gamma).min())), _MORE_RAYS)
        shift, weight = condense(*combine(condense(*axial, number), aside), number)
        return np.degrees(shift), weight

    def summed(x: Array, shift: Array, weight: Array, s: Array, g: Array) -> Array:
        return weight @ voigt_profile(x[None, :] - shift[:, None], s[:, None], g[:, None])

    near = np.abs(two_theta - middle) < _CORE_DEG + np.abs(centre - middle).max()
    profile = np.empty_like(two_theta)
    shift, weight = rays(_CORE_NODES)
    shifts, all_weights = combine((centre, weights), (shift, weight))
    each = len(shift)
    s, g = np.repeat(sigma, each), np.repeat(gamma, each)
    if sizes is None:
        profile[near] = summed(two_theta[near], shifts, all_weights, s, g)
    else:
        nm_degrees = wavelength / (math.radians(1.0) * math.cos(mean))
        profile[near] = _transformed(two_theta[near], shifts, all_weights, s, g, sizes, nm_degrees)
        # far away the slope of the coefficients at zero is all, and that of an exponential is a Lorentz line's
        gamma = gamma + nm_degrees / (2.0 * math.pi * sizes.area_weighted_nm)
    profile[~near] = 0.0
    few = rays(_TAIL_NODES, _TAIL_RAYS)
    for size in set(domain_size_nm.tolist()):  # far away only components of another Lorentz width differ
        of = domain_size_nm == size
        share = weights[of] / weights[of].sum()
        shift, weight = condense(*combine((centre[of], weights[of]), few), _TAIL_RAYS)
        width = np.full((2, len(shift)), [[share @ sigma[of]], [share @ gamma[of]]])
        profile[~near] += summed(two_theta[~near], shift, weight, *width)
    return profile


def _transformed(
    x: Array, shift: Array, weight: Array, sigma: Array, gamma: Array, sizes: Sizes, nm_degrees: float
) -> Array:
    """Sum of Voigt functions, each widened by the law of sizes: the cosine transform of what all coefficients make.

    The length L (nm) of the coefficients is `nm_degrees` times the frequency (1/degree) in 2θ.
    """
    if not len(x):
        return np.zeros(0)
    fastest = max(float(np.abs(x - one).max()) for one in (shift.min(), shift.max()))
    panel = _PERIODS_PER_PANEL / fastest
    edges = panel * np.arange(_MOST_PANELS + 1)
    narrow = np.exp(-2.0 * (math.pi * sigma.min() * edges) ** 2 - 2.0 * math.pi * gamma.min() * edges)
    left = np.abs(sizes.fourier(nm_degrees * edges) * narrow) > _LEAST_COEFFICIENT
    if left[-1]:
        raise ValueError("a line too narrow for its Fourier integral")
    node, part = leggauss(_FOURIER_NODES)
    starts = edges[: int(np.flatnonzero(left).max()) + 1]
    u = (starts[:, None] + panel * (node + 1.0) / 2.0).ravel()
    du = np.tile(panel * part / 2.0, len(starts))
    middle = 0.5 * (shift.min() + shift.max())
    phases = np.exp(2j * math.pi * u[:, None] * (shift - middle))
    damping = np.exp(-2.0 * (math.pi * u[:, None] * sigma) ** 2 - 2.0 * math.pi * u[:, None] * gamma)
    coefficient = sizes.fourier(nm_degrees * u) * ((phases * damping) @ weight) * du
    waves = 2.0 * math.pi * np.outer(x - middle, u)
    return 2.0 * (np.cos(waves) @ coefficient.real + np.sin(waves) @ coefficient.imag)
