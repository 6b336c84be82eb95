"""Agreement factors, serial correlation, foreign lines."""

import numpy as np
import pytest
from scipy.signal import lfilter

from xrdorder.identification.peak_search import search_peaks
from xrdorder.least_squares.quality import agreement, serial_correlation_factor, squared_significance


def test_agreement_of_a_perfect_model_with_poisson_counts() -> None:
    rng = np.random.default_rng(1)
    model = np.full(20_000, 400.0)
    quality = agreement(rng.poisson(model).astype(float), model, model, 0)
    # relative scatter of chi squared is sqrt(2/n) = 1 %: three of them
    assert quality.chi2_reduced == pytest.approx(1.0, abs=0.03)
    assert quality.r_expected == pytest.approx(0.05, rel=0.01)  # 1/sqrt(400)


def test_white_noise_is_not_enlarged_more_often_than_it_should() -> None:
    rng = np.random.default_rng(2)
    factors = np.array([serial_correlation_factor(rng.normal(size=6000), 15) for _ in range(400)])
    # beyond two standard deviations on one side: 2.3 % of cases; at most 19 of 400 at 1 in 1000 (binomial)
    assert np.count_nonzero(factors > 1.0) <= 19
    assert factors.max() < 1.2


def test_correlated_noise_is_enlarged_by_its_sum() -> None:
    rng = np.random.default_rng(3)
    rho = 0.6
    noise = lfilter([np.sqrt(1 - rho**2)], [1.0, -rho], rng.normal(size=60_000))
    expected = np.sqrt((1 + rho) / (1 - rho))  # first-order autoregression, textbook
    # Bartlett weights over 40 lags miss a few per cent of the sum
    assert serial_correlation_factor(noise, 40) == pytest.approx(expected, rel=0.06)


def test_foreign_line_is_found_with_its_height() -> None:
    two_theta = np.arange(20.0, 80.0, 0.02)
    model = np.full_like(two_theta, 200.0)
    line = 150.0 * np.exp(-0.5 * ((two_theta - 50.0) / 0.06) ** 2)
    rng = np.random.default_rng(4)
    residual = rng.poisson(model + line) - model
    found = search_peaks(two_theta, residual, model, 0.1413, 0.154059, np.array([30.0]), np.array([0.3]))
    assert len(found) == 1
    assert found[0].two_theta == pytest.approx(50.0, abs=0.02)
    assert found[0].height_counts == pytest.approx(
        150.0, rel=0.15
    )  # five times its Poisson uncertainty of 3 %
    assert found[0].d_nm == pytest.approx(0.154059 / 2 / np.sin(np.radians(25.0)), rel=1e-3)


def test_nothing_is_found_in_noise_or_beside_known_lines() -> None:
    two_theta = np.arange(20.0, 80.0, 0.02)
    model = np.full_like(two_theta, 200.0)
    rng = np.random.default_rng(5)
    noise = rng.poisson(model) - model
    assert not search_peaks(two_theta, noise, model, 0.14, 0.154059, np.array([]), np.array([]))
    line = 150.0 * np.exp(-0.5 * ((two_theta - 50.0) / 0.06) ** 2)
    assert not search_peaks(two_theta, line, model, 0.14, 0.154059, np.array([50.1]), np.array([0.3]))


@pytest.mark.parametrize("width", [0.08, 0.25])
def test_significance_is_that_of_a_filter_that_knows_the_line(width: float) -> None:
    step, variance, area = 0.01, 300.0, 40.0
    x = np.arange(-3.0, 3.0, step)
    sigma = width / np.sqrt(8.0 * np.log(2.0))
    shape = np.exp(-0.5 * (x / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi))
    # least squares for one factor: the variance of an area is variance over the sum of squares
    assert squared_significance(area, width, step, variance) == pytest.approx(
        area**2 * np.sum(shape**2) / variance, rel=1e-3  # 0.664 has three figures
    )  # fmt: skip
