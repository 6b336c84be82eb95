"""Power and numbers of wires against printed tables, simulated studies and brute force."""

import math

import numpy as np
import pytest
from scipy.stats import binom, ttest_ind

from xrdorder.comparison.published_scatter import SCATTER
from xrdorder.exceptions import ValidityError
from xrdorder.scan_planning import Course
from xrdorder.scan_planning.forecast import Forecast
from xrdorder.scan_planning.power import MOST_WIRES, Costs, cheapest, power_of, wires_for
from xrdorder.scan_planning.wires_plan import plan_wires

STUDIES = 2000


def test_more_wires_than_anybody_plans_are_none():
    """An effect of half a standard deviation takes 64 (Cohen); others of that table stand in tests/outside/rows."""
    assert wires_for(0.5, 1.0) is None and MOST_WIRES < 64


@pytest.mark.parametrize(("effect", "wires"), [(1.0, 3), (2.0, 4), (1.5, 8), (0.0, 5)])
def test_power_is_the_share_of_simulated_studies_that_see_it(effect, wires):
    """2000 studies of normal wires, compared by the t test of scipy. The count is binomial with the stated power: it
    lies inside the central 99.9 % of that distribution with a probability of 99.9 %, for each of four cases."""
    rng = np.random.default_rng(12)
    one, other = rng.normal(size=(2, STUDIES, wires))
    seen = int(np.sum(ttest_ind(one + effect, other, axis=1).pvalue < 0.05))
    power = power_of(effect, 1.0, wires)
    low, high = binom.interval(0.999, STUDIES, power)
    assert low <= seen <= high, (seen / STUDIES, power)


def test_replicates_so_far_help_where_wires_are_few():
    assert power_of(2.0, 1.0, 2, known=10) > power_of(2.0, 1.0, 2)
    assert power_of(2.0, 1.0, 1) == 0.0  # a single wire of each tells nothing of their scatter
    assert power_of(5.0, 1.0, 1, known=10) > 0.5


def test_large_effects_are_seen_for_certain():
    assert power_of(1e3, 1.0, 5) == pytest.approx(1.0)
    assert power_of(1.0, 0.0, 5) == 1.0


COURSE = Course(counting=2.0 * 0.02**2 * 3600.0, floor=2.0 * 0.004**2)
"""Difference of two wires: 0.02 each after an hour, 0.004 each for ever."""


@pytest.mark.parametrize("costs", [Costs(10.0, 1.0, 3.0), Costs(1.0, 1.0, 30.0)])
def test_the_cheapest_mix_is_the_least_of_all(costs):
    """Brute force over wires, times on the same ladder, and with or without measurement."""
    found = cheapest(0.05, 0.01, COURSE, 3600.0, costs, u_measured=0.02)
    times = 3600.0 * np.geomspace(1.0 / 64.0, 64.0, 49)
    best = math.inf
    for wires in range(2, MOST_WIRES + 1):
        for measured in (False, True):
            for seconds in (0.0, *times):
                weight = (2.0 / COURSE.u(seconds) ** 2 if seconds else 0.0) + (1.0 / 0.02**2 if measured else 0.0)
                if not weight:
                    continue
                cost = 2 * wires * (costs.wire + costs.hour * seconds / 3600.0 + costs.measured * measured)
                u = math.sqrt(0.01**2 + 1.0 / weight)
                if cost < best and power_of(0.05, u, wires) >= 0.8:
                    best = cost
    assert found[0].cost == pytest.approx(best)
    assert [mix.cost for mix in found] == sorted(mix.cost for mix in found)
    assert {mix.by for mix in found} == {"scans", "measured", "scans and measured"}
    assert all(mix.power >= 0.8 for mix in found)


def test_dear_wires_are_scanned_longer():
    cheap, dear = (cheapest(0.05, 0.01, COURSE, 3600.0, Costs(wire, 1.0))[0] for wire in (0.1, 100.0))
    assert dear.wires < cheap.wires and dear.seconds > cheap.seconds


FORECAST = Forecast(3600.0, {"site_order": 0.93}, {"site_order": COURSE}, {"site_order": COURSE})


def test_scatter_is_the_published_one_unless_it_is_told():
    """One fact, one home: `xrdorder.comparison.published_scatter`."""
    plan = plan_wires("site_order", 0.05, FORECAST, Costs())
    assert plan.scatter.u == SCATTER["site_order"].u and SCATTER["site_order"].source in plan.scatter.source
    sizes = Forecast(3600.0, {"domain_size_nm": 120.0}, {}, {"domain_size_nm": Course(1.0, 1.0)})
    assert plan_wires("domain_size_nm", 20.0, sizes, Costs()).scatter.u == pytest.approx(0.05 * 120.0)
    assert plan_wires("Ic", 0.1, None, Costs(), u_measured=0.01).scatter.u == SCATTER["critical_current_a"].u


def test_a_difference_that_drowns_in_the_scatter_is_told():
    plan = plan_wires("site_order", 0.001, FORECAST, Costs(), scatter=0.02)
    assert plan.mixes == () and plan.at_best is None and "scatter too far" in plan.words


def test_a_difference_that_scans_cannot_see_is_told():
    blind = Forecast(1.0, {}, {}, {"site_order": Course(1.0, 2.0 * 0.5**2)})
    plan = plan_wires("site_order", 0.05, blind, Costs(), scatter=0.02)
    assert plan.mixes == () and plan.at_best is not None and "neither scans nor" in plan.words


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("hardness", 1.0, None, Costs()), "'hardness' is not planned for"),
        (("Ic", 0.05, None, Costs()), "give --u-measured"),
        (("site_order", 0.05, None, Costs()), "give a specimen"),
    ],
)
def test_what_is_missing_is_said(arguments, said):
    with pytest.raises(ValidityError, match=said):
        plan_wires(*arguments, scatter=0.01)


def test_order_is_not_measured_beside():
    with pytest.raises(ValidityError, match="leave --u-measured out"):
        plan_wires("site_order", 0.05, FORECAST, Costs(), scatter=0.01, u_measured=0.02)


def test_costs_are_numbers():
    with pytest.raises(ValidityError, match="cost of hour is -1"):
        Costs(hour=-1.0)
