"""One question has one answer: every output that subtracts B from A gives the same number, and so do absolutes."""

import numpy as np
import pytest

from tests.comparison.made import difference
from tests.figures import made
from xrdorder.comparison import values_of
from xrdorder.comparison.bc2_grain_size import placed
from xrdorder.comparison.variants import compare_wires, wires_of
from xrdorder.estimates.conductors import conductors, layers
from xrdorder.estimates.study_draws import estimated
from xrdorder.figures import difference_rows
from xrdorder.planning.observations import wires_of as planned_wires
from xrdorder.reports.first_look import first_look
from xrdorder.results.collate import _column
from xrdorder.results.collated import estimates_of
from xrdorder.superconductivity.currents import Conditions
from xrdorder.treatments import Schedule, Step

FIRST, SECOND = "A-700", "A-625"
FREE = Conditions(strain=0.0)
TARGETS = ("tin_at_percent", "Tc_K", "Bc2_4K2_T")
BY_STRAIN_T = 0.02
"""Published functions of strain have their summit a little beside zero."""


@pytest.fixture(scope="module")
def results():
    """Two lots after the model itself, few draws of it."""
    return estimated(made.collated(sizes=(70.0, 90.0, 92.0, 120.0, 85.0, 95.0)), n=300)


@pytest.fixture(scope="module")
def by_numpy(results):
    """What anybody makes of the file: medians subtracted, and the standard deviation of the difference of draws."""
    names, targets = (results[name].values.tolist() for name in ("sample", "target"))
    draws = results["estimate_draws"].values.astype(float)

    def difference(target):
        of_tin = target == "tin_at_percent"
        k, scale = targets.index("tin_fraction" if of_tin else target), 100.0 if of_tin else 1.0
        one, two = (scale * draws[names.index(name), k] for name in (FIRST, SECOND))
        return np.median(one) - np.median(two), np.std(one - two, ddof=1)

    return {target: difference(target) for target in TARGETS}


@pytest.mark.parametrize("target", TARGETS)
def test_comparisons_and_the_page_subtract_alike(results, by_numpy, target):
    assert difference(values_of(results, target), FIRST, SECOND) == pytest.approx(by_numpy[target], rel=1e-6)
    a_lot = results.isel(sample=results["lot"].values == "A")
    found = compare_wires(wires_of(a_lot, target, reference=SECOND)).comparison
    labels = {SECOND: found.variants[0], FIRST: found.variants[-1]}
    assert found.pair(labels[FIRST], labels[SECOND]).value == pytest.approx(by_numpy[target][0], rel=1e-6)
    page = first_look(a_lot).to_first[target].comparison
    assert page.pair(labels[FIRST], labels[SECOND]).value == pytest.approx(by_numpy[target][0], rel=1e-6)


@pytest.mark.parametrize("target", ["tin_at_percent", "Tc_K", "Bc2_4K2_T"])
def test_the_figure_of_differences_subtracts_alike(results, by_numpy, target):
    a_lot = results.isel(sample=results["lot"].values == "A")
    marks = _marks(difference_rows([compare_wires(wires_of(a_lot, target, reference=SECOND))]))
    assert min(abs(mark - by_numpy[target][0]) for mark in marks) < 1e-6 * abs(by_numpy[target][0])


@pytest.mark.parametrize(("kind", "target"), [("tc", "Tc_K"), ("field", "Bc2_4K2_T")])
def test_plans_subtract_alike(results, by_numpy, kind, target):
    a_lot = results.isel(sample=results["lot"].values == "A")
    names = [str(name) for name in a_lot["sample"].values]
    treatments = {name: Schedule((Step(600.0 + 20.0 * k, 100.0),)) for k, name in enumerate(names)}
    (direct,) = [one for key, one in planned_wires(a_lot, treatments, kind, 4.2).direct.items() if key == kind]
    apart, u = direct.difference(names.index(FIRST), names.index(SECOND))
    assert apart == pytest.approx(by_numpy[target][0], rel=1e-6)
    # the covariance of the draws, and a little for the scatter of equal wires that they hold already
    assert by_numpy[target][1] * (1.0 - 1e-6) <= u < 1.3 * by_numpy[target][1]


def test_fields_subtract_alike(results, by_numpy):
    a_lot = results.isel(sample=results["lot"].values == "A")
    (against,) = [one for one in placed(conductors(a_lot), SECOND, FREE) if one.name == FIRST]
    middle, low, high = (float(end) for end in against.bc2_difference)
    assert middle == pytest.approx(by_numpy["Bc2_4K2_T"][0], abs=BY_STRAIN_T)
    assert 0.5 * (high - low) == pytest.approx(by_numpy["Bc2_4K2_T"][1], abs=BY_STRAIN_T)


