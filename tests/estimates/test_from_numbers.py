"""From numbers alone: what the command line prints."""

import dataclasses
import math
import re

import numpy as np
import pytest

from xrdorder.estimates import Measured, Wire, joint_draws
from xrdorder.estimates.from_material import wire_of_material
from xrdorder.estimates.from_numbers import TIN_RANGE, U_LATTICE_NM, U_SITE_ORDER, estimate
from xrdorder.estimates.stored_draws import stored_targets
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.material import A15_FIELD, Material, Specimen, TinScale
from xrdorder.material.dopants import usual_effect
from xrdorder.material.lattice import refer_lattice
from xrdorder.material.order import add_tin_bound
from xrdorder.material.tin import add_tin
from xrdorder.quantities.registry import ESTIMATED, PREDICTED, UNTESTED, quantity
from xrdorder.relations import PUBLISHED, relation
from xrdorder.relations.resistivity import FROM_ORDER
from xrdorder.relations.tin_from_lattice import DEFAULT, ENTRIES, SECOND
from xrdorder.superconductivity.by_relation import by_relation
from xrdorder.superconductivity.mixture import Common
from xrdorder.uncertainty import Contributions

N = 500

TIN = float(DEFAULT(0.52880))


@pytest.fixture(scope="module")
def usual():
    return estimate(lattice_nm=0.52880, site_order=0.93, n=N)


def row(result, quantity, by):
    (found,) = [r for r in result.rows() if (r.quantity, r.by) == (quantity, by)]
    return found


def test_tin_by_each_line_and_by_order(usual):
    for line in ENTRIES:
        by_hand = 100.0 * (0.52880 - line.intercept_nm) / line.slope_nm
        assert row(usual, "tin content", line.name).value == pytest.approx(by_hand, abs=1e-3)
    # 0.2 pm between laboratories, the second line, 0.04 pm in a itself, scatter of 0.15 at.%, and 0.05 pm for each at.%
    # of the dopants that nobody told
    dopants = usual_effect(lambda contents: sum(contents.values()))
    of_lines = float(SECOND(0.52880) - DEFAULT(0.52880))
    parts = (2e-4 / DEFAULT.slope_nm, of_lines, 4.03e-5 / DEFAULT.slope_nm, 0.0015, 5e-3 * dopants / DEFAULT.slope_nm)
    assert usual.material.u("tin_fraction_lattice") == pytest.approx(math.hypot(*parts), abs=1e-4)
    bound = row(usual, "tin content", "order-bound")
    assert bound.value == pytest.approx(23.25)
    on_tin_sites = usual_effect(lambda contents: 4.0 * 0.30 * contents.get("Ta", 0.0))
    assert bound.u == pytest.approx(math.hypot(0.5, 25.0 * on_tin_sites))
    assert "at least" in bound.note
    usual_order = row(usual, "tin content", "order, usual S_a")
    # Nothing was declared of dopants: S_a = 0.95 +- 0.04, site order +- 0.02, and tantalum on tin sites.
    assert usual_order.value == pytest.approx(23.25 / 0.95)
    relative = math.hypot(0.02 / 0.93, on_tin_sites / 0.93, 0.04 / 0.95)
    assert usual_order.u == pytest.approx(23.25 / 0.95 * relative, rel=1e-6)
    assert "0.95 ± 0.04" in usual_order.note


def test_order_tells_tin_without_the_lattice_scale():
    """Site order to 0.018 and S_a = 0.98 +- 0.02 give tin to about 0.65 at.%."""
    result = estimate(site_order=0.95, u_site_order=0.018, undoped=True, n=100)
    assert row(result, "tin content", "order-as-measured-before").u == pytest.approx(0.65, abs=0.04)


