"""Axial divergence against the integral it stands for."""

import numpy as np
import pytest
from scipy.integrate import dblquad

from xrdorder.profiles.axial import axial_nodes, largest_shift


def moments(two_theta: float, source: float, detector: float) -> tuple[float, float]:
    """Mean shift and variance by integrating over both heights: Finger, Cox, Jephcoat 1994, ray by ray."""
    angle = np.radians(two_theta)

    def ray(z_s: float, z_d: float, power: int) -> float:
        h = z_s - z_d
        apparent = np.arccos(np.cos(angle) * np.sqrt(1.0 + h * h))
        return np.degrees(apparent - angle) ** power / ((1.0 + h * h) * np.sin(apparent))

    total, first, second = (
        dblquad(ray, -detector, detector, -source, source, args=(power,), epsabs=1e-12, epsrel=1e-9)[0]
        for power in (0, 1, 2)
    )
    return first / total, second / total - (first / total) ** 2


@pytest.mark.parametrize("two_theta", [20.0, 40.0, 89.0, 120.0, 150.0])
@pytest.mark.parametrize(("source", "detector"), [(0.02, 0.02), (0.03, 0.01), (0.01, 0.025)])
def test_moments_are_those_of_the_integral(two_theta: float, source: float, detector: float) -> None:
    nodes = axial_nodes(np.array([two_theta]), np.array([4]), source, detector)
    shift = nodes.position - two_theta
    mean = float(nodes.weight @ shift)
    variance = float(nodes.weight @ (shift - mean) ** 2)
    expected_mean, expected_variance = moments(two_theta, source, detector)
    # four Gauss-Legendre nodes are exact for polynomials of degree 7 in h; the shift is h^2 to within h^4
    assert mean == pytest.approx(expected_mean, rel=1e-5, abs=1e-9)
    assert variance == pytest.approx(expected_variance, rel=1e-4, abs=1e-12)


def test_leans_left_below_ninety_degrees_and_right_above() -> None:
    nodes = axial_nodes(np.array([30.0, 150.0]), np.array([3, 3]), 0.02, 0.02)
    assert np.all(nodes.position[nodes.line == 0] < 30.0)
    assert np.all(nodes.position[nodes.line == 1] > 150.0)


def test_largest_shift_bounds_the_nodes() -> None:
    nodes = axial_nodes(np.array([25.0]), np.array([12]), 0.02, 0.015)
    bound = float(largest_shift(np.array([25.0]), 0.02, 0.015)[0])
    # the bound is the leading term; the next is smaller by about its own size in rad over 25 degrees in rad
    assert bound * 0.95 < 25.0 - nodes.position.min() < bound * 1.01


def test_no_divergence_is_one_node_a_line() -> None:
    nodes = axial_nodes(np.array([25.0, 50.0]), np.array([3, 5]), 0.0, 0.0)
    np.testing.assert_array_equal(nodes.position, [25.0, 50.0])
    np.testing.assert_array_equal(nodes.weight, [1.0, 1.0])


def test_point_source_gives_a_flat_distribution_of_heights() -> None:
    nodes = axial_nodes(np.array([30.0]), np.array([4]), 0.0, 0.02)
    expected_mean, _ = moments(30.0, 1e-7, 0.02)
    assert float(nodes.weight @ nodes.position) - 30.0 == pytest.approx(expected_mean, rel=1e-4)


@pytest.mark.parametrize(("source", "detector"), [(0.02, 0.013), (0.011, 0.03)])
def test_derivatives(source: float, detector: float) -> None:
    angles, counts = np.array([22.0, 64.0, 133.0]), np.array([6, 3, 5])
    nodes = axial_nodes(angles, counts, source, detector)
    step = 1e-6
    for k, (ds, dd) in enumerate([(step, 0.0), (0.0, step)]):
        above = axial_nodes(angles, counts, source + ds, detector + dd)
        below = axial_nodes(angles, counts, source - ds, detector - dd)
        for name, derivative in (
            ("position", nodes.position_by_ratios[:, k]),
            ("weight", nodes.weight_by_ratios[:, k]),
        ):
            numeric = (getattr(above, name) - getattr(below, name)) / (2.0 * step)
            np.testing.assert_allclose(derivative, numeric, rtol=1e-5, atol=1e-6 * np.abs(numeric).max())
    above, below = (axial_nodes(angles + d, counts, source, detector) for d in (1e-5, -1e-5))
    np.testing.assert_allclose(nodes.d_position, (above.position - below.position) / 2e-5, rtol=1e-6)
