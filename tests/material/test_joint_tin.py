"""Tin by order, tin by both routes: what they give, how sure, and whether that holds."""

import numpy as np
import pytest

from tests.material.conftest import VALUES, names, table
from xrdorder.material import Specimen, characterise
from xrdorder.material.joint_tin import DISORDER_NM, JOINT, ORDER, U_DISORDER_NM, solve, usual_order
from xrdorder.material.tin_scale import PUBLISHED_SCALE, U_LEVEL_NM
from xrdorder.uncertainty import Contributions, common_draws, difference
from xrdorder.xrays import radiation

UNDOPED = Specimen(mount="ground-powder", temperature_c=22.5, undoped=True)
# Counting 0.007 and the tables of scattering factors 0.009: what a good scan leaves in the contrast.
GOOD = {"order_contrast": 0.0115}
HELD, BY_TIN = 0.24, 0.2
SLOPE_NM = PUBLISHED_SCALE.slope_nm
WIDENING, U_WIDENING = DISORDER_NM / SLOPE_NM, U_DISORDER_NM / SLOPE_NM


def run(specimen=UNDOPED, u=GOOD, **values):
    return characterise(
        {**VALUES, **values},
        table(**u),
        specimen,
        radiation=radiation("cu-ka"),
        tin_held=HELD,
        by_tin={"order_contrast": BY_TIN},
    )


def test_three_statements_that_agree_are_solved_exactly():
    tin, s_a = 0.238, 0.96
    lattice, order = tin + WIDENING * (0.98 - s_a), (4 * s_a - BY_TIN) * tin
    found = solve(
        np.array([lattice, order, s_a]),
        np.diag([0.015, 0.0115, 0.02]) ** 2,
        contrast_by_tin=BY_TIN,
        widening=WIDENING,
        u_widening=U_WIDENING,
    )
    # Solved to rounding: the statements leave nothing over.
    assert (found.tin, found.s_a) == pytest.approx((tin, s_a), abs=1e-10)
    assert found.chi2 == pytest.approx(0.0, abs=1e-12)


def test_gains_are_the_derivatives_of_the_solution():
    start, covariance = np.array([0.2353, 0.885, 0.98]), np.diag([0.015, 0.0115, 0.02]) ** 2
    found = solve(start, covariance, contrast_by_tin=BY_TIN, widening=WIDENING)
    for k, step in enumerate((1e-6, 1e-6, 1e-6)):
        moved = [
            solve(start + sign * step * np.eye(3)[k], covariance, contrast_by_tin=BY_TIN, widening=WIDENING)
            for sign in (1.0, -1.0)
        ]
        numerical = np.array([moved[0].tin - moved[1].tin, moved[0].s_a - moved[1].s_a]) / (2 * step)
        # Gauss-Newton leaves out the curvature times what is left over: 4 x gap in S_a / 4 S_a, below 3 %.
        np.testing.assert_allclose(found.gains[:, k], numerical, rtol=0.03, atol=0.003)


def test_a_route_that_knows_everything_decides():
    statements = np.array([0.230, 0.95, 0.98])
    sure_of_lattice = solve(statements, np.diag([1e-6, 0.01, 0.02]) ** 2)
    assert sure_of_lattice.tin == pytest.approx(0.230, abs=1e-6)
    sure_of_order = solve(statements, np.diag([0.05, 1e-6, 1e-6]) ** 2)
    assert sure_of_order.tin == pytest.approx(0.95 / (4 * 0.98), abs=1e-6)


def test_an_undoped_wire_of_good_data_is_known_to_half_a_per_cent():
    material = run()
    # Root of (1/0.61² + 1/1.52²)^-1 is 0.57 without disorder in the lattice; aimed at are 0.5.
    assert 0.0045 < material.u(JOINT) < 0.0055
    assert material.u("tin_fraction") > U_LEVEL_NM / SLOPE_NM > 2.0 * material.u(JOINT)
    assert material.u(ORDER) == pytest.approx(0.006, abs=0.0003)
    without = run(Specimen(mount="ground-powder", temperature_c=22.5, undoped=True, off=frozenset({"disorder"})))
    assert 0.005 < without.u(JOINT) < 0.006
    assert "disorder in the lattice" not in dict(without.contributions.budget(JOINT))


