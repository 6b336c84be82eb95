"""March's function: texture of one preferred direction, for any crystal system.

Grains like needles or plates turn until their axis lies across or along the surface normal; the density of plane
normals then is P = mean over equivalents of (r^2 cos^2 a + sin^2 a / r)^(-3/2), a being the angle between plane
normal and preferred axis, r one without texture and below one where the axis prefers the normal: W. A. Dollase,
J. Appl. Cryst. 19 (1986) 267 (from memory).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.crystals.symmetry import space_group
from xrdorder.crystals.unit_cell import all_lengths

Array = NDArray[np.float64]


def axis_cosines_squared(
    group_name: str, system: str, lengths: ArrayLike, angles_deg: ArrayLike, hkl: ArrayLike, axis: ArrayLike
) -> Array:
    """Squared cosines between the normal of a plane and all equivalents of the preferred axis.

    Parameters
    ----------
    group_name, system, lengths, angles_deg
        Symmetry and cell, as for `xrdorder.crystals.reflections.reflections`.
    hkl
        Planes, shape (n, 3).
    axis
        Plane (h, k, l) whose normal is the preferred axis.

    Returns
    -------
    Array
        Shape (n, operations).

    Examples
    --------
    >>> cosines = axis_cosines_squared("P m -3 n", "cubic", [0.529], (90, 90, 90), [[1, 1, 0]], (1, 0, 0))
    >>> float(cosines.mean().round(6))
    0.333333
    """
    lengths_nm, cosine = all_lengths(system, lengths), np.cos(np.radians(np.asarray(angles_deg, float)))
    metric = np.outer(lengths_nm, lengths_nm) * np.array(
        [[1.0, cosine[2], cosine[1]], [cosine[2], 1.0, cosine[0]], [cosine[1], cosine[0], 1.0]]
    )
    reciprocal = np.linalg.inv(metric)
    rotations = [np.array(op.rot) // op.DEN for op in space_group(group_name).operations().sym_ops]
    axes = np.array([np.asarray(axis) @ rotation for rotation in rotations], dtype=np.float64)
    planes = np.atleast_2d(np.asarray(hkl, dtype=np.float64))
    mixed = planes @ reciprocal @ axes.T
    squares = np.einsum("ij,jk,ik->i", planes, reciprocal, planes)
    axis_squares = np.einsum("ij,jk,ik->i", axes, reciprocal, axes)
    return np.asarray(mixed**2 / np.outer(squares, axis_squares))


def march_density(cosines_squared: Array, r: float) -> tuple[Array, Array]:
    """Density of plane normals over the random one, and its derivative by r.

    Parameters
    ----------
    cosines_squared
        From `axis_cosines_squared`, shape (n, operations).
    r
        March's parameter, positive.

    Examples
    --------
    Planes on the axis itself, with r = 1/2: (1/4)^(-3/2) = 8 times random.

    >>> density, slope = march_density(np.array([[1.0]]), 0.5)
    >>> float(density[0])
    8.0
    """
    sines = 1.0 - cosines_squared
    base = r**2 * cosines_squared + sines / r
    density = (base**-1.5).mean(axis=1)
    slope = (-1.5 * base**-2.5 * (2.0 * r * cosines_squared - sines / r**2)).mean(axis=1)
    return np.asarray(density), np.asarray(slope)
