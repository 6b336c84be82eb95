"""Pinning force by grain size, and its shape."""

import numpy as np
import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.superconductivity.mixture import Common
from xrdorder.superconductivity.pinning import (
    U_DOMAIN_AS_GRAIN,
    U_GRAIN,
    ForceShape,
    comparable_forces,
    grain_size,
    layer_force,
    over_a15_area,
    peak_pinning_force,
)
from xrdorder.uncertainty import standard_normal

N = 20_000
COMMON = Common(N, key="a")


def domains(size, u=5.0, key="a"):
    return size, size + u * standard_normal(N, 0, "counting", "", key)


def test_a_measured_grain_size_takes_the_place_of_the_domain_size():
    found = grain_size(domains_nm=domains(90.0), measured_nm=(140.0, 7.0), common=COMMON)
    assert found.by == "microscopy" and found.flags == ()
    assert float(found.band.median) == pytest.approx(140.0, abs=4 * 1.25 * 7 / np.sqrt(N))
    assert np.std(found.draws) == pytest.approx(7.0, rel=0.03)
    rough = grain_size(measured_nm=(140.0, None), common=COMMON)
    assert np.std(rough.draws) == pytest.approx(140.0 * U_GRAIN, rel=0.03)


def test_a_domain_size_stands_for_the_grain_size_with_a_doubt_common_to_all():
    one = grain_size(domains_nm=domains(90.0, key="one"), common=Common(N, key="one"))
    two = grain_size(domains_nm=domains(120.0, key="two"), common=Common(N, key="two"))
    assert one.by == "domain size"
    assert [flag.name for flag in one.flags] == ["domain-size-for-grain-size"]
    assert np.std(np.log(one.draws)) == pytest.approx(np.hypot(U_DOMAIN_AS_GRAIN, 5 / 90), rel=0.05)
    # what a domain is to a grain cancels between samples: only the counting is left
    assert np.std(np.log(two.draws / one.draws)) == pytest.approx(np.hypot(5 / 90, 5 / 120), rel=0.05)


def test_domains_that_are_not_resolved_give_a_limit():
    found = grain_size(domains_at_least_nm=200.0, common=COMMON)
    assert found.by == "domain size, at least"
    assert "at most" in found.flags[0].message
    assert float(found.band.median) == pytest.approx(200.0, rel=0.01)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"measured_nm": (-5.0, None)}, "positive size"),
        ({"measured_nm": (100.0, -1.0)}, "zero or more"),
        ({"measured_nm": (float("nan"), None)}, "positive size"),
        ({"domains_nm": (float("nan"), float("nan"))}, "by microscopy"),
        ({}, "by microscopy"),
    ],
)
def test_bad_sizes_are_refused_in_one_line(arguments, says):
    with pytest.raises(ValidityError, match=says) as caught:
        grain_size(common=COMMON, **arguments)
    assert "\n" not in str(caught.value)
    with pytest.raises(ValidityError, match="above zero"):
        peak_pinning_force(0.0, common=COMMON)


def test_finer_grains_pin_more_by_every_relation():
    fine, coarse = (peak_pinning_force(size, common=COMMON) for size in (60.0, 150.0))
    assert len(fine) >= 4
    for one, other in zip(fine, coarse, strict=True):
        assert float(one.band.median) > float(other.band.median)
    assert np.median(layer_force(60.0, common=COMMON)) > np.median(layer_force(150.0, common=COMMON))


def test_levels_over_other_areas_take_no_part_in_the_absolute_force():
    answers = peak_pinning_force(100.0, common=COMMON)
    levels = [answer for answer in answers if over_a15_area(answer)]
    assert 2 <= len(levels) < len(answers)
    medians = [float(answer.band.median) for answer in levels]
    assert min(medians) < np.median(layer_force(100.0, common=COMMON)) < max(medians)
    # forces over a larger area are smaller: they would pull the mean down
    others = [float(answer.band.median) for answer in answers if not over_a15_area(answer)]
    assert max(others) < min(medians)


def test_beyond_the_range_of_a_relation_it_is_refused_and_said():
    assert all("3000" in answer.reason for answer in peak_pinning_force(3000.0, common=COMMON))
    with pytest.raises(ValidityError, match=r"no relation gives the pinning force.*outside the validity"):
        layer_force(3000.0, common=COMMON)
    far, near = (peak_pinning_force(size, common=COMMON) for size in (3000.0, 100.0))
    with pytest.raises(ValidityError, match="holds for both samples"):
        comparable_forces(far, near, common=COMMON)


def test_the_shape_peaks_at_one_and_ends_at_bc2():
    shape = ForceShape(COMMON)
    values = np.array([shape(np.full(N, h)).max() for h in np.linspace(0.0, 1.2, 601)])
    assert values.max() == pytest.approx(1.0, abs=1e-3)
    assert values[0] == 0.0 and np.all(values[500:] == 0.0)