def test_the_route_by_order_does_not_hear_the_lattice():
    one, two = run(a_nm=0.52880), run(a_nm=0.52860)
    assert one.values["order_contrast"] != two.values["order_contrast"]  # referred to the tin of the lattice
    assert one.values[ORDER] == pytest.approx(two.values[ORDER], abs=1e-12)
    assert not {"a(tin) scale", "a(tin) slope", "temperature"} & {
        source for source, u in one.contributions.budget(ORDER) if u > 1e-12
    }
    # Contrast at the tin that was held, 0.93, by hand: 0.93 - 0.2 x 0.24 = (4 x 0.98 - 0.2) beta.
    assert one.values[ORDER] == pytest.approx((0.93 - BY_TIN * HELD) / (4 * 0.98 - BY_TIN), abs=1e-12)


def test_tin_by_the_lattice_is_what_it_was():
    assert run().values["tin_fraction"] == pytest.approx(PUBLISHED_SCALE.tin(0.5288))


def test_the_joint_estimate_lies_between_the_routes_unless_disorder_explains_the_gap():
    for a_nm in (0.5286, 0.5288, 0.5290):
        material = run(
            Specimen(mount="ground-powder", temperature_c=22.5, undoped=True, off=frozenset({"disorder"})), a_nm=a_nm
        )
        low, high = sorted((material.values["tin_fraction"], material.values[ORDER]))
        assert low <= material.values[JOINT] <= high


def truth(rng, s_a_spread=0.02, s_a_usual=0.98, widening=None):
    """An undoped wire, and what is measured of it: lattice parameter and contrast at the tin that was held."""
    tin = rng.uniform(0.20, 0.25)
    s_a = rng.normal(s_a_usual, s_a_spread)
    widening = rng.normal(DISORDER_NM, U_DISORDER_NM) if widening is None else widening
    pivot = PUBLISHED_SCALE.u_slope_nm * rng.normal()  # slope of the line, about where both published ones meet
    a = PUBLISHED_SCALE.lattice(tin) + pivot * (tin - PUBLISHED_SCALE.pivot) + widening * (0.98 - s_a)
    a += rng.normal(0.0, U_LEVEL_NM) + SLOPE_NM * rng.normal(0.0, 0.0015) + rng.normal(0.0, 3e-6)
    contrast = 4.0 * tin * s_a - BY_TIN * (tin - HELD) + rng.normal(0.0, 0.0115)
    return tin, a, contrast


def pulls(n, seed, specimen=UNDOPED, **options):
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(n):
        tin, a, contrast = truth(rng, **options)
        material = run(specimen, a_nm=a, order_contrast=contrast)
        found.append([(material.values[name] - tin) / material.u(name) for name in (ORDER, JOINT)])
    return np.array(found)


def test_the_intervals_hold_what_they_promise():
    n = 500
    inside = np.mean(np.abs(pulls(n, 1)) < 1.0, axis=0)
    # Binomial: 0.683 ± 0.021; three of those, and one per cent for the non-normal product of order and widening.
    np.testing.assert_allclose(inside, 0.683, atol=0.073)


@pytest.mark.slow
def test_the_intervals_hold_at_two_and_in_the_middle():
    n = 4000
    found = pulls(n, 2)
    # Binomial 0.0074 and 0.0034, mean 0.016; three of those, and the bend of x = 4 beta S_a (2 % of u).
    np.testing.assert_allclose(np.mean(np.abs(found) < 1.0, axis=0), 0.683, atol=0.035)
    np.testing.assert_allclose(np.mean(np.abs(found) < 2.0, axis=0), 0.954, atol=0.015)
    np.testing.assert_allclose(np.mean(found, axis=0), 0.0, atol=0.09)


@pytest.mark.slow
def test_doped_wires_hold_with_their_wider_prior():
    """Order between that of undoped bulk and of doped wires, dopant content and site as uncertain as stated."""
    prior = usual_order(Specimen(dopants={"Ta": 0.024}))
    assert prior.s_a - prior.u <= 0.911
    assert prior.s_a + prior.u >= 0.98
    rng = np.random.default_rng(3)
    covariance = np.diag([0.017, 0.03, prior.u]) ** 2
    inside = []
    for _ in range(3000):
        tin, s_a = rng.uniform(0.20, 0.25), rng.normal(prior.s_a, prior.u)
        statements = np.array(
            [
                tin + rng.normal(WIDENING, U_WIDENING) * (0.98 - s_a) + rng.normal(0.0, 0.017),
                4 * tin * s_a + rng.normal(0.0, 0.03),
                prior.s_a,
            ]
        )
        found = solve(statements, covariance, widening=WIDENING, u_widening=U_WIDENING)
        inside.append(abs(found.tin - tin) < np.sqrt(found.covariance[0, 0]))
    # Binomial 0.0085; three of those, and the product of two uncertain numbers, which has long tails and a high middle.
    assert 0.655 < np.mean(inside) < 0.76


