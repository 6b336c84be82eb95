"""Strain by a value, a gauge, a bound or not at all; what several directions say together."""

import numpy as np
import pytest

from tests.elastic import NB3SN_STIFFNESS_GPA, elastic_averages
from tests.material.conftest import names
from xrdorder.exceptions import ValidityError
from xrdorder.material import PUBLISHED_SCALE, Specimen
from xrdorder.material.lattice import EXPANSION_PER_K
from xrdorder.material.lattice_strain import (
    AXIAL_STRAIN,
    METALS,
    POISSON,
    U_POISSON,
    bounded_strain,
    gauge_strain,
    mismatch_bound,
    strain_share,
)
from xrdorder.material.niobium import NIOBIUM_NM
from xrdorder.material.strain_free import strain_free_from_tilts
from xrdorder.uncertainty import difference

FLAT = {"mount": "wires-laid-flat", "temperature_c": 22.5}
SECTION = {"mount": "polished-section", "temperature_c": 22.5}


def in_wire(a_free, axial, angle_deg):
    """Lattice parameter seen at an angle to the axis, by turning the strain tensor."""
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg)), 0.0])
    tensor = axial * np.diag([1.0, -POISSON, -POISSON])
    return a_free * (1.0 + along @ tensor @ along)


def test_a_strain_that_is_known_is_taken_off(fitted):
    material = fitted(Specimen(**FLAT, strain=0.0007, u_strain=0.0002, lot="A"), a_nm=0.5288 * 1.0007)
    assert material.values["a_nm"] == pytest.approx(0.5288 * 1.0007)
    assert material.values["a_strain_free_nm"] == pytest.approx(0.5288, abs=1e-12)
    assert material.values["tin_fraction_lattice"] == pytest.approx(fitted().values["tin_fraction_lattice"], abs=1e-9)
    of_strain = dict(material.contributions.budget("tin_fraction_lattice"))["strain state"]
    assert of_strain == pytest.approx(0.0002 * 0.5288 / PUBLISHED_SCALE.slope_nm, rel=1e-3)
    assert not {"strain-state", "mount-unknown"} & set(names(material))
    assert any("0.070 ± 0.020 %" in text for text in material.assumptions)


def test_both_populations_are_freed_of_the_same_strain(fitted):
    more = {"a_nm_lean": 0.5284, "a_nm_rich": 0.5290, "rich_share": 0.5}
    more |= {"lorentz_sec_lean": 0.08, "lorentz_sec_rich": 0.04}
    u = dict.fromkeys(more, 1e-5)
    free = fitted(u=u, **more)
    stretched = {k: x * 1.0007 if k.startswith("a_nm") else x for k, x in more.items()}
    strained = fitted(Specimen(**FLAT, strain=0.0007), u=u, a_nm=0.5288 * 1.0007, **stretched)
    for end in ("lean", "rich"):
        name = f"tin_fraction_lattice_{end}"
        assert strained.values[name] == pytest.approx(free.values[name], abs=1e-9)


def test_a_strain_without_uncertainty_is_known_to_a_twentieth_of_a_per_cent(fitted):
    assert fitted(Specimen(**FLAT, strain=0.0)).u("lattice_strain") == pytest.approx(0.0005)


def test_the_doubt_about_strain_has_the_sign_that_the_mount_gives_it(fitted):
    rows = {}
    for what, mount in (("flat", FLAT), ("section", SECTION)):
        for known in (None, 0.0):
            contributions = fitted(Specimen(**mount, strain=known, lot="A")).contributions
            row = dict(zip(contributions.sources, contributions.row("tin_fraction_lattice"), strict=True))
            rows[what, known] = np.sign(row["strain state/lot"])
    # Axial compression reads as more tin across and as less along, whether its size was stated or not.
    assert rows == {("flat", None): 1, ("flat", 0.0): 1, ("section", None): -1, ("section", 0.0): -1}


def test_a_stated_strain_is_largely_common_to_a_lot(fitted):
    one, two = (fitted(Specimen(**FLAT, strain=0.0007, lot="A")) for _ in range(2))
    d = difference(one.contributions, two.contributions, "tin_fraction_lattice", 0.0, 0.0)
    assert d.u < 0.5 * one.u("tin_fraction_lattice")


@pytest.mark.parametrize("angle", [0.0, 90.0])
@pytest.mark.parametrize("metal", ["nb", "ta"])
def test_bonded_metals_tell_the_strain(fitted, metal, angle):
    """Cooled together from the reaction temperature: made with the lengths both have, then measured."""
    reaction, shrunk = 650.0, -0.0063
    of, cooled = METALS[metal], reaction - 22.5
    # A bar of common length: what it shrank by, less what each would have shrunk by alone.
    axial_a15 = shrunk + EXPANSION_PER_K * cooled
    axial_metal = shrunk + of.expansion_per_k * cooled
    share = np.cos(np.radians(angle)) ** 2 - of.poisson * np.sin(np.radians(angle)) ** 2
    seen = {
        "a_nm": in_wire(0.5288, axial_a15, angle),
        f"lattice_a_nm_{metal}": of.a_nm * (1.0 + axial_metal * share),
    }
    specimen = Specimen(**FLAT, wire_axis_angle_deg=angle, strain_gauge=metal, reaction_temperature_c=reaction)
    material = fitted(specimen, u={f"lattice_a_nm_{metal}": 2e-6}, **seen)
    assert material.values["a_strain_free_nm"] == pytest.approx(0.5288, abs=1e-9)
    assert 0.0 < material.u("lattice_strain") < 0.001


