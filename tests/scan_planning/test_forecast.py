"""What a scan will tell follows Poisson statistics, and is what a fit of such a scan says of itself."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.simulation.made import COARSE, instrument_of
from xrdorder.exceptions import FitError, ValidityError
from xrdorder.scan_planning import Course, Prospect, forecast
from xrdorder.scan_planning.forecast import HELP, is_counting, remedy, without_counting
from xrdorder.scan_planning.prospect import within
from xrdorder.simulation import simulate_scan

WIDE = replace(COARSE, to_deg=125.0)


@pytest.fixture(scope="module")
def prospect():
    return Prospect.of_description(WIDE, instrument_of())


@pytest.fixture(scope="module")
def found(prospect):
    return forecast(prospect, estimates=False)


def test_a_fit_of_the_scan_counted_longer_says_the_same(prospect, found):
    """Poisson time scaling, by the whole budget anew: the part of counting falls as one over the root of the time.

    Exact but for widths of minor phases, which a fit of four times the counts frees: below a hundredth here.
    """
    longer = prospect.counted(4.0)
    material = longer.material(longer.fit())
    assert longer.seconds == pytest.approx(4.0 * found.seconds)
    for name, course in found.wire.items():
        assert course.u(longer.seconds) == pytest.approx(material.u(name), rel=0.01), name
        assert course.counting > 0.0


def test_counting_without_end_leaves_what_the_fit_of_endless_counts_says(prospect, found):
    endless = prospect.counted(1e6)
    material = endless.material(endless.fit())
    for name, course in found.wire.items():
        assert course.limit == pytest.approx(material.u(name), rel=0.02), name


def test_variance_of_counting_is_that_of_the_inverse_of_the_information(prospect, found):
    """By hand from the Jacobian: F = J' J / m summed over points, u² = (F^-1) of the parameter."""
    solution, _ = prospect.job.fit.solution()
    names = prospect.job.model.names
    counts, jacobian = prospect.job.model.counts_with_jacobian(prospect.job.fit.values(), solution.free)
    assert set(solution.free) <= set(names)
    scale = np.linalg.norm(jacobian, axis=0)
    information = (jacobian / scale).T @ ((jacobian / scale) / counts[:, None])
    u = np.sqrt(np.diag(np.linalg.inv(information))) / scale
    a = dict(zip(solution.free, u, strict=True))["nb3sn_a_nm"]
    assert math.sqrt(found.wire["a_nm"].counting / found.seconds) == pytest.approx(a, rel=1e-6)
    order = dict(zip(solution.free, u, strict=True))["nb3sn_order_contrast"]
    # the order is referred to the tin by the lattice, which adds next to nothing of counting
    assert math.sqrt(found.wire["site_order"].counting / found.seconds) == pytest.approx(order, rel=0.01)


def test_what_wires_share_drops_out_of_their_difference(found):
    for name, course in found.difference.items():
        assert course.counting == pytest.approx(2.0 * found.wire[name].counting)
    # the calibration is shared, the zero of the goniometer is not
    assert found.difference["domain_size_nm"].limit < math.sqrt(2.0) * found.wire["domain_size_nm"].limit
    own = math.hypot(*(u for _, u in found.own_sources["a_nm"]))
    assert found.difference["a_nm"].limit == pytest.approx(math.sqrt(2.0) * own)
    assert "two-theta offset" in dict(found.own_sources["a_nm"])


def test_time_for_a_target():
    course = Course(counting=100.0, floor=4.0)
    assert course.u(course.seconds_for(3.0)) == pytest.approx(3.0)
    assert math.isinf(course.seconds_for(2.0)) and math.isinf(course.seconds_for(1.0))


def test_numbered_private_columns_are_counting_and_no_others(prospect):
    table = prospect.fit().contributions
    bare = without_counting(table)
    moved = [source for k, source in enumerate(table.sources) if np.any(bare.values[:, k] != table.values[:, k])]
    assert {source.partition("/")[0] for source in moved} >= {"counting", "specimen displacement"}
    pairs = zip(table.sources, table.groups, strict=True)
    assert not any(is_counting(source, group) for source, group in pairs if group)


def test_every_large_source_has_a_remedy(found):
    for sources in found.sources.values():
        for family, u in sources[:2]:
            assert u > 0.0 and remedy(family), family
    assert len({start for start, _ in HELP}) == len(HELP)


def test_texture_raises_the_uncertainty():
    """A nuisance parameter more never lowers a bound (Schur complement)."""
    plain = forecast(Prospect.of_description(COARSE, instrument_of()), estimates=False)
    specimen = replace(COARSE, texture={"nb3sn": 0.1})
    textured = forecast(Prospect.of_description(specimen, instrument_of()), estimates=False)
    assert textured.wire["site_order"].counting > plain.wire["site_order"].counting


@pytest.mark.slow
def test_a_quick_scan_gives_the_same_forecast_as_its_description():
    """The fit of noisy counts (10 000 in the highest point) has other numbers than the truth: u within a tenth."""
    described = forecast(Prospect.of_description(WIDE, instrument_of()), estimates=False)
    quick = simulate_scan(WIDE, instrument_of(), seed=5)
    from_scan = forecast(Prospect.of_quick_scan(quick, instrument_of()), estimates=False)
    for name in ("a_nm", "site_order"):
        assert from_scan.wire[name].counting == pytest.approx(described.wire[name].counting, rel=0.2), name


@pytest.mark.slow
def test_estimates_of_two_wires():
    found = forecast(Prospect.of_description(WIDE, instrument_of()), seed=1)
    for name in ("tin_fraction", "Tc_K", "Bc2_0K_T"):
        assert found.wire[name].u(found.seconds) > found.wire[name].limit > 0.0
        assert found.difference[name].limit < math.sqrt(2.0) * found.wire[name].limit
    anchored = forecast(Prospect.of_description(WIDE, instrument_of()), seed=1, anchor_tc_k=0.05)
    assert anchored.wire["Tc_K"].limit < 0.5 * found.wire["Tc_K"].limit
    assert anchored.difference["tin_fraction"].u(found.seconds) < found.difference["tin_fraction"].u(found.seconds)


def test_a_quick_scan_without_the_a15_is_refused():
    pattern = simulate_scan(replace(COARSE, strongest_line_per_s=0.001), instrument_of(), seed=1)
    with pytest.raises(FitError, match="does not stand out"):
        Prospect.of_quick_scan(pattern, instrument_of())


def test_ranges_outside_the_quick_scan_are_refused():
    pattern = simulate_scan(COARSE, instrument_of(), seed=1)
    assert within(pattern, 30.0, 60.0)["two_theta"].values[[0, -1]].tolist() == [30.0, 60.0]
    for low, high in ((10.0, 60.0), (30.0, 120.0), (30.0, 35.0)):
        with pytest.raises(ValidityError, match="the quick scan covers 20 to 90"):
            within(pattern, low, high)


def test_a_scan_is_not_counted_for_no_time(prospect):
    for factor in (0.0, -1.0, math.inf, math.nan):
        with pytest.raises(ValidityError, match="above zero"):
            prospect.counted(factor)
