"""Lattice parameter to tin: reference temperature, the two lines, scale, strain, dopants."""

import numpy as np
import pytest

from tests.material.conftest import names
from xrdorder.material import PUBLISHED_SCALE, Specimen
from xrdorder.material.tin_scale import U_LEVEL_NM
from xrdorder.relations.tin_from_lattice import DEFAULT, SECOND
from xrdorder.uncertainty import difference

POWDER = {"mount": "ground-powder"}


def test_all_lattice_parameters_are_at_the_reference_temperature(fitted):
    warm = fitted(Specimen(**POWDER, temperature_c=56.5))
    cold = fitted(Specimen(**POWDER, temperature_c=22.5))
    # 34 K are about one at.% of tin: 7.6e-6 x 34 x 0.5288 nm = 0.1366 pm.
    assert 1e3 * (cold.values["a_nm"] - warm.values["a_nm"]) == pytest.approx(0.1366, abs=2e-4)
    less = cold.values["tin_fraction_lattice"] - warm.values["tin_fraction_lattice"]
    assert less == pytest.approx(1.366e-4 / DEFAULT.slope_nm, rel=5e-3)
    # The expansion is known to 5 % and is everybody's: 34 K x 0.4e-6 x 0.5288 nm.
    budget = dict(warm.contributions.budget("a_nm"))
    assert budget["thermal expansion"] == pytest.approx(7.2e-6, rel=0.01)
    assert "thermal expansion" not in dict(cold.contributions.budget("a_nm"))


def test_a_temperature_nobody_gave_is_assumed_and_said(fitted):
    unknown = fitted(Specimen(**POWDER))
    # 1.2 K x 7.6e-6/K x 0.5288 nm.
    assert dict(unknown.contributions.budget("a_nm"))["temperature"] == pytest.approx(4.82e-6, rel=0.01)
    assert any("no temperature was given" in text for text in unknown.assumptions)
    assert unknown.contributions.part("a_nm", shared=False) > fitted().contributions.part(
        "a_nm", shared=False
    )


def test_tin_comes_from_the_default_line_and_the_other_is_its_doubt(fitted):
    material = fitted()
    by_default, by_second = (float(line(0.5288)) for line in (DEFAULT, SECOND))
    assert material.values["tin_fraction_lattice"] == pytest.approx(by_default)
    budget = dict(material.contributions.budget("tin_fraction_lattice"))
    assert budget["a(tin) slope"] == pytest.approx(abs(by_second - by_default))
    assert budget["a(tin) scale"] == pytest.approx(2e-4 / DEFAULT.slope_nm)
    # scale, second line, counting, scatter of 0.15 at.%; temperature adds little
    parts = (2e-4 / DEFAULT.slope_nm, by_second - by_default, 3e-6 / DEFAULT.slope_nm, 0.0015)
    assert material.u("tin_fraction_lattice") == pytest.approx(np.hypot.reduce(parts), rel=0.01)


def test_the_slope_does_not_matter_at_the_pivot(fitted):
    assert "a(tin) slope" not in dict(fitted(a_nm=0.5290).contributions.budget("tin_fraction_lattice")) or (
        dict(fitted(a_nm=0.5290).contributions.budget("tin_fraction_lattice"))["a(tin) slope"] < 1e-9
    )
    below = fitted(a_nm=0.5287).contributions.row("tin_fraction_lattice")
    above = fitted(a_nm=0.5293).contributions.row("tin_fraction_lattice")
    slope = fitted().contributions.sources.index("a(tin) slope")
    # Opposite sides of the pivot, equally far: opposite signs.
    assert below[slope] == pytest.approx(-above[slope])


def test_the_scale_cancels_between_samples_measured_alike(fitted):
    one, two = fitted(a_nm=0.52880), fitted(a_nm=0.52867)
    d = difference(
        one.contributions,
        two.contributions,
        "tin_fraction_lattice",
        one.values["tin_fraction_lattice"],
        two.values["tin_fraction_lattice"],
    )
    assert d.value == pytest.approx(0.13e-3 / DEFAULT.slope_nm, rel=1e-6)
    assert one.u("tin_fraction_lattice") > 0.95 * U_LEVEL_NM / DEFAULT.slope_nm
    assert d.u < 0.0033
    # What is left: the slope (the share by which both lines differ), the samples' own scatter, temperature, counting.
    own = np.hypot(one.u_tin_independent, two.u_tin_independent)
    assert d.u == pytest.approx(np.hypot(own, (1 - DEFAULT.slope_nm / SECOND.slope_nm) * d.value), rel=1e-6)
    assert d.probability_positive > 0.99


def test_equal_tin_is_compared_without_the_slope(fitted):
    one, two = fitted(), fitted()
    d = difference(one.contributions, two.contributions, "tin_fraction_lattice", 0.0, 0.0)
    assert d.u == pytest.approx(np.sqrt(2.0) * one.u_tin_independent)
    assert 0.001 < d.u < 0.003


