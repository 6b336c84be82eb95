"""Axial divergence: why low-angle lines lean to the left.

A ray that leaves the source at height z_s and reaches the detector at z_d appears at 2 phi instead of 2 theta with
cos 2 phi = cos 2 theta sqrt(1 + h^2), h = |z_s - z_d| / detector distance: L. W. Finger, D. E. Cox,
A. P. Jephcoat, J. Appl. Cryst. 27 (1994) 892. Their integral over 2 phi has an integrable singularity at 2 theta.
Written over h it has none, the intensity of a height difference being p(h) / [(1 + h^2) sin 2 phi], where p(h) is the
trapezoid that two evenly lit heights make. So a few Gauss-Legendre nodes in h are as good as the integral.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SMALL_RATIO = 1e-6  # a ratio below this moves no line by as much as a millionth of a degree


class AxialNodes(NamedTuple):
    """Component positions that stand for one line each: `line` says which, `position` where, `weight` how much.

    The derivatives are by the line's own position (`d_position`) and by the two ratios (pairs along the last axis:
    source, detector).
    """

    line: NDArray[np.intp]
    position: Array
    weight: Array
    d_position: Array
    position_by_ratios: Array
    weight_by_ratios: Array


def largest_shift(two_theta: Array, source_ratio: float, detector_ratio: float) -> Array:
    """Shift of the most oblique ray in degrees, (S + H)^2 / 2 cot 2 theta; positive where lines lean left."""
    angle = np.radians(two_theta)
    return np.asarray(np.degrees(0.5 * (source_ratio + detector_ratio) ** 2 / np.tan(angle)))


def axial_nodes(
    two_theta: Array, counts: NDArray[np.intp], source_ratio: float, detector_ratio: float
) -> AxialNodes:
    """Replace each line by components along its axial tail.

    Parameters
    ----------
    two_theta
        Line positions, degrees, shape (n,).
    counts
        Number of nodes wanted for each line and each piece of the trapezoid, shape (n,), at least 1.
    source_ratio, detector_ratio
        Half height of source and of detector opening over the detector distance (S/L and H/L of the reference).

    Returns
    -------
    AxialNodes
        Components, grouped by line; the weights of a line sum to one.
    """
    n = len(two_theta)
    low, high = abs(source_ratio - detector_ratio), source_ratio + detector_ratio
    if high < SMALL_RATIO:
        zero = np.zeros((n, 2))
        return AxialNodes(
            np.arange(n), np.asarray(two_theta, float), np.ones(n), np.ones(n), zero, zero.copy()
        )
    sign = float(np.sign(source_ratio - detector_ratio))
    by_low, by_high = (
        np.array([sign, -sign]),
        np.array([1.0, 1.0]),
    )  # derivatives of low, high by (source, detector)

    line, height, height_by, raw, raw_by = [], [], [], [], []
    for size in np.unique(counts):
        lines = np.flatnonzero(counts == size)
        h, h_by, p, p_by = _trapezoid_nodes(int(size), low, high, by_low, by_high)
        line.append(np.repeat(lines, len(h)))
        height.append(np.tile(h, len(lines)))
        height_by.append(np.tile(h_by, (len(lines), 1)))
        raw.append(np.tile(p, len(lines)))
        raw_by.append(np.tile(p_by, (len(lines), 1)))
    owner = np.concatenate(line)
    order = np.argsort(owner, kind="stable")
    owner = owner[order]
    h, p = np.concatenate(height)[order], np.concatenate(raw)[order]
    h_by, p_by = np.concatenate(height_by)[order], np.concatenate(raw_by)[order]

    angle = np.radians(np.asarray(two_theta))[owner]
    stretch = np.sqrt(1.0 + h * h)
    cosine = np.clip(np.cos(angle) * stretch, -1.0 + 1e-12, 1.0 - 1e-12)
    apparent = np.arccos(cosine)
    sine = np.sin(apparent)
    apparent_by_h = -np.cos(angle) * h / (stretch * sine)
    density = 1.0 / (stretch**2 * sine)
    log_density_by_h = -2.0 * h / stretch**2 - cosine / sine * apparent_by_h

    weight = p * density
    weight_by = (p_by + (p * log_density_by_h)[:, None] * h_by) * density[:, None]
    total = np.bincount(owner, weight, n)[owner]
    total_by = np.stack([np.bincount(owner, weight_by[:, k], n) for k in (0, 1)], axis=1)[owner]
    return AxialNodes(
        line=owner,
        position=np.degrees(apparent),
        weight=weight / total,
        d_position=np.sin(angle) * stretch / sine,
        position_by_ratios=np.degrees(apparent_by_h)[:, None] * h_by,
        weight_by_ratios=weight_by / total[:, None] - (weight / total**2)[:, None] * total_by,
    )


@lru_cache(maxsize=64)
def _legendre(size: int) -> tuple[Array, Array]:
    """Gauss-Legendre nodes and weights on [0, 1]."""
    node, quadrature = np.polynomial.legendre.leggauss(size)
    return 0.5 * (node + 1.0), 0.5 * quadrature


@lru_cache(maxsize=1)
def legendre_tables(most: int) -> tuple[Array, Array]:
    """Nodes and weights on [0, 1] for every number of nodes, each in the row of its number, shape (most + 1, most)."""
    tables = np.zeros((2, most + 1, most))
    for size in range(1, most + 1):
        tables[0, size, :size], tables[1, size, :size] = _legendre(size)
    return tables[0], tables[1]


def _trapezoid_nodes(
    size: int, low: float, high: float, by_low: Array, by_high: Array
) -> tuple[Array, Array, Array, Array]:
    """Nodes in h with weights of the trapezoid p(h) = high - max(h, low) on [0, high], and derivatives by (S, H)."""
    node, quadrature = _legendre(size)
    width = high - low
    by_width = by_high - by_low
    # the slope from low to high, divided by the width that both pieces share
    h = low + width * node
    h_by = by_low + np.outer(node, by_width)
    p = width * quadrature * (1.0 - node)
    p_by = np.outer(quadrature * (1.0 - node), by_width)
    if low > SMALL_RATIO:  # and the flat top
        h = np.concatenate([low * node, h])
        h_by = np.concatenate([np.outer(node, by_low), h_by])
        p = np.concatenate([low * quadrature, p])
        p_by = np.concatenate([np.outer(quadrature, by_low), p_by])
    return h, h_by, p, p_by