def test_order_parameters_are_those_of_the_joint_draws(usual):
    """S_a = x / (4 beta) and S_b = 3 x / (4 (1 - beta)) in every draw, with one tin content and one order."""
    tin, s_a, s_b = (usual.draws[name] for name in ("tin_fraction", "S_a", "S_b"))
    np.testing.assert_allclose(s_b, 3.0 * tin * s_a / (1.0 - tin), rtol=1e-4)  # draws are stored to 15 bits
    for name, noun in (("S_a", "order of the niobium sites"), ("S_b", "order of the tin sites")):
        assert row(usual, noun, "joint model").value == pytest.approx(np.median(usual.draws[name]))
    # the order that was given, within what lattice and prior know better
    assert np.median(4.0 * tin * s_a) == pytest.approx(0.93, abs=0.02)


def as_a_study(seed=0, **wire):
    """What a study of this one wire gives, from its lattice parameter and order alone."""
    specimen = Specimen(mount="ground-powder", **wire)
    derived = Material({"a_nm": 0.52880, "site_order": 0.93}, Contributions.empty())
    derived.add_given("a_nm", 0.52880, {"counting/a": (U_LATTICE_NM, "")})
    derived.add_given("site_order", 0.93, {"counting/order": (U_SITE_ORDER, "")})
    refer_lattice(derived, specimen)
    add_tin(derived, specimen)
    add_tin_bound(derived, specimen)
    return joint_draws([wire_of_material("estimate", derived, specimen)], seed=seed, n=N)


@pytest.mark.parametrize(
    "wire", [{}, {"undoped": True}, {"dopants": {"Ta": 0.024}}, {"dopants": {"Ta": 0.01, "Ti": 0.02}}]
)
def test_the_estimate_is_that_of_a_study_of_this_one_wire(wire):
    found = estimate(lattice_nm=0.52880, site_order=0.93, seed=3, n=N, **wire)
    drawn = as_a_study(3, **wire)
    for target, draws in zip(ESTIMATED, stored_targets(drawn)[0], strict=True):
        np.testing.assert_array_equal(found.draws[target], draws)
    for title, draws in (
        ("tin content", 100.0 * drawn.of("estimate", "tin_fraction")),
        ("Tc", drawn.of("estimate", "Tc_K")),
        ("Bc2 at 0 K", drawn.of("estimate", "Bc2_0K_T")),
        ("Bc2 at 4.2 K", drawn.field(4.2)[0]),
        ("slope of Bc2 at Tc", drawn.slope()[0]),
        ("resistivity just above Tc", drawn.resistivity(FROM_ORDER)[0]),
    ):
        shown = row(found, title, "joint model")
        low, median, high = np.nanquantile(draws, [0.16, 0.5, 0.84])
        assert (shown.low, shown.value, shown.high) == pytest.approx((low, median, high), rel=1e-4)
        assert "docs/explanation/evidence.md" in shown.note
    assert UNTESTED in row(found, "Tc", "joint model").note


def test_each_relation_stands_alone_beside_the_joint_estimate(usual):
    alone = by_relation(usual.draws, Common(N, key="estimate", wire=usual.wire))
    for target in PREDICTED:
        rows = [r for r in usual.rows() if r.quantity == quantity(target).noun]
        assert [r.by for r in rows] == [*(one.name for one in alone if one.target == target), "joint model"]
        assert all(r.low < r.value < r.high for r in rows)
        for r in rows[:-1]:
            assert r.source
            assert r.validity
            assert r.formula
            assert r.known
    # By hand at the median tin: 12 / 0.07 (beta - 0.18) + 6
    tin = row(usual, "tin content", "joint model").value / 100
    assert row(usual, "Tc", "devantay-1981-line").central == pytest.approx(12 / 0.07 * (tin - 0.18) + 6, abs=1e-6)


def test_both_routes_know_tin_better_than_either():
    def width(**given):
        shown = row(estimate(undoped=True, n=N, **given), "tin content", "joint model")
        return shown.high - shown.low

    both = width(lattice_nm=0.52880, site_order=0.93)
    assert both < min(width(lattice_nm=0.52880), width(site_order=0.93))


