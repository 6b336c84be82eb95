"""All engines, one answer."""

import numpy as np
import pytest
import xarray as xr

from xrdorder.exceptions import FitError, UnknownNameError
from xrdorder.fitting import ENGINES, Calibration, fit_pattern
from xrdorder.fitting.engines import engine


@pytest.mark.parametrize("name", ENGINES)
def test_misra_of_the_statistical_reference_data(name: str) -> None:
    # NIST Statistical Reference Datasets, nonlinear regression, Misra1a: y = b1 (1 - exp(-b2 x)); certified values
    x = np.array(
        [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
    )
    y = np.array(
        [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
    )

    def residuals(b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        decay = np.exp(-b[1] * x)
        # in units of 0.1, the residual standard deviation, so that the tolerance on chi squared means what it says
        return (b[0] * (1 - decay) - y) * 10, np.stack([1 - decay, b[0] * x * decay], axis=1) * 10

    minimum = engine(name)(
        residuals,
        np.array([500.0, 0.0001]),
        np.zeros(2),
        np.full(2, np.inf),
        tolerance=1e-12,
        most_iterations=200,
    )
    assert minimum.converged
    # certified to eleven digits; a drop of chi squared below 1e-12 leaves 1e-6 of a standard uncertainty (1 % of b)
    np.testing.assert_allclose(minimum.point, [2.3894212918e02, 5.5015643181e-04], rtol=1e-7)
    assert minimum.chi2 / 100 == pytest.approx(1.2455138894e-01, rel=1e-8)


@pytest.mark.parametrize("name", ENGINES)
def test_stops_at_a_bound_and_finds_the_rest(name: str) -> None:
    matrix = np.array([[1.0, 0.9], [0.9, 1.0], [0.3, -0.2]])
    target = matrix @ np.array([-1.0, 2.0])

    def residuals(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return matrix @ p - target, matrix

    minimum = engine(name)(
        residuals,
        np.array([1.0, 1.0]),
        np.array([0.0, -5.0]),
        np.array([5.0, 5.0]),
        tolerance=1e-14,
        most_iterations=100,
    )
    rest = float(matrix[:, 1] @ target / (matrix[:, 1] @ matrix[:, 1]))
    np.testing.assert_allclose(minimum.point, [0.0, rest], atol=1e-5)


@pytest.mark.slow
def test_same_answer_on_a_pattern(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    fits = [fit_pattern(sample_pattern, calibration.instrument, engine=name) for name in ENGINES]
    for quantity in ("a_nm", "order_contrast"):
        u = fits[0].u(quantity)
        values = [fit.values[quantity] for fit in fits]
        # both stop where chi squared changes by less than 1e-6 of its unit: 1e-3 u; scipy's own test is looser
        assert max(values) - min(values) < 0.01 * u


def test_unknown_engine() -> None:
    with pytest.raises(UnknownNameError, match="choose one of own, scipy"):
        engine("steam")


def test_start_without_a_finite_pattern() -> None:
    def residuals(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.array([np.nan]), np.ones((1, 1))

    with pytest.raises(FitError, match="start values"):
        engine("own")(residuals, np.ones(1), np.zeros(1), np.ones(1), tolerance=1e-6, most_iterations=5)
