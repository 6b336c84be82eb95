"""Absorption edges: what is listed, which is closest, what is refused."""

import itertools

import gemmi
import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.xrays import absorption_edges, nearest_edge


def test_every_element_of_the_form_factor_table_has_its_edges_in_order() -> None:
    before = 0.0
    for number in range(1, 99):
        edges = absorption_edges(gemmi.Element(number).name)
        names, energies = zip(*edges, strict=True)
        assert names == ("K", "L1", "L2", "L3")[: len(names)]
        # L2 and L3 of light atoms coincide; the compilation has them to 0.1 eV, and for Na a last digit the wrong way.
        assert all(high >= low - 0.11 for high, low in itertools.pairwise(energies))
        # Moseley: the K edge climbs with the charge of the nucleus.
        assert energies[0] > before
        before = energies[0]


@pytest.mark.parametrize("element", ["Nb", "Sn", "Ta", "Cu", "Si"])
def test_elements_of_wires_have_all_four(element: str) -> None:
    assert [name for name, _ in absorption_edges(element)] == ["K", "L1", "L2", "L3"]


def test_the_sign_tells_the_side() -> None:
    assert nearest_edge(["Sn", "Nb"], 18980.0) == ("Nb", "K", -6.0)
    assert nearest_edge(["Sn", "Nb"], 29201.0) == ("Sn", "K", 1.0)
    assert nearest_edge(["Nb", "Ta"], 9900.0) == ("Ta", "L3", 19.0)


@pytest.mark.parametrize("element", ["", "X", "nb", "Nb5+", "Niobium"])
def test_unknown_element(element: str) -> None:
    with pytest.raises(UnknownNameError, match="no absorption edge"):
        nearest_edge(["Sn", element], 8047.8)


@pytest.mark.parametrize("energy", [0.0, -1.0, float("nan"), float("inf")])
def test_impossible_energy(energy: float) -> None:
    with pytest.raises(ValidityError, match="positive"):
        nearest_edge(["Nb"], energy)


def test_no_element() -> None:
    with pytest.raises(ValidityError, match="no element"):
        nearest_edge([], 8047.8)
