"""The best distribution of counting time: least by brute force, guarded, and worth what it says when counted."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from tests.simulation.made import COARSE, instrument_of
from xrdorder.exceptions import ValidityError
from xrdorder.scan_planning import Prospect
from xrdorder.scan_planning.allocation import MOST, allocate, optimum

WIDE = replace(COARSE, to_deg=125.0)


@pytest.fixture(scope="module")
def prospect():
    return Prospect.of_description(WIDE, instrument_of())


@pytest.fixture(scope="module")
def for_order(prospect):
    return allocate(prospect, {"site_order": math.inf})


def total(information, gradients, share):
    inverse = np.linalg.inv(np.einsum("k,kij->ij", share, information))
    return sum(float(g @ inverse @ g) for g in gradients)


def problem(seed, ranges=4, parameters=3, points=6):
    rng = np.random.default_rng(seed)
    jacobian = rng.normal(size=(ranges, points, parameters)) * rng.uniform(0.2, 3.0, (ranges, 1, 1))
    return np.einsum("kpi,kpj->kij", jacobian, jacobian), list(rng.normal(size=(2, parameters)))


@pytest.mark.parametrize("seed", range(5))
def test_nothing_on_a_grid_of_all_shares_is_better(seed):
    """Brute force over all shares in steps of 1/40: none below the optimum, and the best of them within its step."""
    information, gradients = problem(seed)
    least = np.full(4, 0.05)
    share, gap = optimum(information, gradients, least, 0.7)
    found = total(information, gradients, share)
    steps = np.arange(2, 29) / 40.0
    grid = [
        np.array([*three, 1.0 - sum(three)])
        for three in itertools.product(steps, repeat=3)
        if 0.05 - 1e-9 <= 1.0 - sum(three) <= 0.7 + 1e-9
    ]
    best = min(total(information, gradients, one) for one in grid)
    assert found <= best * (1.0 + 1e-6)
    # a step of 1/40 in shares of a quarter: second order, so some 1 % (0.1 squared) at most
    assert best <= found * 1.03
    assert gap < 1e-3
    assert share.sum() == pytest.approx(1.0) and np.all(share >= least - 1e-9) and np.all(share <= 0.7 + 1e-9)


def test_gap_bounds_how_far_a_poor_distribution_is_from_the_best():
    information, gradients = problem(3)
    least = np.full(4, 0.05)
    share, _ = optimum(information, gradients, least)
    uniform = total(information, gradients, np.full(4, 0.25))
    assert total(information, gradients, share) < uniform


def test_the_best_is_better_than_uniform_for_what_is_wanted(for_order):
    assert for_order.gain > 1.5
    assert for_order.u_ratio["site_order"] == pytest.approx(1.0 / math.sqrt(for_order.gain), rel=1e-6)
    assert for_order.gap < 1e-2


def test_guards_are_kept(prospect, for_order):
    assert "nb3sn_texture_4" in for_order.guarded
    assert np.all(for_order.share >= 0.25 * for_order.uniform - 1e-9)
    assert for_order.share.max() <= MOST + 1e-9
    careful = allocate(prospect, {"site_order": math.inf}, least=0.6)
    assert 1.0 < careful.gain < for_order.gain


def test_ranges_cover_the_scan_and_add_up_to_its_time(prospect, for_order):
    assert for_order.ranges[0].from_deg == prospect.two_theta[0]
    assert for_order.ranges[-1].to_deg == prospect.two_theta[-1]
    assert sum(one.points for one in for_order.ranges) == len(prospect.two_theta)
    # seconds are written with two digits: 5 % at most, in the mean far less
    written = sum(one.points * one.seconds for one in for_order.ranges)
    assert written == pytest.approx(for_order.seconds, rel=0.05)
    for one, following in itertools.pairwise(for_order.ranges):
        assert following.from_deg == pytest.approx(one.to_deg + one.step_deg, abs=1e-6)
        assert following.seconds != one.seconds


def test_no_range_ends_on_a_strong_line(prospect, for_order):
    counts = prospect.pattern.values
    for edge in for_order.edges[1:-1]:
        at = int(np.argmin(np.abs(prospect.two_theta - edge)))
        assert counts[at] < 0.2 * counts.max()


@pytest.mark.slow
def test_a_scan_counted_so_tells_what_was_promised():
    """The whole information anew with the times of the ranges: same ratio of variances, texture not guarded alike."""
    specimen = replace(WIDE, texture={"nb3sn": 0.05, "nb": 0.05})
    prospect = Prospect.of_description(specimen, instrument_of())
    found = allocate(prospect, {"site_order": math.inf})
    solution, _ = prospect.job.fit.solution()
    factor = np.zeros(len(prospect.two_theta))
    for one in found.ranges:
        inside = (prospect.two_theta >= one.from_deg - 1e-9) & (prospect.two_theta <= one.to_deg + 1e-9)
        factor[inside] = one.seconds / specimen.seconds_per_step
    jacobian = solution.weighted_jacobian
    scale = np.linalg.norm(jacobian, axis=0)

    def u(times):
        weighted = jacobian / scale * np.sqrt(times)[:, None]
        inverse = np.linalg.inv(weighted.T @ weighted)
        k = solution.free.index("nb3sn_order_contrast")
        return math.sqrt(inverse[k, k]) / scale[k]

    uniform = u(np.full(len(factor), factor.mean()))
    # guarding two more coefficients of texture and writing two digits changes the ratio by less than a tenth
    assert u(factor) / uniform == pytest.approx(found.u_ratio["site_order"], rel=0.1)


@pytest.mark.parametrize("wanted", ["a_nm", "domain_size_nm", "tin_fraction_lattice"])
def test_every_quantity_can_be_counted_for(prospect, wanted):
    assert allocate(prospect, {wanted: math.inf}).gain > 1.0


def test_several_targets_share_the_time(prospect, for_order):
    both = allocate(prospect, {"site_order": 0.01, "a_nm": 1e-6})
    assert for_order.u_ratio["site_order"] <= both.u_ratio["site_order"] + 1e-6
    assert set(both.u_ratio) == {"site_order", "a_nm"}


def test_what_cannot_be_counted_for_is_refused(prospect):
    with pytest.raises(ValidityError, match="choose among a_nm"):
        allocate(prospect, {"Tc_K": 0.1})
    with pytest.raises(ValidityError, match="nothing is wanted"):
        allocate(prospect, {})
    with pytest.raises(ValidityError, match="between 0 and 1"):
        allocate(prospect, {"a_nm": math.inf}, least=1.5)
