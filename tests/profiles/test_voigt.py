"""The Voigt function, its derivatives and its tail."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import voigt_profile

from xrdorder.profiles.voigt import (
    FWHM_PER_SIGMA,
    fwhm,
    voigt,
    voigt_tail,
    voigt_tail_with_derivatives,
    voigt_with_derivatives,
)

WIDTHS = st.floats(0.02, 0.5)


@settings(max_examples=50, deadline=None)
@given(x=st.floats(-3.0, 3.0), gauss=WIDTHS, lorentz=st.floats(0.0, 0.5))
def test_is_the_voigt_function_of_scipy(x: float, gauss: float, lorentz: float) -> None:
    expected = voigt_profile(x, gauss / FWHM_PER_SIGMA, lorentz / 2.0)
    # both call Faddeeva codes of about 1e-13; far tails of a Gaussian underflow relative to the peak
    assert voigt(x, gauss**2, lorentz) == pytest.approx(expected, rel=1e-10, abs=1e-13)


def test_value_of_both_functions_is_the_same() -> None:
    x = np.linspace(-2.0, 2.0, 41)
    np.testing.assert_allclose(voigt(x, 0.01, 0.05), voigt_with_derivatives(x, 0.01, 0.05).value, rtol=1e-13)
    tail = voigt_tail(x, 0.01, 0.05, 0.5)
    np.testing.assert_allclose(tail, voigt_tail_with_derivatives(x, 0.01, 0.05, 0.5).value, rtol=1e-13)


@settings(max_examples=60, deadline=None)
@given(x=st.floats(-2.0, 2.0), gauss=WIDTHS, lorentz=st.floats(0.001, 0.5), tail=st.booleans())
def test_derivatives(x: float, gauss: float, lorentz: float, tail: bool) -> None:
    def value(*arguments: float) -> float:
        return float(voigt_tail(*arguments, 0.6) if tail else voigt(*arguments))

    point = [x, gauss**2, lorentz]
    shape = voigt_tail_with_derivatives(*point, 0.6) if tail else voigt_with_derivatives(*point)
    peak = value(0.0, gauss**2, lorentz)
    for k, derivative in enumerate(shape[1:]):
        step = 1e-4 * (gauss, gauss**2, gauss)[k]
        above, below = list(point), list(point)
        above[k] += step
        below[k] -= step
        numeric = (value(*above) - value(*below)) / (2.0 * step)
        # a central difference over 1e-4 of the width is right to about (1e-4)^2, in units of peak over width
        unit = peak / (gauss, gauss**2, gauss)[k]
        assert float(derivative) == pytest.approx(numeric, abs=2e-6 * unit)


@pytest.mark.parametrize(("gauss", "lorentz"), [(0.1, 0.01), (0.05, 0.1), (0.2, 0.2)])
def test_tail_becomes_the_line_far_out(gauss: float, lorentz: float) -> None:
    core = 0.75
    x = np.array([4.0, 6.0, 10.0]) * core
    error = voigt_tail(x, gauss**2, lorentz, core) / voigt(x, gauss**2, lorentz) - 1.0
    # the series leaves out terms of the order (core/x)^6 and (width/x)^6
    assert np.all(np.abs(error) < 3.0 * ((core / x) ** 6 + (max(gauss, lorentz) / x) ** 6))


@pytest.mark.parametrize(("gauss", "lorentz"), [(0.1, 0.0), (0.1, 0.05), (0.05, 0.1), (0.01, 0.1)])
def test_fwhm(gauss: float, lorentz: float) -> None:
    width = float(fwhm(gauss**2, lorentz))
    # Olivero and Longbothum: right to 0.02 %; the slope at half height turns that into 0.05 % of the height
    assert voigt(width / 2, gauss**2, lorentz) == pytest.approx(0.5 * voigt(0.0, gauss**2, lorentz), rel=5e-4)
