"""What absorption and roughness leave of the intensity at each angle, for a plate, a cylinder and a rough surface.

Angles theta in rad. All factors are free of units; attenuation comes as a product with a length.
"""

from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

from xrdorder.exceptions import ValidityError

Array = NDArray[np.float64]

#: Largest mu R of a cylinder that the quadrature was checked for; less than 1e-4 of the radiation comes out.
LARGEST_MU_R = 40.0

# Angles, nodes round the cylinder in each of three parts, nodes along the ray. The error of the interpolated factor
# against a grid ten times as fine is 3e-5 up to mu R = 5 (first row) and 1e-5 up to mu R = 40 (second row).
_MODERATE_MU_R = 5.0
_MODERATE_GRID = (24, 16, 32)
_STRONG_GRID = (64, 32, 64)


def plate_absorption(theta: Array, mu_t: float) -> Array:
    r"""Intensity of a flat plate in symmetric transmission, one at theta = 0.

    Every path in and out together is t / cos(theta) long, and so is the lit part of the beam inside the plate:

    .. math:: \frac{e^{-\mu t / \cos\theta} / \cos\theta}{e^{-\mu t}}

    Parameters
    ----------
    theta : Array
        Bragg angles, rad, any shape.
    mu_t : float
        Attenuation times thickness at normal incidence.

    Examples
    --------
    >>> print(plate_absorption(np.radians([0.0, 30.0]), 1.0).round(4))
    [1.     0.9892]
    """
    cosine = np.cos(theta)
    return np.asarray(np.exp(-mu_t * (1.0 / cosine - 1.0)) / cosine)


def cylinder_absorption(theta: Array, mu_r: float) -> Array:
    r"""Share of the scattered radiation that leaves a cylinder bathed in a parallel beam, one without absorption.

    .. math:: A = \frac{1}{\pi R^2} \int\!\!\int e^{-\mu (l_{in} + l_{out})} \, dx \, dy

    over the cross-section, by Gauss-Legendre quadrature along and across the entering rays, at fixed angles and
    interpolated between them by Chebyshev polynomials of log A; relative error below 1e-4 (see the grids above).

    Parameters
    ----------
    theta : Array
        Bragg angles, rad, from 0 to pi/2, any shape.
    mu_r : float
        Attenuation times radius of the cylinder, 0 to `LARGEST_MU_R`.

    Raises
    ------
    ValidityError
        mu_r is negative or larger than what was checked.

    Examples
    --------
    >>> print(cylinder_absorption(np.radians([0.0, 45.0, 90.0]), 1.0).round(4))
    [0.1964 0.2438 0.2951]
    """
    return np.asarray(np.exp(chebyshev.chebval(_place(theta), _cylinder(float(mu_r))[0])))


def cylinder_offset(theta: Array, mu_r: float) -> Array:
    """Mean distance of the leaving rays from the axis of a cylinder, in radii, positive toward larger 2 theta.

    Absorption leaves more from the sides turned to source and detector than from the rest, so that the mean of what
    leaves does not come from the axis. Parameters and errors as `cylinder_absorption`.

    Examples
    --------
    >>> print(cylinder_offset(np.radians([30.0, 45.0, 60.0]), 1.0).round(3))
    [0.256 0.254 0.191]
    """
    return np.asarray(chebyshev.chebval(_place(theta), _cylinder(float(mu_r))[1]))


def roughness_factor(theta: Array, p: float, q: float) -> Array:
    r"""Intensity of a rough or porous surface against a smooth one, one at theta = 90 degrees.

    .. math:: \frac{p + (1 - p) e^{-q / \sin\theta}}{p + (1 - p) e^{-q}}

    P. Suortti, J. Appl. Cryst. 5 (1972) 325 (from memory). One everywhere for p = 1 or q = 0.

    Parameters
    ----------
    theta : Array
        Bragg angles, rad, above 0, any shape.
    p : float
        Share that is not lost however low the angle, 0 to 1.
    q : float
        Depth of the roughness in absorption lengths.

    Examples
    --------
    >>> print(roughness_factor(np.radians([10.0, 90.0]), 0.5, 0.3).round(3))
    [0.677 1.   ]
    """
    low, flat = np.exp(-q / np.sin(theta)), float(np.exp(-q))
    return np.asarray((p + (1.0 - p) * low) / (p + (1.0 - p) * flat))


