"""Lorentz-polarisation factor: conventions and limits (handbook values are checked in tests/outside)."""

import numpy as np
import pytest

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