def test_one_sample_has_one_tin_tc_and_bc2(results):
    k = results["sample"].values.tolist().index(FIRST)
    tin, tc, bc2 = (float(results[target].values[k]) for target in TARGETS)
    assert [float(_column(results, target)[k]) for target in TARGETS] == pytest.approx([tin, tc, bc2], rel=1e-9)
    for target, value in zip(TARGETS, (tin, tc, bc2), strict=True):
        values = values_of(results, target)
        assert values.value[values.samples.index(FIRST)] == pytest.approx(value, rel=1e-9)
    explained = estimates_of(results, k)
    of = dict(zip(explained["target"].values.tolist(), explained["target_median"].values.tolist(), strict=True))
    assert (100.0 * of["tin_fraction"], of["Tc_K"], of["Bc2_4K2_T"]) == pytest.approx((tin, tc, bc2), rel=1e-9)
    (one,) = conductors(results, [FIRST])
    assert float(np.median(one.tc)) == pytest.approx(tc, rel=1e-9)
    section = layers(results, [FIRST])[FIRST]
    assert float(np.median(section.tin)) == pytest.approx(0.01 * tin, rel=1e-9)
    assert float(np.median(section.bc2(4.2))) == pytest.approx(bc2, rel=1e-5)


def test_the_order_of_a_pattern_is_one_number_with_one_difference(results):
    """What a pattern measures by itself is analytic: contributions of its sources, nowhere draws."""
    assert "site_order" not in results["target"].values
    k, j = (results["sample"].values.tolist().index(name) for name in (FIRST, SECOND))
    q = results["quantity"].values.tolist().index("site_order")
    value = results["value"].values[:, q]
    assert [float(x) for x in _column(results, "site_order")] == pytest.approx(value.tolist(), rel=1e-9)
    table = results["contribution"].values[:, q]
    groups = results["source_group"].values
    shared = (groups[k] != "") & (groups[k] == groups[j])
    square = np.sum((table[k] - table[j])[shared] ** 2) + np.sum(table[[k, j]][:, ~shared] ** 2)
    expected = value[k] - value[j], np.sqrt(square)
    assert difference(values_of(results, "site_order"), FIRST, SECOND) == pytest.approx(expected, rel=1e-9)
    a_lot = results.isel(sample=results["lot"].values == "A")
    for found in (
        compare_wires(wires_of(a_lot, "site_order", reference=SECOND)).comparison,
        first_look(a_lot).to_first["site_order"].comparison,
    ):
        assert found.pair(found.variants[-1], found.variants[0]).value == pytest.approx(expected[0], rel=1e-9)
    marks = _marks(difference_rows([compare_wires(wires_of(a_lot, "site_order", reference=SECOND))]))
    assert min(abs(mark - expected[0]) for mark in marks) < 1e-6 * abs(expected[0])


@pytest.mark.parametrize("name", ["S_a", "S_b"])
def test_order_parameters_belong_to_the_tin_of_the_table(results, name):
    """S_a = x / (4 beta), S_b = 3 x / (4 (1 - beta)): with one beta, that of the draws, in every draw."""
    k = results["sample"].values.tolist().index(FIRST)
    targets = results["target"].values.tolist()
    draws = results["estimate_draws"].values[k].astype(float)
    tin, s_a, s_b = (draws[targets.index(one)] for one in ("tin_fraction", "S_a", "S_b"))
    np.testing.assert_allclose(s_b, 3.0 * tin * s_a / (1.0 - tin), rtol=2e-4)  # stored to 15 bits each
    middle = float(np.median(draws[targets.index(name)]))
    assert float(_column(results, name)[k]) == pytest.approx(middle, rel=1e-9)
    assert float(_column(results, f"u_{name}")[k]) == pytest.approx(
        np.std(draws[targets.index(name)], ddof=1), rel=1e-9
    )
    values = values_of(results, name)
    assert values.value[values.samples.index(FIRST)] == pytest.approx(middle, rel=1e-9)
    assert name not in results["quantity"].values
    explained = estimates_of(results, k)
    of = dict(zip(explained["target"].values.tolist(), explained["target_median"].values.tolist(), strict=True))
    assert of[name] == pytest.approx(middle, rel=1e-9)


def _marks(figure):
    """Where marks of differences stand."""
    (axes,) = figure.axes
    return [float(x) for line in axes.lines if line.get_marker() != "None" for x in np.ravel(line.get_xdata())]