@pytest.mark.parametrize("wire", [{"undoped": True}, {"dopants": {"Ta": 0.024}}, {"dopants": {"Ti": 0.015}}, {}])
def test_tin_by_the_order_takes_the_usual_order(wire):
    found = estimate(lattice_nm=0.52880, site_order=0.93, n=100, **wire)
    (order,) = [r for r in found.rows() if r.by in ("order-as-measured-before", "order, usual S_a")]
    # what `material` calls tin by the order, found there by other formulas
    assert order.value == pytest.approx(100 * found.material.values["tin_fraction_order"], rel=1e-9)
    assert order.u == pytest.approx(100 * found.material.u("tin_fraction_order"), rel=1e-6)
    assert "tin-scale" not in [flag.name for flag in found.flags]  # the routes agree


def test_brief_keeps_what_was_given_and_the_joint_estimates(usual):
    brief, full = usual.rows(brief=True), usual.rows()
    assert {r.quantity for r in brief} == {r.quantity for r in full}
    assert not any(r.source for r in brief)
    assert [r.by for r in brief if r.quantity == "tin content"] == ["joint model"]
    known = [r.by for r in estimate(tin_fraction=0.24, n=100).rows(brief=True) if r.quantity == "tin content"]
    assert known == ["given", "joint model"]


@pytest.mark.parametrize("lattice_nm", [0.5240, 0.5300])
def test_a_lattice_parameter_that_no_a15_has_is_one_line(lattice_nm):
    tin = f"{100.0 * float(DEFAULT.function(lattice_nm)):.1f}"
    for more in ({"undoped": True}, {"site_order": 0.93}):
        with pytest.raises(ValidityError, match=f"{tin} at.% tin on the scale 'published', too far outside") as caught:
            estimate(lattice_nm=lattice_nm, n=10, **more)
        low, high = (float(DEFAULT.inverse(edge)) for edge in A15_FIELD)
        assert f"{low:.4f} to {high:.4f} nm" in str(caught.value) and "\n" not in str(caught.value)
    assert estimate(lattice_nm=lattice_nm, tin_fraction=0.24, n=100).rows()  # tin known otherwise takes its place


def test_further_temperatures_and_strain():
    found = estimate(tin_fraction=0.24, u_tin_fraction=0.002, bc2_at_k=(12.0,), strain=-0.0025, u_strain=3e-4, n=N)
    rows = {r.quantity: r for r in found.rows() if r.by == "joint model"}
    assert rows["Bc2 at 12 K"].value < rows["Bc2 at 4.2 K"].value < rows["Bc2 at 0 K"].value
    for title in ("Tc", "Bc2 at 0 K", "Bc2 at 4.2 K", "Bc2 at 12 K"):
        strained = rows[f"{title} at −0.25 % strain"]
        assert 0.5 * rows[title].value < strained.value < rows[title].value
        assert "all that apply in equal parts" in strained.note
    # published functions keep .95 to .97 of Bc2(0) at -0.25 % (A. Godeke et al., Supercond. Sci. Technol. 19 (2006)
    # R100; J. W. Ekin, Cryogenics 20 (1980) 611)
    assert rows["Bc2 at 0 K at −0.25 % strain"].value / rows["Bc2 at 0 K"].value == pytest.approx(0.96, abs=0.02)
    by = [r for r in found.rows() if r.quantity == "Bc2 at 0 K at −0.25 % strain" and r.source]
    assert len(by) >= 2
    assert not any("strain-free" in text for text in found.assumptions)


def test_relations_are_chosen_by_the_dopant():
    doped = estimate(tin_fraction=0.24, dopants={"Ta": 0.024}, n=100)
    assert doped.wire == "Ta"
    assert {r.by for r in doped.rows() if r.quantity == "Tc"} == {
        "baumgartner-2017-tantalum", "order-resistivity-chain", "joint model",
    }  # fmt: skip
    assert estimate(tin_fraction=0.24, undoped=True, n=100).wire == "binary"
    with pytest.raises(ValidityError, match="said to be undoped"):
        estimate(tin_fraction=0.24, undoped=True, dopants={"Ta": 0.024}, n=100)


