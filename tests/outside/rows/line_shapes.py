"""Voigt line, axial divergence and absorption of a cylinder, against arbitrary precision and closed forms."""

from functools import cache

import mpmath
import numpy as np
from scipy.special import iv, modstruve

from tests.outside.rows import Row
from xrdorder.forward_model.absorption import cylinder_absorption
from xrdorder.profiles.axial import axial_nodes
from xrdorder.profiles.voigt import FWHM_PER_SIGMA, voigt

_POINTS = [(0.0, 0.1, 0.05), (0.13, 0.1, 0.05), (0.5, 0.02, 0.3), (2.0, 0.1, 0.01), (5.0, 0.3, 0.2)]


def voigt_by_quadrature(x: float, gauss: float, lorentz: float) -> float:
    """Convolution of a Gauss and a Lorentz line, 30 digits."""
    with mpmath.workdps(30):
        sigma, half = mpmath.mpf(gauss) / mpmath.mpf(FWHM_PER_SIGMA), mpmath.mpf(lorentz) / 2
        z = mpmath.mpc(x, half) / (sigma * mpmath.sqrt(2))
        w = mpmath.exp(-z * z) * mpmath.erfc(-1j * z)
        return float(mpmath.re(w) / (sigma * mpmath.sqrt(2 * mpmath.pi)))


def axial_mean_shift(two_theta: float, source: float, detector: float) -> float:
    """Mean shift by four nodes, degrees."""
    nodes = axial_nodes(np.array([two_theta]), np.array([4]), source, detector)
    return float(nodes.weight @ (nodes.position - two_theta))


@cache
def axial_by_rays(two_theta: float, source: float, detector: float) -> float:
    """The same by integrating over the heights of both ends of every ray, by Gauss's rule in arbitrary precision."""
    cosine = mpmath.cos(mpmath.radians(two_theta))

    def ray(z_s: mpmath.mpf, z_d: mpmath.mpf) -> mpmath.mpc:
        stretch = 1 + (z_s - z_d) ** 2
        apparent = mpmath.acos(cosine * mpmath.sqrt(stretch))
        weight = 1 / (stretch * mpmath.sin(apparent))
        return weight * mpmath.mpc(1, mpmath.degrees(apparent) - two_theta)  # both integrals at once

    limits = [-source, source], [-detector, detector]
    both = mpmath.quad(ray, *limits, method="gauss-legendre", maxdegree=3)
    return float(both.imag / both.real)


def forward(mu_r: float) -> float:
    """Transmission of a cylinder at 2θ = 0 by Bessel and Struve functions."""
    z = 2.0 * mu_r
    return float(2.0 * (iv(0, z) - modstruve(0, z) - (iv(1, z) - modstruve(1, z)) / z))


def backward(mu_r: float) -> float:
    """The same at 180 degrees."""
    z = 4.0 * mu_r
    return float((iv(1, z) - modstruve(1, z)) / (2.0 * mu_r))


_STRUVE = (
    "chords of a disc in modified Bessel and Struve functions (M. Abramowitz, I. A. Stegun, Handbook of "
    "Mathematical Functions, ch. 12; from memory)"
)

ROWS = [
    *(
        Row(
            f"Voigt line at {x:g} degrees, widths {gauss:g} and {lorentz:g}",
            "1/degree",
            lambda p=(x, gauss, lorentz): float(voigt(p[0], p[1] ** 2, p[2])),
            lambda p=(x, gauss, lorentz): voigt_by_quadrature(*p),
            1e-11 * voigt_by_quadrature(x, gauss, lorentz),
            "the Faddeeva code promises 1e-13",
            "mpmath, complex error function, 30 digits",
            "computed",
        )
        for x, gauss, lorentz in _POINTS
    ),
    *(
        Row(
            f"mean axial shift at {two_theta:g} degrees, heights {s:g} and {d:g}",
            "degree",
            lambda p=(two_theta, s, d): axial_mean_shift(*p),
            lambda p=(two_theta, s, d): axial_by_rays(*p),
            1e-5 * abs(axial_mean_shift(two_theta, s, d)) + 1e-9,
            "four nodes are exact to degree 7 in the height; the shift is its square to within the fourth power",
            "L. W. Finger, D. E. Cox, A. P. Jephcoat, J. Appl. Cryst. 27 (1994) 892, integrated ray by ray with mpmath",
            "computed",
        )
        for two_theta, s, d in ((20.0, 0.02, 0.02), (40.0, 0.03, 0.01), (120.0, 0.01, 0.025))
    ),
    *(
        Row(
            f"transmission of a cylinder, mu R = {mu_r:g}, {place}",
            "",
            lambda m=mu_r, t=theta: float(cylinder_absorption(np.array([t]), m)[0]),
            lambda m=mu_r, f=exact: f(m),
            1e-4 * exact(mu_r),
            "what the function promises",
            _STRUVE,
            "computed",
        )
        for mu_r in (0.1, 1.0, 4.0)
        for place, theta, exact in (("forward", 0.0, forward), ("backward", 0.5 * np.pi, backward))
    ),
    *(
        Row(
            f"absorption correction of a cylinder at low angle, mu R = {mu_r:g}",
            "",
            lambda m=mu_r: 1.0 / float(cylinder_absorption(np.array([0.0]), m)[0]),
            value,
            0.006,
            "three printed digits",
            "International Tables for Crystallography C, table 6.3.3.2",
            "from memory",
        )
        for mu_r, value in ((0.1, 1.18), (1.0, 5.09))
    ),
]
