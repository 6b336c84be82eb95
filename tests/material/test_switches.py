"""Every correction can be switched off: neither it nor its uncertainty then takes part, and the result says so."""

import pytest

from tests.material.conftest import names
from xrdorder.crystals.a15 import DOPANT_SITES
from xrdorder.material import CORRECTIONS, PUBLISHED_SCALE, Specimen
from xrdorder.material.dopants import OTHER_WIRES, U_SHARE, tantalum_share

WIRE = {
    "mount": "wires-laid-flat",
    "dopants": {"Ta": 0.024},
    "temperature_c": 40.0,
    "lattice_by_dopant_nm": {"Ta": -0.002},
    "lot": "A",
}
SOURCES = {
    "temperature": ("tin_fraction_lattice", {"temperature", "thermal expansion"}),
    "strain": ("tin_fraction_lattice", {"strain state"}),
    "dopant-contrast": ("site_order", {"dopant content", "dopant site"}),
    "dopant-lattice": ("tin_fraction_lattice", {"dopant lattice effect", "dopant content"}),
}


def test_what_is_switched_off_is_flagged(fitted):
    assert "corrections-off" not in names(fitted(Specimen(**WIRE)))
    flag = next(f for f in fitted(Specimen(**WIRE, off={"strain"})).flags if f.name == "corrections-off")
    assert "strain" in flag.message and "too small" in flag.message


@pytest.mark.parametrize("name", CORRECTIONS)
def test_a_correction_and_its_doubt_are_switched_off_together(fitted, name):
    quantity, sources = SOURCES[name]
    on, off = fitted(Specimen(**WIRE)), fitted(Specimen(**WIRE, off={name}))
    assert sources <= set(dict(on.contributions.budget(quantity)))
    assert not sources & set(dict(off.contributions.budget(quantity)))
    assert off.u(quantity) < on.u(quantity)
    said = [text for text in off.assumptions if "switched off" in text]
    assert len(said) == 1
    assert not any("switched off" in text for text in on.assumptions)
    # An unknown strain has no value to take off.
    assert (off.values[quantity] == on.values[quantity]) == (name == "strain")
    assert ("strain-state" in names(off)) == (name != "strain")


def test_all_off_leaves_what_was_fitted(fitted):
    material = fitted(Specimen(**WIRE, off=frozenset(CORRECTIONS)))
    assert material.values["a_nm"] == 0.52880
    assert material.values["site_order"] == 0.93
    assert material.values["tin_fraction_lattice"] == pytest.approx(PUBLISHED_SCALE.tin(0.52880))


def test_a_lattice_effect_that_was_measured_is_taken_off(fitted):
    powder = {"mount": "ground-powder", "temperature_c": 22.5, "dopants": {"Ti": 0.02}}
    plain = fitted(Specimen(**powder))
    known = fitted(
        Specimen(**powder, lattice_by_dopant_nm={"Ti": -0.004}, u_lattice_by_dopant_nm={"Ti": 0.0005})
    )
    # Ti narrowed the lattice by 0.08 pm: 0.59 at.% of tin more than read without it.
    change = known.values["tin_fraction_lattice"] - plain.values["tin_fraction_lattice"]
    assert change == pytest.approx(0.02 * 0.004 / PUBLISHED_SCALE.slope_nm, abs=1e-9)
    effect, usual = (
        dict(one.contributions.budget("tin_fraction_lattice"))["dopant lattice effect"] for one in (known, plain)
    )
    assert effect == pytest.approx(0.1 * usual)


@pytest.mark.parametrize("element", DOPANT_SITES)
def test_every_dopant_has_a_share_of_the_contrast_with_a_doubt(fitted, element):
    material = fitted(Specimen(mount="ground-powder", temperature_c=22.5, dopants={element: 0.02}))
    assert material.values["site_order"] != 0.93
    budget = dict(material.contributions.budget("site_order"))
    assert budget["dopant site"] > 0.0 and budget["dopant content"] > 0.0


def test_tantalum_moves_to_the_niobium_site_with_the_reaction_temperature():
    # C. Tarantini et al., Supercond. Sci. Technol. 32 (2019) 124003.
    for temperature, share in ((634.0, 0.43), (666.0, 0.11), (711.0, 0.08)):
        assert tantalum_share(temperature) == (pytest.approx(share), pytest.approx(U_SHARE))
    misses = [share - tantalum_share(temperature)[0] for temperature, share in OTHER_WIRES]
    assert (sum(miss**2 for miss in misses) / len(misses)) ** 0.5 == pytest.approx(U_SHARE, abs=0.005)
    # Where nobody looked, any share that was found is within two standard uncertainties.
    for temperature in (560.0, 1400.0):
        share, u = tantalum_share(temperature)
        assert abs(share - 0.25) < 2 * u


def test_the_reaction_temperature_stands_in_for_a_share_nobody_gave():
    assert Specimen(dopants={"Ta": 0.02}, reaction_temperature_c=666.0).tin_site_share("Ta") == (0.11, U_SHARE)
    given = Specimen(dopants={"Ta": 0.02}, reaction_temperature_c=666.0, on_tin_site={"Ta": 0.3})
    assert given.tin_site_share("Ta") == (0.3, 0.12)
    assert Specimen(dopants={"Ta": 0.02}).tin_site_share("Ta") == (0.30, 0.12)
    assert Specimen(dopants={"Ti": 0.02}, reaction_temperature_c=666.0).tin_site_share("Ti") == (0.0, 0.03)
