"""Absorption of plate and cylinder, and roughness, against integrals done another way."""

import numpy as np
import pytest
from scipy.integrate import quad

from xrdorder.exceptions import ValidityError
from xrdorder.forward_model.absorption import (
    LARGEST_MU_R,
    cylinder_absorption,
    cylinder_offset,
    disc_paths,
    plate_absorption,
    roughness_factor,
)


@pytest.mark.parametrize("theta", np.radians([0.0, 20.0, 55.0]))
def test_plate_by_integration_over_its_depth(theta: float) -> None:
    # the path in and out is the same for all depths; the volume in the beam grows like 1 / cos(theta)
    def intensity(angle: float) -> float:
        slant = 1.0 / np.cos(angle)
        return float(quad(lambda z: slant * np.exp(-1.3 * (slant * z + slant * (1.0 - z))), 0.0, 1.0)[0])

    expected = intensity(theta) / intensity(0.0)
    assert plate_absorption(np.array([theta]), 1.3)[0] == pytest.approx(expected, rel=1e-12)


def test_opaque_plate_stays_finite() -> None:
    assert plate_absorption(np.array([0.0]), 2000.0)[0] == 1.0


@pytest.mark.parametrize("mu_r", [0.0, 0.3, 1.0, 3.0, 5.0, 5.1, 15.0, LARGEST_MU_R])
def test_interpolation_against_a_fine_grid_at_each_angle(mu_r: float) -> None:
    theta = np.radians([0.0, 0.7, 3.3, 11.0, 29.0, 44.0, 46.0, 71.0, 88.0, 90.0])
    path, offset, share = disc_paths(theta, 48, 128)
    left = share * np.exp(-mu_r * path)
    whole = left.sum(axis=(1, 2))
    # promised; the grid is doubled in every direction, which leaves about the square of the error
    np.testing.assert_allclose(cylinder_absorption(theta, mu_r), whole, rtol=1e-4)
    # offsets are at most one radius; 1e-4 of it are 15 nm of a capillary 0.3 mm wide
    np.testing.assert_allclose(
        cylinder_offset(theta, mu_r), (left * offset).sum(axis=(1, 2)) / whole, atol=1e-4
    )


def test_cylinder_is_smooth_and_rises_with_angle() -> None:
    theta = np.linspace(0.0, 0.5 * np.pi, 2001)
    for mu_r in (0.5, 2.0, 5.0, 20.0):
        factor = cylinder_absorption(theta, mu_r)
        # level at both ends by symmetry, where the last digits of the interpolation may fall
        assert np.all(np.diff(factor)[50:-50] > 0.0)
        assert np.abs(np.diff(np.log(factor), 2)).max() < 1e-3  # no steps: curvature times (0.8 mrad)^2


def test_plenty_of_angles_keep_their_shape() -> None:
    theta = np.linspace(0.1, 1.5, 12).reshape(3, 4)
    assert cylinder_absorption(theta, 1.0).shape == cylinder_offset(theta, 1.0).shape == (3, 4)


@pytest.mark.parametrize("mu_r", [-0.1, 41.0, float("nan")])
def test_cylinder_refusals(mu_r: float) -> None:
    with pytest.raises(ValidityError, match="mu R"):
        cylinder_absorption(np.array([0.3]), mu_r)


@pytest.mark.parametrize("p", [0.0, 0.4, 1.0])
def test_roughness(p: float) -> None:
    theta, q = np.radians([5.0, 20.0, 60.0, 90.0]), 0.2
    factor = roughness_factor(theta, p, q)
    assert factor[-1] == 1.0
    if p == 1.0:
        assert np.all(factor == 1.0)
    else:
        assert np.all(np.diff(factor) > 0.0)


def test_no_roughness_without_depth() -> None:
    assert np.all(roughness_factor(np.radians([5.0, 50.0]), 0.3, 0.0) == 1.0)
