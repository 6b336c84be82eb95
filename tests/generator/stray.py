"""What else does the tube send? Lines that a filter leaves, and the white radiation with the filter's edge."""

from dataclasses import dataclass

import numpy as np
from scipy.special import erf

from .cells import HC_EV_NM, Array

NICKEL_EDGE_NM = 0.148807  # K edge at 8332 eV, International Tables C, 4.2.2 (from memory)


@dataclass(frozen=True)
class StrayTruth:
    """A line besides K-alpha.

    `weight` is its intensity relative to all of K-alpha as a reflection of equal |F|² and Lorentz-polarisation
    would show it.
    """

    name: str
    wavelength_nm: float
    weight: float
    fwhm_ev: float

    def line(self) -> tuple[float, float, float]:
        """(energy, FWHM, share) as the emission lists it."""
        return HC_EV_NM / self.wavelength_nm, self.fwhm_ev, self.weight


def copper_k_beta(weight: float) -> StrayTruth:
    """Cu K-beta1,3: 0.1392250 nm, International Tables C, 4.2.2; width 5.8 eV from memory."""
    return StrayTruth("K-beta", 0.1392250, weight, 5.8)


def tungsten_l_alpha(weight: float) -> StrayTruth:
    """W L-alpha1 of an old tube: 0.147639 nm, International Tables C, 4.2.2; width 6.6 eV from memory."""
    return StrayTruth("W L-alpha", 0.147639, weight, 6.6)


@dataclass(frozen=True)
class WhiteTruth:
    """White radiation behind a filter: every strong line gets a foot toward low angles that ends at the edge.

    `per_nm` is the spectral density just above the edge's wavelength relative to all of K-alpha, falling
    linearly to nothing at `longest_nm`; on the short side of the edge the share `passed` is left, down to
    `shortest_nm`.
    """

    per_nm: float
    edge_nm: float = NICKEL_EDGE_NM
    passed: float = 0.15
    shortest_nm: float = 0.12
    longest_nm: float = 0.20
    blur_nm: float = 0.0002

    def spectrum(self, wavelength_nm: Array) -> Array:
        """Density in 1/nm; the edge as blurred as a line is wide."""
        step = 0.5 * (1.0 + erf((wavelength_nm - self.edge_nm) / self.blur_nm))
        slope = (self.longest_nm - wavelength_nm) / (self.longest_nm - self.edge_nm)
        inside = (wavelength_nm > self.shortest_nm) & (wavelength_nm < self.longest_nm)
        return np.where(inside, self.per_nm * slope * (self.passed + (1.0 - self.passed) * step), 0.0)