def test_a_scale_of_ones_own_is_named():
    own = TinScale("own", 0.52880, DEFAULT.slope_nm, ((1e-10, 0.0), (0.0, 1e-7)), "six bulk samples, this test")
    found = estimate(lattice_nm=0.5288, u_lattice_nm=1e-5, temperature_c=22.5, undoped=True, scale=own, n=100)
    by_own = row(found, "tin content", "scale 'own'")
    assert by_own.value == pytest.approx(24.0)
    assert "six bulk samples" in by_own.note
    assert by_own.u < 0.3


def test_relations_of_ones_own_stand_beside_the_published(usual):
    entry = dataclasses.replace(relation("devantay-1981-line"), name="own-line", source="this laboratory")
    found = estimate(lattice_nm=0.52880, site_order=0.93, library=PUBLISHED.with_entries([entry]), n=8000)
    # medians of 8000 draws that scatter by 0.8 K differ by 0.016 K
    assert row(found, "Tc", "own-line").value == pytest.approx(row(found, "Tc", "devantay-1981-line").value, abs=0.05)
    assert len(found.rows()) > len(usual.rows())


def test_the_branches_of_bc2_are_named_where_they_part():
    near = row(estimate(lattice_nm=0.52900, u_lattice_nm=1e-6, site_order=0.985, u_site_order=0.001, undoped=True, n=N),
               "Bc2 at 0 K", "joint model")  # fmt: skip
    # the estimate follows Tc and takes neither, as in studies
    assert re.search(r"part: godeke-2006-collapse .* T, rise-and-plateau .* follows Tc", near.note)
    assert "part:" not in row(estimate(tin_fraction=0.235, n=N), "Bc2 at 0 K", "joint model").note


def test_what_was_taken_for_granted_is_said(usual):
    text = "\n".join(usual.assumptions)
    for words in ("lattice parameter: 4e-05 nm", "site order: 0.02", "22.5 °C ± 1.2 K", "free of strain"):
        assert words in text
    exact = estimate(
        lattice_nm=0.5288,
        u_lattice_nm=1e-5,
        site_order=0.93,
        u_site_order=0.01,
        temperature_c=24,
        u_temperature_k=0.1,
        n=100,
    )
    assert "as none was given" not in "\n".join(exact.assumptions)
    # 1.5 K warmer: 6 fm smaller at 22.5 °C.
    assert exact.material.values["a_nm"] == pytest.approx(0.5288 - 0.5288 * 7.6e-6 * 1.5, abs=1e-10)


def test_a_given_tin_content_takes_the_place_of_the_lattice():
    result = estimate(lattice_nm=0.5284, tin_fraction=0.245, n=N)
    assert row(result, "tin content", "given").value == 24.5
    assert row(result, "tin content", "godeke-2006-measured").value == pytest.approx(20.588, abs=1e-3)
    assert row(result, "Tc", "joint model").value > 17.0
    alone = estimate(tin_fraction=0.245, n=N)
    np.testing.assert_array_equal(result.draws["Tc_K"], alone.draws["Tc_K"])


def test_a_given_tin_content_is_one_measured_on_the_wire():
    found = estimate(tin_fraction=0.24, u_tin_fraction=0.002, undoped=True, n=N)
    drawn = joint_draws([Wire("estimate", kind="binary", tin_at_percent=Measured(24.0, 0.2))], n=N)
    np.testing.assert_array_equal(found.draws["Tc_K"], stored_targets(drawn)[0][ESTIMATED.index("Tc_K")])
    assert "microprobe" in "\n".join(found.assumptions)


def test_one_number_is_enough():
    by_tin = estimate(tin_fraction=0.24, u_tin_fraction=0.001, n=N)
    assert {r.quantity for r in by_tin.rows()} == {"tin content", *(quantity(target).noun for target in PREDICTED)}
    by_order = estimate(site_order=0.95, n=N)
    assert {r.quantity for r in by_order.rows()} >= {"tin content", "site order", "Tc"}
    by_lattice = estimate(lattice_nm=0.5285, n=N)
    assert {r.quantity for r in by_lattice.rows()} >= {"tin content", "Tc"}


