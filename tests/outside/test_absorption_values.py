"""Absorption of a cylinder against other ways to integrate; closed forms stand in the table (tests/outside/rows)."""

import numpy as np
import pytest
from scipy.integrate import dblquad

from xrdorder.forward_model.absorption import cylinder_absorption, cylinder_offset


@pytest.mark.parametrize(("mu_r", "two_theta"), [(0.5, 40.0), (2.0, 90.0), (5.0, 120.0)])
def test_plain_double_integral(mu_r: float, two_theta: float) -> None:
    cosine, sine = np.cos(np.radians(two_theta)), np.sin(np.radians(two_theta))

    def left(y: float, x: float) -> float:
        across, along = y * cosine - x * sine, x * cosine + y * sine
        path = x + np.sqrt(max(1.0 - y * y, 0.0)) - along + np.sqrt(max(1.0 - across * across, 0.0))
        return float(np.exp(-mu_r * path)) / np.pi

    expected, _ = dblquad(
        left, -1.0, 1.0, lambda x: -np.sqrt(1 - x * x), lambda x: np.sqrt(1 - x * x), epsabs=1e-7, epsrel=1e-6
    )
    found = cylinder_absorption(np.radians([0.5 * two_theta]), mu_r)[0]
    assert found == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("mu_r", [0.5, 3.0])
def test_thrown_points(mu_r: float) -> None:
    rng = np.random.default_rng(7)
    points = rng.uniform(-1.0, 1.0, (600_000, 2))
    points = points[(points**2).sum(axis=1) < 1.0]
    for two_theta in (30.0, 75.0, 150.0):
        out = np.array([np.cos(np.radians(two_theta)), np.sin(np.radians(two_theta))])
        path = np.zeros(len(points))
        for direction in (np.array([-1.0, 0.0]), out):
            along = points @ direction
            path += -along + np.sqrt(along**2 + 1.0 - (points**2).sum(axis=1))
        weight = np.exp(-mu_r * path)
        offset = points @ np.array([-out[1], out[0]])
        theta = np.radians([0.5 * two_theta])
        mean = (weight * offset).sum() / weight.sum()
        error = weight.std() / np.sqrt(len(points))
        assert abs(weight.mean() - cylinder_absorption(theta, mu_r)[0]) < 4.0 * error
        error = (weight * (offset - mean)).std() / np.sqrt(len(points)) / weight.mean()
        assert abs(mean - cylinder_offset(theta, mu_r)[0]) < 4.0 * error


def test_mean_path_of_thin_cylinders() -> None:
    # the mean chord through the points of a disc is 16 R / (3 pi), and in and out that holds at every angle
    theta, mu_r = np.radians([0.0, 30.0, 90.0]), 1e-4
    slope = (1.0 - cylinder_absorption(theta, mu_r)) / mu_r
    np.testing.assert_allclose(slope, 16.0 / (3.0 * np.pi), rtol=3e-4)  # next order: about 1.5 mu R


