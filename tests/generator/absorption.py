"""How much of the scattered intensity comes out? Roughness, plate in transmission, capillary."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss

from .cells import Array

# Nodes along the radius and round the capillary: A is then right to 1e-6 at µR = 1, 1e-5 at 2, 2e-4 at 5.
_RADIUS_NODES = 24
_AZIMUTH_NODES = 96


@dataclass(frozen=True)
class Roughness:
    """Surface roughness of a strongly absorbing powder, P. Suortti, J. Appl. Cryst. 5 (1972) 325 (from memory).

    S(θ) = [p + (1 - p) exp(-q / sinθ)] / [p + (1 - p) exp(-q)]: one at θ = 90 degrees, and less than one at
    low angles.
    """

    p: float
    q: float

    def factor(self, theta: Array) -> Array:
        """Factor on the intensity at these θ (rad)."""
        rough = self.p + (1.0 - self.p) * np.exp(-self.q / np.sin(theta))
        return rough / (self.p + (1.0 - self.p) * math.exp(-self.q))


def plate_factor(theta: Array, mu_t: float) -> Array:
    """Plate in symmetric transmission: exp(-µt / cosθ) / cosθ, µt the attenuation times the thickness.

    The plate halves the angle between the beams, every path through it is t / cosθ long, and so is the part of the
    beam inside it; the beam is narrower than the plate. At θ = 0 it is exp(-µt).
    """
    return np.exp(-mu_t / np.cos(theta)) / np.cos(theta)


@lru_cache(maxsize=4)
def _disc() -> tuple[Array, Array, Array]:
    """Points of a disc of radius one, and their shares of its area."""
    node, part = leggauss(_RADIUS_NODES)
    # r = sin(πu/2) crowds the points at the rim, where the paths vary like a square root
    u = (node + 1.0) / 2.0
    radius = np.sin(math.pi * u / 2.0)
    share = part / 2.0 * (math.pi / 2.0) * np.cos(math.pi * u / 2.0) * 2.0 * radius
    azimuth = 2.0 * math.pi * (np.arange(_AZIMUTH_NODES) + 0.5) / _AZIMUTH_NODES
    x = (radius[:, None] * np.cos(azimuth)).ravel()
    y = (radius[:, None] * np.sin(azimuth)).ravel()
    return x, y, np.repeat(share / _AZIMUTH_NODES, _AZIMUTH_NODES)


@lru_cache(maxsize=32)
def capillary_points(theta: float, mu_r: float) -> tuple[Array, Array]:
    """Where in a bathed capillary the radiation comes from: offset from the axis over the radius, and weight.

    A ray reaches the point (x, y) along +x after x + √(1 - y²) and leaves along (cos2θ, sin2θ); the offset is
    that of the leaving ray from the axis, positive toward larger 2θ. The weights sum to the transmission A(θ).
    """
    x, y, share = _disc()
    along = x * math.cos(2.0 * theta) + y * math.sin(2.0 * theta)
    offset = y * math.cos(2.0 * theta) - x * math.sin(2.0 * theta)
    path = (x + np.sqrt(1.0 - y**2)) + (np.sqrt(1.0 - offset**2) - along)
    return offset, share * np.exp(-mu_r * path)


def capillary_factor(theta: Array, mu_r: float) -> Array:
    """Transmission A(θ) of a cylinder bathed in the beam, a plain sum over its cross-section; one without µR."""
    return np.array([capillary_points(float(one), mu_r)[1].sum() for one in theta])
