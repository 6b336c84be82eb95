"""The shape of one line: the Voigt function, its derivatives, and its far tail.

All functions are normalised to unit area over an axis in degrees. The exact Voigt function is used throughout: by
the Faddeeva function it costs about three times a pseudo-Voigt a point, and the tail expansion below leaves so few
points to evaluate that an approximation of the shape would save nothing a user notices.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import wofz

Array = NDArray[np.float64]

FWHM_PER_SIGMA = 2.0 * np.sqrt(2.0 * np.log(2.0))
"""Full width at half maximum of a Gaussian in units of its standard deviation."""

_SQRT_PI = np.sqrt(np.pi)


class Shape(NamedTuple):
    """A profile and its derivatives by displacement, squared Gaussian width and Lorentzian width."""

    value: Array
    d_x: Array
    d_gauss_squared: Array
    d_lorentz: Array


def voigt(x: Array, gauss_squared: Array, lorentz: Array) -> Array:
    """Voigt function of unit area.

    Parameters
    ----------
    x
        Distance from the centre, degrees.
    gauss_squared
        Square of the full width at half maximum of the Gaussian part, degrees squared, positive.
    lorentz
        Full width at half maximum of the Lorentzian part, degrees, not negative.

    Returns
    -------
    Array
        Density in 1/degree, broadcast over the arguments: Re w(z) / (sigma sqrt(2 pi)) with
        z = (x + i gamma) / (sigma sqrt 2).

    Examples
    --------
    A pure Gaussian of 1 degree full width has the height 2 sqrt(ln 2 / pi):

    >>> round(float(voigt(0.0, 1.0, 0.0)), 6)
    0.939437
    """
    sigma_root2 = np.sqrt(2.0 * np.asarray(gauss_squared)) / FWHM_PER_SIGMA
    z = (np.asarray(x) + 0.5j * np.asarray(lorentz)) / sigma_root2
    return np.asarray(wofz(z).real / (sigma_root2 * _SQRT_PI), dtype=np.float64)


def voigt_with_derivatives(x: Array, gauss_squared: Array, lorentz: Array) -> Shape:
    """Voigt function and its derivatives; same arguments as `voigt`.

    With w' = -2 z w + 2i/sqrt(pi). The derivative by the Gaussian variance is half the second derivative by x: the
    Voigt function obeys the diffusion equation.
    """
    sigma_root2 = np.sqrt(2.0 * np.asarray(gauss_squared)) / FWHM_PER_SIGMA
    z = (np.asarray(x) + 0.5j * np.asarray(lorentz)) / sigma_root2
    w = wofz(z)
    first = -2.0 * z * w + 2.0j / _SQRT_PI
    second = -2.0 * (w + z * first)
    height = 1.0 / (sigma_root2 * _SQRT_PI)
    by_z = height / sigma_root2
    return Shape(
        value=w.real * height,
        d_x=first.real * by_z,
        d_gauss_squared=second.real * (0.5 * by_z / sigma_root2 / FWHM_PER_SIGMA**2),
        d_lorentz=first.imag * (-0.5 * by_z),
    )


def voigt_tail(x: Array, gauss_squared: Array, lorentz: Array, core: Array) -> Array:
    """Return a smooth function that far from the centre becomes the Voigt function.

    The asymptotic series gamma/pi [1/x^2 + m1/x^4 + m2/x^6] is written in u = 1/(x^2 + core^2), which has no
    singularity: u + (core^2 + m1) u^2 + (core^4 + 2 core^2 m1 + m2) u^3, with m1 = 3 sigma^2 - gamma^2 and
    m2 = 15 sigma^4 - 10 sigma^2 gamma^2 + gamma^4. Its relative error at a distance x is of the order (core/x)^6.

    Parameters
    ----------
    x, gauss_squared, lorentz
        As in `voigt`.
    core
        Smoothing length in degrees: the function varies on this scale and not faster.
    """
    gamma, square, c2, c3 = _tail_coefficients(gauss_squared, lorentz, core)
    u = 1.0 / (x * x + square)
    return np.asarray((gamma / np.pi) * u * (1.0 + u * (c2 + c3 * u)))


def voigt_tail_with_derivatives(x: Array, gauss_squared: Array, lorentz: Array, core: Array) -> Shape:
    """`voigt_tail` and its derivatives; same arguments."""
    gamma, square, c2, c3 = _tail_coefficients(gauss_squared, lorentz, core)
    variance, g2 = np.asarray(gauss_squared) / FWHM_PER_SIGMA**2, gamma**2
    u = 1.0 / (x * x + square)
    u2 = u * u
    series = u + c2 * u2 + c3 * u2 * u
    slope = 1.0 + (2.0 * c2) * u + (3.0 * c3) * u2  # d series / d u
    strength = gamma / np.pi
    by_variance = 3.0 + (6.0 * square + 30.0 * variance - 10.0 * g2) * u
    by_gamma2 = -1.0 + (2.0 * g2 - 2.0 * square - 10.0 * variance) * u
    return Shape(
        value=strength * series,
        d_x=(-2.0 * strength) * x * slope * u2,
        d_gauss_squared=(strength / FWHM_PER_SIGMA**2) * by_variance * u2,
        d_lorentz=(0.5 / np.pi) * series + (strength * gamma) * by_gamma2 * u2,
    )


def _tail_coefficients(
    gauss_squared: Array, lorentz: Array, core: Array
) -> tuple[Array, Array, Array, Array]:
    """Half width, squared smoothing length, and the coefficients of u^2 and u^3 in the tail series."""
    gamma = 0.5 * np.asarray(lorentz)
    variance = np.asarray(gauss_squared) / FWHM_PER_SIGMA**2
    square, g2 = np.asarray(core) ** 2, gamma**2
    m1 = 3.0 * variance - g2
    c3 = square * (square + 2.0 * m1) + 15.0 * variance**2 - 10.0 * variance * g2 + g2**2
    return gamma, square, square + m1, c3


def fwhm(gauss_squared: Array, lorentz: Array) -> Array:
    """Full width at half maximum of a Voigt line, degrees.

    J. J. Olivero, R. L. Longbothum, J. Quant. Spectrosc. Radiat. Transfer 17 (1977) 233 (coefficients from memory);
    right to about 0.02 %.
    """
    return np.asarray(0.5346 * lorentz + np.sqrt(0.2166 * np.asarray(lorentz) ** 2 + gauss_squared))
