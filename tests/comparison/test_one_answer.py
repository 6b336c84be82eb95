"""One question has one answer: every output that subtracts B from A gives the same number, and so do absolutes."""

import numpy as np
import pytest

from tests.figures import made
from xrdorder.comparison import values_of
from xrdorder.comparison.bc2_grain_size import placed
from xrdorder.comparison.study import compare_quantity
from xrdorder.estimates.conductors import conductors, layers
from xrdorder.estimates.study_draws import estimated
from xrdorder.figures import difference_figure
from xrdorder.planning.observations import wires_of
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
    assert values_of(results, target).difference(FIRST, SECOND) == pytest.approx(by_numpy[target], rel=1e-6)
    a_lot = results.isel(sample=results["lot"].values == "A")
    found = compare_quantity(a_lot, target, reference=SECOND).comparison
    labels = {SECOND: found.variants[0], FIRST: found.variants[-1]}
    assert found.pair(labels[FIRST], labels[SECOND]).value == pytest.approx(by_numpy[target][0], rel=1e-6)
    page = first_look(a_lot).to_first[target].comparison
    assert page.pair(labels[FIRST], labels[SECOND]).value == pytest.approx(by_numpy[target][0], rel=1e-6)


@pytest.mark.parametrize(("target", "name"), [("tin_at_percent", "tin_fraction"), ("Tc_K", "Tc_K"), ("Bc2_4K2_T",) * 2])
def test_the_figure_of_differences_subtracts_alike(results, by_numpy, target, name):
    figure = difference_figure(results, (name,), reference={"A": SECOND})
    marks = [float(line.get_ydata()[0]) for line in figure.axes[0].lines if len(line.get_xdata()) == 1]
    assert min(abs(mark - by_numpy[target][0]) for mark in marks) < 1e-6 * abs(by_numpy[target][0])


@pytest.mark.parametrize(("kind", "target"), [("tc", "Tc_K"), ("field", "Bc2_4K2_T")])
def test_plans_subtract_alike(results, by_numpy, kind, target):
    a_lot = results.isel(sample=results["lot"].values == "A")
    names = [str(name) for name in a_lot["sample"].values]
    treatments = {name: Schedule((Step(600.0 + 20.0 * k, 100.0),)) for k, name in enumerate(names)}
    (direct,) = [one for key, one in wires_of(a_lot, treatments, kind, 4.2).direct.items() if key == kind]
    difference, u = direct.difference(names.index(FIRST), names.index(SECOND))
    assert difference == pytest.approx(by_numpy[target][0], rel=1e-6)
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
