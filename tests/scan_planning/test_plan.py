"""One answer from targets: time, ranges, what is out of reach and why; and scatter from the replicates of a study."""

import csv
import math
from dataclasses import replace

import pytest

from tests.simulation.made import COARSE, instrument_of
from xrdorder.exceptions import ValidityError
from xrdorder.scan_planning import Prospect
from xrdorder.scan_planning.plan import Target, plan_scan, write_ranges

WIDE = replace(COARSE, to_deg=110.0)


@pytest.fixture(scope="module")
def prospect():
    return Prospect.of_description(WIDE, instrument_of())


@pytest.fixture(scope="module")
def plan(prospect):
    return plan_scan(prospect, (Target("site_order", 0.015), Target("a_nm", 1e-7)))


def test_the_time_reaches_what_can_be_reached(plan):
    order, lattice = plan.needs
    assert order.course.u(order.seconds) == pytest.approx(0.015)
    assert plan.uniform_seconds == order.seconds
    assert lattice.out_of_reach and math.isinf(lattice.seconds)
    # the zero of this calibration is known to 0.003 degrees, that of a goniometer moves by 0.002
    assert lattice.cause == "calibration" and lattice.help.startswith("a longer scan of the standard")


def test_the_best_scan_is_as_much_shorter_as_counting_gains(plan):
    """Only order is counted for, as the lattice is out of reach; its counting part goes with the ratio squared."""
    ratio = plan.allocation.u_ratio["site_order"]
    assert plan.seconds == pytest.approx(plan.uniform_seconds * ratio**2)
    assert plan.allocation.seconds == plan.seconds
    assert plan.allocation.gain == pytest.approx(ratio**-2)


def test_a_told_length_stands(prospect):
    told = plan_scan(prospect, (Target("site_order", 0.015),), seconds=1234.0)
    assert told.seconds == told.uniform_seconds == told.allocation.seconds == 1234.0


def test_two_targets_of_one_quantity_take_the_longer_time(prospect, plan):
    both = plan_scan(prospect, (Target("site_order", 0.02), Target("site_order", 0.015, of_difference=True)))
    one, difference = both.needs
    assert difference.seconds > one.seconds
    assert both.uniform_seconds == difference.seconds
    assert one.other == difference.course


@pytest.mark.slow
def test_a_difference_is_freed_of_what_both_share(prospect):
    far = 1.02 * plan_scan(prospect, (Target("site_order", 0.015),)).needs[0].other.limit
    reached = plan_scan(prospect, (Target("site_order", max(far, 0.004), of_difference=True),))
    assert math.isfinite(reached.needs[0].seconds)


@pytest.mark.slow
def test_tin_is_held_by_its_scale_and_what_would_help_is_said(prospect):
    plan = plan_scan(prospect, (Target("tin_fraction", 0.001), Target("Tc_K", 0.05, of_difference=True)))
    tin, tc = plan.needs
    assert tin.out_of_reach and tin.cause == "a(tin) scale" and "measured Tc" in tin.help
    assert tc.out_of_reach and "relations" in tc.cause and "measuring Tc" in tc.help


def test_ranges_are_written_as_they_are_typed_in(plan, tmp_path):
    write_ranges(plan, tmp_path / "ranges.csv")
    with open(tmp_path / "ranges.csv", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [float(row["from_deg"]) for row in rows] == pytest.approx([one.from_deg for one in plan.allocation.ranges])
    total = sum(int(row["points"]) * float(row["seconds_per_step"]) for row in rows)
    assert total == pytest.approx(plan.seconds, rel=0.05)  # two digits of seconds


@pytest.mark.parametrize(
    ("name", "u", "said"), [("rrr", 1.0, "no scan is planned for 'rrr'"), ("a_nm", -1.0, "above zero")]
)
def test_impossible_targets_are_refused(name, u, said):
    with pytest.raises(ValidityError, match=said):
        Target(name, u)
