"""Scattering factors: shapes, limits, refusal."""

import numpy as np
import pytest

from xrdorder.exceptions import UnknownNameError
from xrdorder.xrays import GEMMI_TABLE, scattering_factor


@pytest.mark.parametrize(
    ("element", "electrons"), [("O", 8), ("Si", 14), ("Ti", 22), ("Cu", 29), ("Nb", 41), ("Ta", 73)]
)
def test_forward_scattering_counts_the_electrons(element: str, electrons: int) -> None:
    # The four-Gaussian fits miss Z by up to 0.05 electrons (their own published residual).
    assert GEMMI_TABLE.f0(element, np.zeros(1))[0] == pytest.approx(electrons, abs=0.06)


def test_form_factor_falls_with_angle_and_keeps_the_shape() -> None:
    s = np.linspace(0.0, 10.0, 12).reshape(3, 4)
    f0 = GEMMI_TABLE.f0("Nb", s)
    assert f0.shape == s.shape
    assert np.all(np.diff(f0.ravel()) < 0)


def test_real_and_imaginary_part_are_put_together() -> None:
    first, second = GEMMI_TABLE.anomalous("Sn", 8047.8)
    f = scattering_factor("Sn", [1.0, 2.0], 8047.8)
    np.testing.assert_allclose(f.real, GEMMI_TABLE.f0("Sn", np.array([1.0, 2.0])) + first)
    np.testing.assert_allclose(f.imag, second)


def test_absorption_edge_of_niobium() -> None:
    # K edge at 18 986 eV: f'' jumps by a factor of about seven.
    below, above = (GEMMI_TABLE.anomalous("Nb", energy)[1] for energy in (18950.0, 19020.0))
    assert above / below > 5


@pytest.mark.parametrize("element", ["", "X", "Foo", "nb", "Nb5+", "Fm"])
def test_unknown_element(element: str) -> None:
    with pytest.raises(UnknownNameError, match="no scattering factor"):
        scattering_factor(element, 0.0, 8047.8)


def test_another_table_can_be_used() -> None:
    class Points:
        name = "points"

        def f0(self, element: str, s_per_nm: np.ndarray) -> np.ndarray:
            return np.full_like(s_per_nm, 10.0)

        def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
            return 1.0, 2.0

    assert complex(scattering_factor("Nb", 1.0, 8047.8, Points())) == 11 + 2j
