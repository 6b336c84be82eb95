"""Start values: background, lattices and scales out of the pattern alone."""

import numpy as np
import pytest

from xrdorder.fitting.initial_values import (
    TrialLattices,
    background_terms,
    clipped_background,
    initial_scales,
    match_lattice,
    match_residual,
    smoothed_net,
)
from xrdorder.least_squares.refinement import initial_variance

TWO_THETA = np.arange(20.0, 100.0, 0.02)
WAVELENGTH = 0.154059
INVERSE_D = np.sqrt(np.array([3.0, 4.0, 8.0, 11.0, 12.0])) / 0.3615  # copper
STRENGTH = np.array(
    [100.0, 46.0, 20.0, 17.0, 5.0]
)  # powder diffraction handbook intensities of copper, from memory


def lines(inverse_d: np.ndarray, heights: np.ndarray, width: float = 0.06) -> np.ndarray:
    centres = 2 * np.degrees(np.arcsin(WAVELENGTH * inverse_d / 2))
    return sum(
        h * np.exp(-0.5 * ((TWO_THETA - c) / width) ** 2) for c, h in zip(centres, heights, strict=True)
    )


def test_background_is_found_under_lines() -> None:
    true = 200.0 * np.exp(-(TWO_THETA - 20.0) / 15.0) + 50.0
    counts = np.random.default_rng(1).poisson(true + lines(INVERSE_D, 20 * STRENGTH)).astype(float)
    found = clipped_background(TWO_THETA, counts)
    # clipping follows the lower side of the noise, half a standard deviation of the smoothed counts at worst
    assert np.all(np.abs(found - true) < 1.5 * np.sqrt(true))


def test_number_of_background_terms() -> None:
    assert background_terms(np.array([18.0, 140.0])) == 18
    assert background_terms(np.array([40.0, 45.0])) == 5
    assert background_terms(np.array([5.0, 165.0])) == 20


@pytest.mark.parametrize("factor", [0.992, 1.0, 1.007])
def test_lattice_beside_a_stronger_foreign_line(factor: float) -> None:
    foreign = lines(np.array([1.0 / 0.2336]), np.array([500.0]))  # niobium (110)
    net = smoothed_net(TWO_THETA, lines(INVERSE_D / factor, STRENGTH) + foreign, np.zeros_like(TWO_THETA))
    found = match_lattice(TrialLattices(INVERSE_D, STRENGTH, WAVELENGTH, 0.99, 1.01), TWO_THETA, net)
    assert found == pytest.approx(factor, abs=5e-4)  # a few steps of the search; the fit goes on from there


@pytest.mark.parametrize("factor", [0.992, 1.004])
def test_weak_phase_in_the_noise_of_a_residual(factor: float) -> None:
    variance = np.full_like(TWO_THETA, 400.0)
    signal = lines(INVERSE_D / factor, 0.4 * STRENGTH)  # strongest line twice the noise of a point
    residual = signal + np.random.default_rng(2).normal(0.0, 20.0, len(TWO_THETA))
    found = match_residual(TrialLattices(INVERSE_D, STRENGTH, WAVELENGTH, 0.985, 1.015), TWO_THETA, residual, variance)
    assert found == pytest.approx(factor, abs=5e-4)


def test_scales_are_those_put_in_and_never_negative() -> None:
    one, two = lines(INVERSE_D, STRENGTH), lines(INVERSE_D / 1.02, STRENGTH)
    scales = initial_scales([one, two], 3.0 * one - 0.5 * two, np.ones_like(one))
    assert scales[0] == pytest.approx(3.0, rel=0.05)
    assert scales[1] == 0.0
    np.testing.assert_allclose(initial_scales([one, two], 3.0 * one + 0.5 * two, np.ones_like(one)), [3.0, 0.5])


def test_start_variance_is_that_of_poisson_counts() -> None:
    counts = np.random.default_rng(3).poisson(100.0, 5000).astype(float)
    variance = initial_variance(counts, np.ones_like(counts))
    assert variance.mean() == pytest.approx(100.0, rel=0.01)
    assert variance.std() < 5.0  # smoothed over five points: 10 / sqrt(5)
    assert initial_variance(np.zeros(20), np.ones(20)).min() == 1.0
