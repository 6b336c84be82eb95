"""Line widths against angle, and what size and strain of the specimen add to them.

Names are the same for instrument and specimen: `gauss_tan2`, `gauss_tan`, `gauss_const` (degrees squared) make the
square of the Gaussian full width, tan^2, tan and constant term (G. Caglioti, A. Paoletti, F. P. Ricci,
Nucl. Instrum. 3 (1958) 223); `lorentz_sec` and `lorentz_tan` (degrees) make the Lorentzian full width,
1/cos theta and tan theta term.
"""

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GAUSS_TERMS = ("gauss_tan2", "gauss_tan", "gauss_const")
LORENTZ_TERMS = ("lorentz_sec", "lorentz_tan")

LORENTZ_BREADTH_PER_FWHM = math.pi / 2.0
"""Integral breadth of a Lorentzian over its full width at half maximum."""


def gauss_basis(theta: Array) -> dict[str, Array]:
    """Derivatives of the squared Gaussian width by its coefficients; theta in rad."""
    tan = np.tan(theta)
    return {"gauss_tan2": tan**2, "gauss_tan": tan, "gauss_const": np.ones_like(tan)}


def lorentz_basis(theta: Array) -> dict[str, Array]:
    """Derivatives of the Lorentzian width by its coefficients; theta in rad."""
    return {"lorentz_sec": 1.0 / np.cos(theta), "lorentz_tan": np.tan(theta)}


_GAUSS_BREADTH_PER_FWHM = math.sqrt(math.pi / math.log(2.0)) / 2.0


def voigt_breadth(lorentz: float, gauss2: float) -> float:
    """Integral breadth of a Voigt line from its Lorentz full width and its squared Gauss full width.

    beta_G exp(-k²) / erfc(k), k = beta_L / (sqrt(pi) beta_G): Th. H. de Keijser et al., J. Appl. Cryst. 16 (1983) 309
    (from memory); negative widths count as none.

    >>> round(voigt_breadth(0.05, 0.0), 5), round(voigt_breadth(0.0, 0.0025), 5)
    (0.07854, 0.05322)
    """
    from scipy.special import erfcx

    lorentz, gauss = LORENTZ_BREADTH_PER_FWHM * max(lorentz, 0.0), _GAUSS_BREADTH_PER_FWHM * math.sqrt(max(gauss2, 0.0))
    if gauss == 0.0:
        return lorentz
    return gauss / float(erfcx(lorentz / (math.sqrt(math.pi) * gauss)))


def as_lorentz(lorentz: float, gauss2: float) -> float:
    """Full width of the Lorentz line with the integral breadth of a Voigt line; that itself without a Gauss part."""
    return voigt_breadth(lorentz, gauss2) / LORENTZ_BREADTH_PER_FWHM if gauss2 > 0.0 else lorentz


def lorentz_sec_from_size(domain_size_nm: float, wavelength_nm: float) -> float:
    """`lorentz_sec` in degrees of a volume-weighted domain size.

    Scherrer's equation in integral breadths, breadth = wavelength / (size cos theta) (K = 1 for the
    volume-weighted column length), with a Lorentzian shape.

    Examples
    --------
    >>> round(lorentz_sec_from_size(100.0, 0.154059), 4)
    0.0562
    """
    return float(np.degrees(wavelength_nm / domain_size_nm) / LORENTZ_BREADTH_PER_FWHM)


def size_from_lorentz_sec(lorentz_sec_deg: float, wavelength_nm: float) -> float:
    """Volume-weighted domain size in nm: the inverse of `lorentz_sec_from_size`; infinite at no broadening."""
    if lorentz_sec_deg <= 0.0:
        return float("inf")
    return float(wavelength_nm / np.radians(lorentz_sec_deg * LORENTZ_BREADTH_PER_FWHM))