@pytest.mark.slow
def test_without_disorder_in_the_lattice_the_interval_is_a_little_too_short():
    """What it costs if disorder does not widen the lattice at all: stated in docs/tin.md."""
    rng = np.random.default_rng(4)
    covariance = np.diag([0.0149, 0.0115, 0.02]) ** 2
    found = []
    for _ in range(3000):
        tin, s_a = rng.uniform(0.20, 0.25), rng.normal(0.98, 0.02)
        statements = np.array(
            [tin + rng.normal(0.0, 0.0149), (4 * s_a - 0.2) * tin + rng.normal(0.0, 0.0115), 0.98]
        )
        solution = solve(
            statements, covariance, contrast_by_tin=0.2, widening=WIDENING, u_widening=U_WIDENING
        )
        found.append((solution.tin - tin) / np.sqrt(solution.covariance[0, 0]))
    # 13 % by calculation: gains on the three errors combined without the widening; spread of 3000 known to 1.3 %.
    assert np.std(found) == pytest.approx(1.13, abs=0.05)


def test_signs_and_groups_survive():
    one, two = run(a_nm=0.52880, order_contrast=0.95), run(a_nm=0.52867, order_contrast=0.93)
    d = difference(one.contributions, two.contributions, JOINT, one.values[JOINT], two.values[JOINT])
    apart = np.hypot(one.u(JOINT), two.u(JOINT))
    assert d.u < 0.85 * apart  # scale and the usual order of the kind are common
    keys = zip(one.contributions.sources, one.contributions.groups, strict=True)
    budget = dict(zip(keys, one.contributions.row(JOINT), strict=True))
    assert budget[("usual order/kind", "undoped")] < 0.0  # more order, less tin for the same contrast
    assert budget[("a(tin) scale", "published")] > 0.0
    assert budget[("usual order/sample", "")] < 0.0


def test_draws_of_the_table_follow_the_stated_total():
    material = run()
    (draws,) = common_draws([material.contributions], n=20_000, seed=1, keys=["x"])
    spread = np.std(material.contributions.row(JOINT) @ draws)
    assert spread == pytest.approx(material.u(JOINT), rel=0.02)  # 20 000 draws tell a spread to 0.5 %


def test_routes_that_contradict_each_other_are_evidence_about_the_scale():
    material = run(a_nm=0.5295)
    (flag,) = [flag for flag in material.flags if flag.name == "tin-scale"]
    assert "a(tin) scale (published)" in flag.message and "too low" in flag.message and "\n" not in flag.message
    assert "routes disagree" in dict(material.contributions.budget(JOINT))
    assert material.u(JOINT) > 1.5 * run().u(JOINT)
    assert "tin-scale" not in names(run())
    assert "routes disagree" not in dict(run().contributions.budget(JOINT))


def test_the_kind_of_specimen_decides_what_its_order_usually_is():
    doped = run(Specimen(mount="ground-powder", temperature_c=22.5, dopants={"Ta": 0.024}))
    nothing = run(Specimen(mount="ground-powder", temperature_c=22.5))
    assert run().u(JOINT) < nothing.u(JOINT) < 0.0152
    assert run().u(ORDER) < doped.u(ORDER)
    assert any("0.98 ± 0.02" in text for text in run().assumptions)
    assert any("0.95 ± 0.04" in text for text in doped.assumptions)


def test_what_is_missing_is_not_made_up():
    no_order = run(order_contrast=float("nan"))
    assert np.isnan(no_order.values[ORDER]) and np.isnan(no_order.values[JOINT])
    no_lattice = run(a_nm=float("nan"))
    # The contrast stayed at the tin that was held: the same tin as with a lattice parameter.
    assert no_lattice.values[ORDER] == pytest.approx(run().values[ORDER], abs=1e-12)
    assert np.isnan(no_lattice.values[JOINT])


def test_exact_numbers_do_no_harm():
    material = characterise(
        {"a_nm": 0.5288, "order_contrast": 0.93}, Contributions.empty(), UNDOPED, radiation=radiation("cu-ka")
    )
    assert 0.22 < material.values[JOINT] < 0.25
    assert 0.003 < material.u(JOINT) < 0.006