def test_tin_outside_the_field_is_said_and_the_estimate_stays_inside():
    result = estimate(lattice_nm=0.5293, n=N)
    assert "outside its validity" in row(result, "tin content", "godeke-2006-measured").note
    assert "tin-outside-a15" in [flag.name for flag in result.flags]
    assert np.all(result.draws["tin_fraction"] < A15_FIELD[1] + 0.01)
    assert np.all(result.draws["Tc_K"] < 20.0)


def test_dopants_lower_what_the_order_asks_of_tin():
    plain = estimate(site_order=0.95, n=100)
    doped = estimate(site_order=0.95, dopants={"Ta": 0.024}, n=100)
    # 2.4 at.% Ta, 30 % of it on the tin sites: 4 x 0.024 x 0.30 of them, a quarter of that in tin.
    expected = 100 * 0.024 * 0.30
    least = [row(one, "tin content", "order-bound").value for one in (plain, doped)]
    assert least[0] - least[1] == pytest.approx(
        expected
    )
    with pytest.raises(UnknownNameError, match="Mo"):
        estimate(site_order=0.95, dopants={"Mo": 0.01}, n=100)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({}, "nothing to estimate from"),
        ({"lattice_nm": 5.288}, "lattice parameter is 5.288; give nm"),
        ({"lattice_nm": float("nan")}, "lattice parameter is nan"),
        ({"tin_fraction": 24.0}, "tin content is 24; give a fraction"),
        ({"site_order": 93.0}, "site order is 93"),
        ({"site_order": -0.1}, "site order is -0.1"),
        ({"lattice_nm": 0.5288, "u_lattice_nm": -1e-5}, "uncertainty of the lattice parameter is -1e-05"),
        (
            {"lattice_nm": 0.5288, "u_site_order": 0.01},
            "uncertainty of the site order is given, but no site order",
        ),
        ({"site_order": 0.9, "u_site_order": float("inf")}, "uncertainty of the site order is inf"),
        ({"tin_fraction": 0.24, "strain": -0.25}, "strain is -0.25; give the intrinsic axial strain as a fraction"),
        ({"tin_fraction": 0.24, "u_strain": 1e-4}, "uncertainty of the strain is 0.0001; give a strain"),
        ({"tin_fraction": 0.24, "bc2_at_k": (-4.0,)}, "temperature for Bc2 is -4 K"),
    ],
)
def test_numbers_that_cannot_be_meant(arguments, message):
    with pytest.raises(ValidityError, match=re.escape(message)) as caught:
        estimate(**arguments)
    assert "\n" not in str(caught.value)


def test_exact_numbers_are_allowed():
    result = estimate(lattice_nm=0.5288, u_lattice_nm=0.0, site_order=0.93, u_site_order=0.0, n=N)
    assert np.isfinite(row(result, "Tc", "joint model").value)
    assert np.isfinite(row(estimate(tin_fraction=0.24, u_tin_fraction=0.0, n=N), "Tc", "joint model").value)


def test_rows_are_plain(usual):
    for r in usual.rows():
        for text in (r.quantity, r.by, r.unit, r.note, r.source, r.formula):
            assert "\n" not in text


@pytest.mark.parametrize("tin", TIN_RANGE)
def test_tin_at_the_ends_of_what_may_be_given_anchors(tin):
    found = estimate(tin_fraction=tin, n=100)
    assert "anchor-set-aside" not in [flag.name for flag in found.flags]


@pytest.mark.parametrize("tin", [0.0024, 0.12, 0.165, 0.27, 0.35, 24.0])
def test_tin_that_no_a15_holds_is_one_line(tin):
    with pytest.raises(ValidityError, match=r"tin content is .*in the A15 field, 0\.18 to 0\.255"):
        estimate(tin_fraction=tin, n=10)
