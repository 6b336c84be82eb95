"""All engines, one answer; certified ones are asked for in tests/outside/test_reference_sets.py."""

import numpy as np
import pytest

from xrdorder.exceptions import FitError, UnknownNameError
from xrdorder.fitting import ENGINES
from xrdorder.least_squares.engines import engine


def test_a_step_to_a_bound_ends_at_the_bound_itself() -> None:
    """Where rounding would miss it by a digit, a parameter would count as free."""
    rng, missed = np.random.default_rng(3), 0
    for start, bound in zip(rng.uniform(0.0, 1.0, 200), -rng.uniform(0.0, 0.01, 200), strict=True):
        missed += start + (bound - start) != bound
        found = engine("own")(
            lambda p: (p + 1.0, np.ones((1, 1))), np.array([start]), np.array([bound]), np.array([np.inf]),
            tolerance=1e-4, most_iterations=10, reach=np.array([np.inf]),
        )  # fmt: skip
        assert found.point[0] == bound
    assert missed > 10


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


@pytest.mark.parametrize("height", [1.0, -1.0, 100.0, -100.0])
@pytest.mark.parametrize("rate", [0.01, 0.1, 0.3, 0.5, 1.0, 2.0, 5.0])
def test_a_parameter_that_ran_off_is_no_minimum(height: float, rate: float) -> None:
    # an exponential that is zero from the first point on changes nothing: no slope is left, and no minimum either
    x, y = np.arange(10.0, 100.0, 10.0), np.linspace(1.0, 0.2, 9)

    def residuals(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        decay = np.exp(-p[1] * x)
        return p[0] * decay - y, np.stack([decay, -p[0] * x * decay], axis=1)

    bounds = np.full(2, -np.inf), np.full(2, np.inf)
    with np.errstate(all="ignore"):  # trial steps may overflow
        found = engine("own")(residuals, np.array([height, rate]), *bounds, tolerance=1e-12, most_iterations=500)
    minimum = engine("scipy")(residuals, np.array([1.0, 0.01]), *bounds, tolerance=1e-12, most_iterations=500)
    assert found.converged == (found.chi2 == pytest.approx(minimum.chi2, abs=1e-11))
    assert found.converged or rate > 0.2


def test_columns_that_cannot_be_told_apart_share_the_step() -> None:
    matrix = np.array([[1.0, 1.0], [2.0, 2.0], [0.5, 0.5]])

    def residuals(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return matrix @ (p - 1.0), matrix

    bounds = np.full(2, -np.inf), np.full(2, np.inf)
    minimum = engine("own")(residuals, np.array([4.0, 0.0]), *bounds, tolerance=1e-12, most_iterations=100)
    assert minimum.converged
    assert minimum.point.sum() == pytest.approx(2.0, abs=1e-5)


def test_unknown_engine() -> None:
    with pytest.raises(UnknownNameError, match="choose one of own, scipy"):
        engine("steam")


def test_start_without_a_finite_pattern() -> None:
    def residuals(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.array([np.nan]), np.ones((1, 1))

    with pytest.raises(FitError, match="start values"):
        engine("own")(residuals, np.ones(1), np.zeros(1), np.ones(1), tolerance=1e-6, most_iterations=5)
