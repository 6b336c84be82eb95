"""Contrast, fluorescence, depth and edges against tables; what is told of each radiation."""

import math

import numpy as np
import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.scan_planning import radiation_choice
from xrdorder.scan_planning.radiation_choice import (
    TUBES,
    best_below_niobium,
    choices,
    course,
    energy_range_ev,
    light,
    tube,
)

xraydb = pytest.importorskip("xraydb", reason="xraydb belongs to the test extra")

NB_K, SN_K = 18986.0, 29200.0


@pytest.mark.parametrize("energy", [6000.0, 12000.0, NB_K - 50.0, NB_K + 300.0, 25000.0, SN_K + 500.0, 50000.0])
def test_the_stored_table_is_that_of_chantler(energy):
    """Source: Chantler's table in xraydb. Points every 2 % of energy, near edges every 10 to 300 eV, straight between:
    0.05 electrons but within 100 eV of an edge, where f' bends: 0.1."""
    tin, niobium = radiation_choice._by_chantler(energy)
    for ours, element in ((tin, "Sn"), (niobium, "Nb")):
        assert ours.real == pytest.approx(float(xraydb.f1_chantler(element, energy)), abs=0.1)
        assert ours.imag == pytest.approx(float(xraydb.f2_chantler(element, energy)), rel=0.02)


def test_contrast_more_than_doubles_below_the_niobium_edge():
    """f'(Nb) falls to -6 there (xraydb: -5.8 at 18956 eV): 9² against 13.5². Against xraydb: tests/outside/rows."""
    found = best_below_niobium()
    assert 30.0 < -found.from_edge_ev < 32.0 and found.edge == "Nb K"
    assert 2.0 < found.contrast / tube("cu-ka").contrast < 2.4
    assert found.fluorescence == 0.0


def test_edges_are_those_of_elam():
    """Source: xraydb, Elam, Ravel & Sieber 2002. Within 30 eV of one there is a warning, beyond none."""
    for element in ("Nb", "Sn"):
        edge = xraydb.xray_edge(element, "K").energy
        for away, warned in ((-35.0, False), (-25.0, True), (25.0, True), (35.0, False)):
            found = light(edge + away)
            assert found.from_edge_ev == pytest.approx(away, abs=1.0)
            assert found.edge == f"{element} K"
            assert bool(found.warning) is warned
    assert "--measured-dispersion" in light(NB_K - 10.0).warning


def test_fluorescence_sets_in_at_the_edges():
    """How much above the edge of niobium: tests/outside/rows."""
    above = light(NB_K + 40.0)
    assert light(NB_K - 40.0).fluorescence == 0.0 < above.fluorescence
    assert light(SN_K + 40.0).fluorescence > above.fluorescence
    assert light(10000.0, dopants={"Ta": 0.03}).fluorescence > 0.0 == light(10000.0).fluorescence


@pytest.mark.parametrize("energy", [8047.8, 17479.4, 22163.0])
def test_depth_against_attenuation_of_elam(energy):
    """Source: total attenuation of xraydb (Elam); ours, photo-absorption alone, is 1 to 12 % less."""
    nb, sn = xraydb.atomic_mass("Nb"), xraydb.atomic_mass("Sn")
    mass = 6.0 * nb + 2.0 * sn
    density = mass / 6.02214076e23 / (0.529e-7) ** 3
    mu = density * sum(
        n * m / mass * float(xraydb.mu_elam(e, energy)) for e, n, m in (("Nb", 6.0, nb), ("Sn", 2.0, sn))
    )
    found = light(energy)
    assert 1.0 < found.depth_um * mu * 1e-4 < 1.13
    sine = math.sin(math.radians(found.two_theta_110 / 2.0))
    assert found.seen_um == pytest.approx(found.depth_um * sine / 2.0)


def test_bragg_angle_of_the_order_line():
    """(110) of a = 0.5289 nm with Cu Ka1: 23.77 degrees by Bragg's law."""
    wanted = 2.0 * math.degrees(math.asin(0.15405929 * math.sqrt(2.0) / (2.0 * 0.5289)))
    assert tube("cu-ka").two_theta_110 == pytest.approx(wanted, abs=0.02)


def test_tables_matter_most_at_low_energies():
    by_table = {one.name: one.by_table for one in choices()}
    assert by_table["cr-ka"] > by_table["cu-ka"] > by_table["mo-ka"]
    # Chantler at Cu Ka: f'(Sn) - f'(Nb) 0.1 electrons less of 9.2, squared: 2 %
    assert by_table["cu-ka"] == pytest.approx(0.02, abs=0.005)


def test_course_covers_the_tables():
    low, high = energy_range_ev()
    energies = np.array([one.energy_ev for one in course()])
    assert (energies[0], energies[-1]) == (low, high) == (5000.0, 60000.0)
    assert not any(one.near_edge and abs(one.from_edge_ev) < 30.0 for one in course())


def test_named_radiations_stand_beside_the_tubes():
    names = [one.name for one in choices(("18.9 keV", "0.7 angstrom", "cu-ka"))]
    assert names == [*TUBES, "below Nb K", "18.9 keV", "0.7 angstrom"]


@pytest.mark.parametrize(
    ("name", "error", "said"),
    [
        ("70 keV", ValidityError, "the tables hold from 5 to 60 keV"),
        ("many keV", ValidityError, "'many' is no number of keV"),
        ("gold", UnknownNameError, "radiation 'gold'"),
        ("0.9 nm", ValidityError, "the tables hold from 5 to 60 keV"),
    ],
)
def test_what_is_outside_the_tables_is_said(name, error, said):
    with pytest.raises(error, match=said):
        choices((name,))