def test_copper_tells_the_strain_by_the_balance_of_forces(fitted):
    copper = METALS["cu"]
    seen = {"weight_fraction_nb3sn": 0.4, "weight_fraction_cu": 0.6, "lattice_a_nm_cu": copper.a_nm * 1.001}
    u = {"weight_fraction_cu": 0.003, "lattice_a_nm_cu": 2e-6}
    material = fitted(Specimen(**SECTION, strain_gauge="cu"), u=u, **seen)
    # stress x volume: 128 GPa x 0.001 x 0.6/8.96 = 132 GPa x e x 0.4/8.92
    expected = -128.0 * 0.001 * (0.6 / 8.96) / (132.0 * 0.4 / 8.92)
    assert material.values["lattice_strain"] == pytest.approx(expected, rel=1e-9)
    assert material.u("lattice_strain") >= 0.5 * abs(expected)


def test_errors_of_angles_that_gauge_and_a15_share_cancel(fitted):
    """A wrong wavelength scales both lattices: along the wire, niobium takes it off the A15."""
    plain = fitted(Specimen(**SECTION, strain_gauge="nb"), u={"lattice_a_nm_nb": 2e-6}, lattice_a_nm_nb=0.33007)
    scaled = fitted(
        Specimen(**SECTION, strain_gauge="nb"),
        u={"lattice_a_nm_nb": 2e-6},
        a_nm=0.5288 * 1.0001,
        lattice_a_nm_nb=0.33007 * 1.0001,
    )
    # 1e-4 of the lattice would be 0.39 at.% of tin; what is left is second order.
    assert scaled.values["tin_fraction_lattice"] == pytest.approx(plain.values["tin_fraction_lattice"], abs=1e-5)


def test_a_gauge_that_cannot_tell_leaves_the_ambiguity(fitted):
    absent = fitted(Specimen(**SECTION, strain_gauge="nb"))
    assert {"strain-gauge-absent", "strain-state"} <= set(names(absent))
    blind = fitted(
        Specimen(**SECTION, wire_axis_angle_deg=58.0, strain_gauge="nb"),
        u={"lattice_a_nm_nb": 2e-6},
        lattice_a_nm_nb=0.33,
    )
    assert {"strain-gauge-blind", "strain-state"} <= set(names(blind))
    no_amounts = fitted(
        Specimen(**SECTION, strain_gauge="cu"), u={"lattice_a_nm_cu": 2e-6}, lattice_a_nm_cu=0.3615
    )
    assert "strain-gauge-absent" in names(no_amounts)
    for material in (absent, blind, no_amounts):
        assert "lattice_strain" not in material.values
        assert "strain state" in dict(material.contributions.budget("tin_fraction_lattice"))


def test_the_mismatch_is_a_bound(fitted):
    # 9.1e-6/K x 627.5 K
    assert mismatch_bound(650.0) == pytest.approx(-0.00571, abs=1e-5)
    material = fitted(Specimen(**SECTION, strain_bound=True, reaction_temperature_c=650.0))
    strain, u = material.values["lattice_strain"], material.u("lattice_strain")
    # By summing over the part of the normal distribution that lies between none and the bound.
    x = np.linspace(mismatch_bound(650.0), 0.0, 100_001)
    weight = np.exp(-0.5 * (x / AXIAL_STRAIN) ** 2)
    mean = np.average(x, weights=weight)
    assert (strain, u) == pytest.approx((mean, np.sqrt(np.average((x - mean) ** 2, weights=weight))), rel=1e-4)
    assert "strain-by-bound" in names(material)
    # A bound much narrower than what is usual leaves any strain within it equally likely.
    narrow, u_narrow = bounded_strain(-1e-4)
    assert (narrow, u_narrow) == pytest.approx((-5e-5, 1e-4 / np.sqrt(12.0)), rel=1e-3)
    # What is usual in wires lies inside.
    assert strain - 2 * u < AXIAL_STRAIN < strain + 2 * u


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"mount": "ground-powder", "strain": 0.001}, "a strain is given for the mount ground-powder"),
        ({"mount": "whole-filaments", "strain_gauge": "nb"}, "nb as strain gauge.*whole-filaments"),
        ({"strain": 0.001, "strain_gauge": "nb"}, "a strain and nb as strain gauge.*leave out the rest"),
        ({"strain": 0.001, "off": {"strain"}}, "switched off"),
        ({"strain_bound": True}, "needs the reaction temperature"),
        ({"u_strain": 0.001}, "no strain"),
        ({"strain": -0.2}, "-0.2.*-0.001 for -0.1 %"),
        ({"strain": float("nan")}, "strain is nan"),
        ({"strain": 0.0, "u_strain": -1.0}, "uncertainty of the strain is -1"),
        ({"strain_gauge": "fe"}, "'fe'.*nb, ta, cu"),
        ({"reaction_temperature_c": 20.0}, "reaction temperature is 20"),
        ({"off": {"strian"}}, "'strian'.*temperature, strain, dopant-contrast"),
        ({"lattice_by_dopant_nm": {"Ti": 0.001}}, "no content of Ti"),
        ({"dopants": {"Ti": 0.01}, "lattice_by_dopant_nm": {"Ti": 5.0}}, "5.0 nm"),
        ({"dopants": {"Ti": 0.01}, "u_lattice_by_dopant_nm": {"Ti": -0.001}}, "-0.001 nm"),
    ],
)
def test_contradictions_are_one_line(arguments, message):
    with pytest.raises(ValidityError, match=message) as caught:
        Specimen(**arguments)
    assert "\n" not in str(caught.value)


