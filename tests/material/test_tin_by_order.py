"""Tin by order: what it gives, how sure, whether that holds, and when lattice and order contradict each other."""

import numpy as np
import pytest

from tests.material.conftest import VALUES, names, table
from xrdorder.material import Specimen, characterise
from xrdorder.material.tin_by_order import DISORDER_NM, ORDER, U_DISORDER_NM, usual_order
from xrdorder.material.tin_scale import PUBLISHED_SCALE, U_LEVEL_NM
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

UNDOPED = Specimen(mount="ground-powder", temperature_c=22.5, undoped=True)
# Counting 0.007 and the tables of scattering factors 0.009: what a good scan leaves in the contrast.
GOOD = {"order_contrast": 0.0115}
HELD, BY_TIN = 0.24, 0.2
SLOPE_NM = PUBLISHED_SCALE.slope_nm


def run(specimen=UNDOPED, u=GOOD, **values):
    return characterise(
        {**VALUES, **values},
        table(**u),
        specimen,
        radiation=radiation("cu-ka"),
        tin_held=HELD,
        by_tin={"order_contrast": BY_TIN},
    )


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
    assert run().values["tin_fraction_lattice"] == pytest.approx(PUBLISHED_SCALE.tin(0.5288))


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
    """Deviations from the truth in standard uncertainties, and how many were flagged."""
    rng = np.random.default_rng(seed)
    found, flagged = [], 0
    for _ in range(n):
        tin, a, contrast = truth(rng, **options)
        material = run(specimen, a_nm=a, order_contrast=contrast)
        found.append((material.values[ORDER] - tin) / material.u(ORDER))
        flagged += "tin-scale" in names(material)
    return np.array(found), flagged


def test_the_intervals_hold_what_they_promise():
    n = 500
    found, flagged = pulls(n, 1)
    # Binomial: 0.683 ± 0.021; three of those, and one per cent for the non-normal product of order and widening.
    assert np.mean(np.abs(found) < 1.0) == pytest.approx(0.683, abs=0.073)
    # Two standard uncertainties of one difference: 4.6 ± 0.9 %, and the bound by order flags 2 % of its own.
    assert 0.01 * n < flagged < 0.1 * n


@pytest.mark.slow
def test_the_intervals_hold_at_two_and_in_the_middle():
    found, _ = pulls(4000, 2)
    # Binomial 0.0074 and 0.0034, mean 0.016; three of those, and the bend of x = 4 beta S_a (2 % of u).
    assert np.mean(np.abs(found) < 1.0) == pytest.approx(0.683, abs=0.035)
    assert np.mean(np.abs(found) < 2.0) == pytest.approx(0.954, abs=0.015)
    assert np.mean(found) == pytest.approx(0.0, abs=0.09)


def test_an_undoped_wire_of_good_data_is_known_to_half_a_per_cent():
    material = run()
    # the order is surer than any line a(tin) that laboratories disagree about by 0.2 pm
    assert material.u("tin_fraction_lattice") > U_LEVEL_NM / SLOPE_NM > material.u(ORDER)
    assert material.u(ORDER) == pytest.approx(0.006, abs=0.0003)


def test_signs_and_groups_survive():
    material = run()
    keys = zip(material.contributions.sources, material.contributions.groups, strict=True)
    budget = dict(zip(keys, material.contributions.row(ORDER), strict=True))
    assert budget[("usual order/kind", "undoped")] < 0.0  # more order, less tin for the same contrast
    assert budget[("usual order/sample", "")] < 0.0


def test_routes_that_contradict_each_other_are_evidence_about_the_scale():
    material = run(a_nm=0.5295)
    (flag,) = [flag for flag in material.flags if flag.name == "tin-scale"]
    assert "a(tin) scale (published)" in flag.message and "too low" in flag.message and "\n" not in flag.message
    assert "tin-scale" not in names(run())


def test_the_contradiction_is_that_of_three_statements_about_two_unknowns():
    """Least squares of lattice, order and usual S_a (chi squared of one degree of freedom), worked out beside it."""
    material = run(a_nm=0.5295)
    (flag,) = [flag for flag in material.flags if flag.name == "tin-scale"]
    usual, widening = usual_order(UNDOPED), DISORDER_NM / SLOPE_NM
    lattice, order = (material.values[name] for name in ("tin_fraction_lattice", ORDER))
    statements = np.array([lattice, (4.0 * usual.s_a - BY_TIN) * order, usual.s_a])
    u_lattice = np.hypot(material.u("tin_fraction_lattice"), U_DISORDER_NM / SLOPE_NM * usual.u)
    covariance = np.diag([u_lattice, GOOD["order_contrast"], usual.u]) ** 2
    jacobian = np.array([[1.0, -widening], [4.0 * usual.s_a - BY_TIN, 4.0 * order], [0.0, 1.0]])
    left = statements - np.array([lattice, (4.0 * usual.s_a - BY_TIN) * lattice, usual.s_a])
    weights = np.linalg.inv(covariance)
    solution = np.linalg.solve(jacobian.T @ weights @ jacobian, jacobian.T @ weights @ left)
    chi2 = (left - jacobian @ solution) @ weights @ (left - jacobian @ solution)
    # printed to a tenth; the bend of x = 4 beta S_a between the two tin contents is some per cent of it
    said = float(flag.message.split(" standard uncertainties")[0].split()[-1])
    assert said == pytest.approx(np.sqrt(chi2), abs=0.15)


def test_the_kind_of_specimen_decides_what_its_order_usually_is():
    doped = run(Specimen(mount="ground-powder", temperature_c=22.5, dopants={"Ta": 0.024}))
    nothing = run(Specimen(mount="ground-powder", temperature_c=22.5))
    assert run().u(ORDER) < doped.u(ORDER)
    assert run().u(ORDER) < nothing.u(ORDER) < 0.0175
    assert any("0.98 ± 0.02" in text for text in run().assumptions)
    assert any("0.95 ± 0.04" in text for text in doped.assumptions)


def test_what_is_missing_is_not_made_up():
    assert np.isnan(run(order_contrast=float("nan")).values[ORDER])
    # The contrast stayed at the tin that was held: the same tin as with a lattice parameter.
    assert run(a_nm=float("nan")).values[ORDER] == pytest.approx(run().values[ORDER], abs=1e-12)


def test_exact_numbers_do_no_harm():
    material = characterise(
        {"a_nm": 0.5288, "order_contrast": 0.93}, Contributions.empty(), UNDOPED, radiation=radiation("cu-ka")
    )
    assert 0.22 < material.values[ORDER] < 0.25
    assert 0.003 < material.u(ORDER) < 0.006
