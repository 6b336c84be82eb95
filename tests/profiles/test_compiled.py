"""The compiled sums against the plain ones, and both against `scipy.special`."""

import numpy as np
import pytest

from tests.profiles.test_summation import TWO_THETA, some_lines
from xrdorder.profiles import summation
from xrdorder.profiles.summation import LineDerivatives, ProfileSum
from xrdorder.profiles.voigt import FWHM_PER_SIGMA, voigt_with_derivatives

pytest.importorskip("numba")


@pytest.fixture(scope="module")
def derivatives() -> LineDerivatives:
    """Parameters that each feed one property of the lines, two of them two, and the axial ratios."""
    rng, n = np.random.default_rng(3), len(some_lines().position)
    blocks = [np.zeros((n, 8)) for _ in range(4)]
    for block, columns in zip(blocks, ((0, 1), (2, 3), (4, 5), (5, 0)), strict=True):
        block[:, columns] = rng.normal(size=(n, 2))
    return LineDerivatives(*blocks, (6, 7))


@pytest.mark.parametrize("two_theta", [TWO_THETA[::3], TWO_THETA[1500:1600], np.delete(TWO_THETA, slice(900, 3000))])
@pytest.mark.parametrize(("broad", "ratio"), [(0.6, 0.03), (1.0, 0.0), (3.0, 0.015)])
def test_compiled_and_plain_sums_are_the_same(
    two_theta: np.ndarray, broad: float, ratio: float, derivatives: LineDerivatives, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines, profile = some_lines(broad=broad), ProfileSum(two_theta)
    total, jacobian = profile.total_with_jacobian(lines, derivatives, ratio, 0.7 * ratio)
    alone = profile.total(lines, ratio, 0.7 * ratio)
    monkeypatch.setattr(summation, "compiled", lambda: None)
    plain, plain_jacobian = profile.total_with_jacobian(lines, derivatives, ratio, 0.7 * ratio)
    scale = plain.max()
    assert np.abs(total - plain).max() < 1e-12 * scale
    assert np.abs(alone - profile.total(lines, ratio, 0.7 * ratio)).max() < 1e-12 * scale
    # derivatives by the squared Gaussian width cancel where a line is Lorentzian: both lose digits, see below
    assert np.all(np.abs(jacobian - plain_jacobian).max(axis=0) <= 1e-8 * np.abs(plain_jacobian).max(axis=0))


@pytest.mark.parametrize("lorentz", [1e-5, 0.01, 0.3, 3.0])
def test_compiled_voigt_is_that_of_the_faddeeva_function(lorentz: float) -> None:
    kernel = summation.compiled()
    assert kernel is not None
    gauss_squared, x, rows = 0.01, np.linspace(-1.0, 1.0, 501), np.zeros((4, 501))
    kernel.write_voigt(x, 0.01, gauss_squared, lorentz, rows)
    exact = voigt_with_derivatives(x - 0.01, np.float64(gauss_squared), np.float64(lorentz))
    # the polynomial has 32 terms: at its worst it keeps eleven digits of the largest value. The derivative by the
    # squared Gaussian width is about 1/z^3, written as a difference of numbers about z
    at_centre = 0.5 * lorentz * FWHM_PER_SIGMA / np.sqrt(2.0 * gauss_squared)
    lost = (1e-11, 1e-11, 1e-11 + 1e-15 * at_centre**4, 1e-11)
    for row, expected, tolerance in zip(rows, exact, lost, strict=True):
        assert np.abs(row - expected).max() < tolerance * np.abs(expected).max()