def disc_paths(theta: Array, across: int, along: int) -> tuple[Array, Array, Array]:
    """Points of a disc of radius one, with the path of a ray that is scattered there by 2 theta.

    Rays enter parallel to x at y = sin(phi) and run along the chord 2 cos(phi). The way out from the rim has a kink
    in phi where the leaving ray touches the rim, phi = +-(2 theta - 90 degrees); the range of phi is parted there. At
    the ends of the chord the way out varies like a square root, which nodes at (1 - cos(pi u)) / 2 smooth out.

    Parameters
    ----------
    theta
        Bragg angles, rad, shape (angles,).
    across, along
        Number of nodes in each of the three parts of phi, and along a chord.

    Returns
    -------
    tuple of Array
        Path in and out in radii, distance of the leaving ray from the centre in radii (positive toward larger
        2 theta), and shares of the area, which sum to one; each of shape (angles, 3 across, along).
    """
    two_theta = 2.0 * theta[:, None]
    kink, end = np.abs(two_theta - 0.5 * np.pi), np.full_like(two_theta, 0.5 * np.pi)
    bounds = np.concatenate([-end, -kink, kink, end], axis=1)
    parts = np.diff(bounds, axis=1)[:, :, None]
    node, share = _crowded_nodes(across)
    phi = (bounds[:, :-1, None] + parts * node).reshape(len(theta), -1, 1)
    phi_share = (parts * share).reshape(len(theta), -1, 1)
    node, share = _crowded_nodes(along)
    chord = 2.0 * np.cos(phi)
    entered = chord * node
    x, y = entered - 0.5 * chord, np.sin(phi)
    cosine, sine = np.cos(two_theta)[:, :, None], np.sin(two_theta)[:, :, None]
    offset = y * cosine - x * sine
    leaving = np.sqrt(np.maximum(1.0 - offset**2, 0.0)) - (x * cosine + y * sine)
    return entered + leaving, offset, phi_share * np.cos(phi) * chord * share / np.pi


def _crowded_nodes(count: int) -> tuple[Array, Array]:
    """Nodes and weights on 0 to 1, crowded at both ends."""
    x, weight = leggauss(count)
    u = 0.5 * np.pi * (x + 1.0)
    return 0.5 * (1.0 - np.cos(u)), 0.25 * np.pi * np.sin(u) * weight


def _place(theta: Array) -> Array:
    """Angles 0 to pi/2 as -1 to 1."""
    return np.asarray(4.0 * np.asarray(theta) / np.pi - 1.0)


@lru_cache(maxsize=2)
def _cylinder_paths(angles: int, across: int, along: int) -> tuple[Array, Array, Array]:
    """`disc_paths` at the Chebyshev angles; the same whatever the attenuation."""
    return disc_paths(0.25 * np.pi * (chebyshev.chebpts1(angles) + 1.0), across, along)


@lru_cache(maxsize=64)
def _cylinder(mu_r: float) -> tuple[Array, Array]:
    """Chebyshev coefficients of log A and of the offset."""
    if not 0.0 <= mu_r <= LARGEST_MU_R:
        raise ValidityError(
            f"capillary: mu R = {mu_r:g} must lie between 0 and {LARGEST_MU_R:g}; take a thinner capillary, "
            "dilute the powder or measure with harder radiation"
        )
    angles, across, along = _MODERATE_GRID if mu_r <= _MODERATE_MU_R else _STRONG_GRID
    place = chebyshev.chebpts1(angles)
    path, offset, share = _cylinder_paths(angles, across, along)
    left = share * np.exp(-mu_r * path)
    total = left.sum(axis=(1, 2))
    mean_offset = (left * offset).sum(axis=(1, 2)) / total
    return chebyshev.chebfit(place, np.log(total), angles - 1), chebyshev.chebfit(place, mean_offset, angles - 1)