def test_tin_outside_the_a15_field_is_given_and_said(fitted):
    for tin, side in ((0.17, "low"), (0.272, "high")):
        material = fitted(a_nm=PUBLISHED_SCALE.lattice(tin))
        assert np.isfinite(material.values["tin_fraction_lattice"]), side
        assert "tin-outside-a15" in names(material)
    assert "tin-outside-a15" not in names(fitted())


@pytest.mark.parametrize(
    ("mount", "angle", "seen"),
    [
        # -0.2 % axial strain along the wire, across it by Poisson's ratio of 0.36.
        ("polished-section", None, -0.002),
        ("wires-laid-flat", None, 0.36 * 0.002),
        ("polished-section", 90.0, 0.36 * 0.002),
        ("wires-laid-flat", 0.0, -0.002),
        ("transmission", None, -0.002),
        ("ground-powder", None, 0.0),
        ("whole-filaments", None, 0.0),
    ],
)
def test_the_mount_says_which_strain_is_seen(fitted, mount, angle, seen):
    material = fitted(Specimen(mount=mount, wire_axis_angle_deg=angle, temperature_c=22.5, lot="A"))
    strain = dict(material.contributions.budget("tin_fraction_lattice")).get("strain state", 0.0)
    assert strain == pytest.approx(abs(seen) * 0.5288 / DEFAULT.slope_nm, abs=1e-4)
    assert ("strain-state" in names(material)) == (seen != 0.0)
    if seen:
        row = dict(
            zip(material.contributions.sources, material.contributions.row("tin_fraction_lattice"), strict=True)
        )
        assert np.sign(row["strain state/lot"]) == np.sign(seen)


def test_strain_is_largely_common_to_a_lot_and_to_nobody_without_one(fitted):
    def u_difference(first, second):
        one, two = (
            fitted(Specimen(mount="wires-laid-flat", temperature_c=22.5, lot=lot)) for lot in (first, second)
        )
        return difference(one.contributions, two.contributions, "tin_fraction_lattice", 0.0, 0.0).u

    assert u_difference("A", "A") < 0.3 * u_difference("A", "B")
    assert u_difference("", "") == pytest.approx(u_difference("A", "B"))


def test_an_unknown_mount_is_not_taken_for_a_powder(fitted):
    material = fitted(Specimen(temperature_c=22.5))
    assert "mount-unknown" in names(material)
    assert material.u("tin_fraction_lattice") > 1.5 * fitted().u("tin_fraction_lattice")


def test_no_direction_counts_as_free_of_strain(fitted):
    angles = np.linspace(0.0, 90.0, 19)
    strains = [
        dict(
            fitted(
                Specimen(mount="polished-section", wire_axis_angle_deg=angle, temperature_c=22.5)
            ).contributions.budget("tin_fraction_lattice")
        )["strain state"]
        for angle in angles
    ]
    assert min(strains) > 0.9 * 0.1 * 0.002 * 0.5288 / DEFAULT.slope_nm


def test_dopants_may_move_the_lattice(fitted):
    doped = fitted(Specimen(**POWDER, dopants={"Ta": 0.024}, temperature_c=22.5))
    # 2.4 at.% x 0.05 pm per at.%
    effect = dict(doped.contributions.budget("tin_fraction_lattice"))["dopant lattice effect"]
    assert effect == pytest.approx(0.024 * 0.005 / DEFAULT.slope_nm)
    assert doped.values["tin_fraction_lattice"] == fitted().values["tin_fraction_lattice"]


def test_without_a_lattice_parameter_there_is_no_tin(fitted):
    material = fitted(a_nm=float("nan"))
    assert np.isnan(material.values["tin_fraction_lattice"])
    assert np.isnan(material.u("tin_fraction_lattice"))
    assert np.isfinite(material.values["tin_lower_bound"])


def test_a_room_in_kelvin_is_told(fitted):
    # 295.6 K are 22.45 °C; told in °C the lattice parameter loses 7.6e-6 x 273.1 = 0.21 %.
    hot = fitted(Specimen(**POWDER, temperature_c=295.6), lattice_a_nm_nb=0.33007, u={"lattice_a_nm_nb": 2e-6})
    said = {flag.name: flag.message for flag in hot.flags}
    for words in ("295.6 °C", "22.5 °C if it was given in kelvin", "0.21 % were taken off"):
        assert words in said["temperature-in-kelvin"]
    for name in ("tin-outside-a15", "niobium-lattice"):
        assert "the specimen temperature of 295.6 °C (22.5 °C if it was given in kelvin)" in said[name]
    for usual in (-190.0, 22.5, 60.0, 700.0):  # cooled, a room, warmed, in a furnace
        assert "temperature-in-kelvin" not in names(fitted(Specimen(**POWDER, temperature_c=usual)))
