"""Cubic harmonics against their definition."""

import numpy as np
import pytest

from xrdorder.crystals.harmonics import TEXTURE_ORDERS, cubic_harmonic


def sphere() -> tuple[np.ndarray, np.ndarray]:
    """Directions and weights of an exact quadrature: Gauss-Legendre in z, even steps in azimuth."""
    z, weight = np.polynomial.legendre.leggauss(12)
    phi = np.arange(24) * 2 * np.pi / 24
    grid_z, grid_phi = np.meshgrid(z, phi, indexing="ij")
    r = np.sqrt(1 - grid_z**2)
    directions = np.stack([r * np.cos(grid_phi), r * np.sin(grid_phi), grid_z], axis=-1).reshape(-1, 3)
    return directions, np.repeat(weight / 2 / 24, 24)


@pytest.mark.parametrize("one", TEXTURE_ORDERS)
@pytest.mark.parametrize("other", TEXTURE_ORDERS)
def test_orthonormal_on_the_sphere(one: int, other: int) -> None:
    directions, weight = sphere()
    mean = float(np.sum(weight * cubic_harmonic(one, directions) * cubic_harmonic(other, directions)))
    assert mean == pytest.approx(1.0 if one == other else 0.0, abs=1e-10)
    assert float(weight @ cubic_harmonic(one, directions)) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("order", TEXTURE_ORDERS)
def test_cubic_symmetry(order: int) -> None:
    hkl = np.array([[1, 2, 3], [3, -1, 2], [-2, 3, -1]])
    assert np.ptp(cubic_harmonic(order, hkl)) < 1e-12


@pytest.mark.parametrize("order", TEXTURE_ORDERS)
def test_is_an_eigenfunction_of_the_angular_laplacian(order: int) -> None:
    # r^l K_l(x/r) is harmonic: its Laplacian vanishes (definition of a spherical harmonic of degree l)
    def solid(p: np.ndarray) -> float:
        return float(np.linalg.norm(p) ** order * cubic_harmonic(order, p)[0])

    p, h = np.array([0.5, 0.3, 0.7]), 1e-3
    laplacian = sum((solid(p + h * e) - 2 * solid(p) + solid(p - h * e)) / h**2 for e in np.eye(3))
    curvature = max(abs(solid(p + h * e) - 2 * solid(p) + solid(p - h * e)) / h**2 for e in np.eye(3))
    assert abs(laplacian) < 1e-4 * curvature  # finite differences of step 1e-3 are right to h^2 times order^2


def test_lines_that_texture_treats_alike() -> None:
    # (h^4 + k^4 + l^4)/(h^2 + k^2 + l^2)^2 - 3/5 is -0.1 for all of these: by hand
    k = cubic_harmonic(4, [[1, 1, 0], [2, 2, 0], [2, 1, 1], [3, 2, 1], [4, 4, 0]])
    assert np.ptp(k) < 1e-12