def test_two_directions_give_back_what_was_put_in():
    angles = (0.0, 90.0)
    for axial in (-0.002, 0.0, 0.001):
        seen = tuple(in_wire(0.5288, axial, angle) for angle in angles)
        found = strain_free_from_tilts(angles, seen, (3e-6, 3e-6))
        assert found.a_nm == pytest.approx(0.5288, abs=1e-12)
        assert found.axial_strain == pytest.approx(axial, abs=1e-12)
        assert found.strain_at(90.0)[0] == pytest.approx(-POISSON * axial, abs=1e-12)
    assert found.weights.sum() == pytest.approx(1.0)


def test_tilts_hold_what_they_promise():
    rng = np.random.default_rng(5)
    psi, u = np.array([0.0, 20.0, 35.0, 50.0, 70.0, 90.0]), np.full(6, 1e-5)
    pulls = []
    for _ in range(2000):
        poisson, axial = rng.normal(POISSON, U_POISSON), rng.normal(-0.001, 0.001)
        share = np.cos(np.radians(psi)) ** 2 - poisson * np.sin(np.radians(psi)) ** 2
        found = strain_free_from_tilts(psi, 0.5288 * (1 + axial * share) + u * rng.normal(size=6), u)
        strain, u_strain = found.strain_at(90.0)
        pulls.append(
            [
                (found.a_nm - 0.5288) / found.u_a_nm,
                (found.axial_strain - axial) / found.u_axial_strain,
                (strain + poisson * axial) / u_strain,
            ]
        )
    # Spread of 2000 known to 1.6 %; three of those, and 1 % for the bend in Poisson's ratio.
    np.testing.assert_allclose(np.std(pulls, axis=0), 1.0, atol=0.06)


def test_weights_are_the_derivatives():
    psi, a, u = [0.0, 45.0, 90.0], np.array([0.5280, 0.5285, 0.5290]), np.array([1e-5, 2e-5, 1e-5])
    found = strain_free_from_tilts(psi, a, u)
    for k in range(3):
        moved = strain_free_from_tilts(psi, a + 1e-6 * np.eye(3)[k], u)
        assert (moved.a_nm - found.a_nm) / 1e-6 == pytest.approx(found.weights[k], rel=1e-6)
    moved = strain_free_from_tilts(psi, a, u, poisson=POISSON + 1e-6)
    assert (moved.a_nm - found.a_nm) / 1e-6 == pytest.approx(found.by_poisson, rel=1e-4)


@pytest.mark.parametrize(
    ("psi", "a", "u", "message"),
    [
        ([80.0, 90.0], [0.5288, 0.5289], [1e-5, 1e-5], "too close together"),
        ([0.0], [0.5288], [1e-5], "two directions"),
        ([0.0, 90.0], [0.5288], [1e-5, 1e-5], "as many"),
        ([0.0, 90.0], [5.288, 0.5288], [1e-5, 1e-5], "5.288; give nm"),
        ([0.0, 90.0], [0.5288, 0.5288], [0.0, 1e-5], "above zero"),
    ],
)
def test_directions_that_say_nothing_are_refused(psi, a, u, message):
    with pytest.raises(ValidityError, match=message):
        strain_free_from_tilts(psi, a, u)


def test_shares_of_an_axial_strain():
    assert strain_share(Specimen(**SECTION)) == 1.0
    assert strain_share(Specimen(**FLAT)) == pytest.approx(-POISSON)
    assert gauge_strain("nb", NIOBIUM_NM * (1 + 7.3e-6 * 10), 32.5) == pytest.approx(0.0, abs=1e-15)


def test_poisson_follows_from_the_elastic_constants():
    assert elastic_averages(*NB3SN_STIFFNESS_GPA).poisson == pytest.approx(POISSON, abs=0.005)  # its last digit


@pytest.mark.parametrize("constants", [(100.0, 120.0, 40.0), (254.0, 112.0, 0.0), (float("nan"), 1.0, 1.0)])
def test_unstable_crystals_are_refused(constants):
    with pytest.raises(ValidityError, match="stable"):
        elastic_averages(*constants)
