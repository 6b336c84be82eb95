"""How deep was seen, and who is told."""

import itertools

import numpy as np
import pytest

from tests.material.conftest import names
from xrdorder.crystals import phase
from xrdorder.crystals.structure import geometry_factors
from xrdorder.material import MOUNTS, Specimen, depth
from xrdorder.xrays import linear_attenuation_per_nm, radiation


def of_depth(material):
    return [flag.message for flag in material.flags if flag.name == "rim-weighted"]


@pytest.mark.parametrize("mount", MOUNTS)
def test_every_mount_but_powder_and_transmission_is_seen_from_outside(fitted, mount):
    material = fitted(Specimen(mount=mount, temperature_c=22.5))
    assert ("rim-weighted" in names(material)) == (mount not in ("ground-powder", "transmission"))
    assert not any("no mount" in text for text in material.assumptions)


def test_an_unknown_mount_makes_it_an_assumption(fitted):
    material = fitted(Specimen(temperature_c=22.5))
    assert not of_depth(material)
    (text,) = [text for text in material.assumptions if "no mount was given" in text]
    assert "0.7 µm" in text  # sin(11.89°) × 3.3 µm


def test_depths_are_those_of_the_attenuation(fitted):
    (text,) = of_depth(fitted(Specimen(mount="whole-filaments", temperature_c=22.5)))
    # 1/mu of Nb3Sn is 6.6 µm at Cu K-alpha; at (110), 23.78 degrees, half of it times sin(11.89 degrees) = 0.68 µm.
    # Less tin than stoichiometric absorbs less: tin stands for two thirds of f'' by a quarter of the atoms.
    mu = linear_attenuation_per_nm({"Nb": 6.118, "Sn": 1.882}, 0.5288**3, radiation("cu-ka").energy_ev)
    first = 1e-3 * np.sin(np.radians(23.78 / 2)) / (2 * mu)
    last = 1e-3 * np.sin(np.radians(116.3 / 2)) / (2 * mu)
    assert f"{first:.1f} µm at the first order line (24°)" in text
    assert f"{last:.1f} µm at the last order line (116°)" in text


def test_order_lines_are_those_where_the_sublattices_subtract():
    a15 = phase("nb3sn")
    squares = set()
    for hkl in itertools.product(range(8), repeat=3):
        on_2a, on_6c = geometry_factors(a15, [hkl])[:, 0]
        if abs(on_2a) > 1e-9 and abs(on_2a + on_6c) < 1e-9:
            squares.add(sum(k * k for k in hkl))
    a, light = 0.5288, 0.04
    angles = depth.order_lines(a, light, 0.0, 180.0)
    found = {round((2 * a / light * np.sin(np.radians(angle / 2))) ** 2) for angle in angles}
    # indices up to 7 are complete up to a sum of squares of 63
    assert {n for n in found if n < 64} == {n for n in squares if n < 64}


def test_a_pattern_without_order_lines_has_nothing_to_say(fitted):
    from tests.material.conftest import VALUES, table
    from xrdorder.material import characterise

    material = characterise(
        VALUES,
        table(),
        Specimen(mount="whole-filaments", temperature_c=22.5),
        radiation=radiation("cu-ka"),
        two_theta_range=(30.0, 45.0),
    )
    assert not of_depth(material)
