"""Scattering factors: shapes, limits, refusal."""

import pickle

import numpy as np
import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.xrays import (
    GEMMI_TABLE,
    SECOND_TABLE_REACH_EV,
    MeasuredDispersion,
    radiation,
    radiation_names,
    scattering_factor,
    second_table,
)


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


def test_measured_dispersion_replaces_what_was_measured_only() -> None:
    given = {"Nb": (-7.1, 1.9)}
    table = MeasuredDispersion(GEMMI_TABLE, given)
    given["Nb"] = (0.0, 0.0)
    s = np.array([1.0, 2.0])
    assert table.anomalous("Nb", 18980.0) == (-7.1, 1.9)
    assert table.anomalous("Sn", 18980.0) == GEMMI_TABLE.anomalous("Sn", 18980.0)
    np.testing.assert_array_equal(table.f0("Nb", s), GEMMI_TABLE.f0("Nb", s))
    assert scattering_factor("Nb", 1.0, 18980.0, table).imag == 1.9
    assert "measured" in table.name and GEMMI_TABLE.name in table.name


def test_measured_dispersion_goes_to_other_processes() -> None:
    table = pickle.loads(pickle.dumps(MeasuredDispersion(GEMMI_TABLE, {"Nb": (-7.1, 1.9)})))
    assert table.anomalous("Nb", 18980.0) == (-7.1, 1.9)


@pytest.mark.parametrize("values", [(float("nan"), 1.0), (1.0, float("inf")), (-5.0, -0.1)])
def test_impossible_measured_dispersion(values: tuple[float, float]) -> None:
    with pytest.raises(ValidityError, match="of Nb: both must be finite"):
        MeasuredDispersion(GEMMI_TABLE, {"Nb": values})


def test_measured_dispersion_of_an_unknown_element() -> None:
    with pytest.raises(UnknownNameError, match="no scattering factor"):
        MeasuredDispersion(GEMMI_TABLE, {"niobium": (-5.0, 1.0)})


@pytest.mark.parametrize("name", radiation_names())
def test_every_tube_has_a_second_table(name: str) -> None:
    energy = radiation(name).energy_ev
    table = second_table(energy)
    assert table is not None
    s = np.array([1.0, 4.0])
    np.testing.assert_array_equal(table.f0("Sn", s), GEMMI_TABLE.f0("Sn", s))
    for element in ("Nb", "Sn", "Ta", "Ti"):
        ours, theirs = GEMMI_TABLE.anomalous(element, energy), table.anomalous(element, energy)
        # Another calculation: not the same, and apart by no more than 0.3 electrons (Sn at Cr, near its L edges).
        assert ours != theirs
        assert ours[0] == pytest.approx(theirs[0], abs=0.3)


def test_an_element_outside_the_second_table_keeps_its_numbers() -> None:
    table = second_table(8047.8)
    assert table is not None
    assert table.anomalous("Ni", 8047.8) == GEMMI_TABLE.anomalous("Ni", 8047.8)
    with pytest.raises(UnknownNameError):
        table.anomalous("Foo", 8047.8)


@pytest.mark.parametrize("text", ["1.5406 angstrom", "0.154 nm", "0.70932 angstrom", "0.2290 nm"])
def test_rounded_wavelengths_find_it(text: str) -> None:
    assert second_table(radiation(text).energy_ev) is not None


@pytest.mark.parametrize("energy", [8047.8 + 1.01 * SECOND_TABLE_REACH_EV, 18900.0, 0.0, float("nan")])
def test_no_second_table_elsewhere(energy: float) -> None:
    assert second_table(energy) is None


def test_second_table_refuses_another_energy() -> None:
    table = second_table(8047.8)
    assert table is not None
    for energy in (17479.4, float("nan")):
        with pytest.raises(ValidityError, match="8048 eV"):
            table.anomalous("Nb", energy)
