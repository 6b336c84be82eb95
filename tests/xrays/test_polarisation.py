"""Lorentz-polarisation factor: conventions and limits (handbook values are checked in tests/outside)."""

import numpy as np
import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.xrays import lorentz_polarisation

ANGLES = np.linspace(5.0, 170.0, 34)


def test_no_monochromator_is_the_plain_formula() -> None:
    theta = np.radians(ANGLES / 2)
    plain = (1 + np.cos(2 * theta) ** 2) / (np.sin(theta) ** 2 * np.cos(theta))
    np.testing.assert_allclose(lorentz_polarisation(ANGLES), plain, rtol=1e-14)
    np.testing.assert_allclose(lorentz_polarisation(ANGLES, 0.0), plain, rtol=1e-14)


def test_monochromator_at_right_angle_leaves_the_lorentz_factor() -> None:
    theta = np.radians(ANGLES / 2)
    # A beam polarised along the axis of the goniometer is not weakened by the specimen.
    np.testing.assert_allclose(lorentz_polarisation(ANGLES, 90.0), 2 / (np.sin(theta) ** 2 * np.cos(theta)))


def test_monochromator_changes_nothing_at_small_angle() -> None:
    assert lorentz_polarisation(0.01, 26.6) == pytest.approx(float(lorentz_polarisation(0.01)), rel=1e-7)


def test_graphite_weakens_the_dip_at_right_angle() -> None:
    # K = cos^2(26.6 deg) = 0.7995; at 2 theta = 90 deg the ratio of both factors is 2/(1 + K).
    ratio = lorentz_polarisation(90.0, 26.6) / lorentz_polarisation(90.0)
    assert ratio == pytest.approx(2 / (1 + np.cos(np.radians(26.6)) ** 2))


def test_ratio_says_the_same_as_a_mosaic_monochromator() -> None:
    k = float(np.cos(np.radians(26.6)) ** 2)
    np.testing.assert_allclose(
        lorentz_polarisation(ANGLES, polarisation_ratio=k), lorentz_polarisation(ANGLES, 26.6), rtol=1e-14
    )
    np.testing.assert_allclose(
        lorentz_polarisation(ANGLES, polarisation_ratio=1.0), lorentz_polarisation(ANGLES), rtol=1e-14
    )


def test_each_polarisation_is_a_mean_of_the_two_pure_ones() -> None:
    across = lorentz_polarisation(ANGLES, polarisation_ratio=0.0)
    inside = across * np.cos(np.radians(ANGLES)) ** 2
    np.testing.assert_allclose(
        lorentz_polarisation(ANGLES, polarisation_ratio=0.25), (across + 0.25 * inside) / 1.25, rtol=1e-14
    )


def test_angle_and_ratio_exclude_each_other() -> None:
    with pytest.raises(ValidityError, match="give one"):
        lorentz_polarisation(40.0, 26.6, 0.8)


@pytest.mark.parametrize("ratio", [-0.1, float("nan"), float("inf")])
def test_impossible_ratio(ratio: float) -> None:
    with pytest.raises(ValidityError, match="not negative"):
        lorentz_polarisation(40.0, polarisation_ratio=ratio)
