"""Limits of a furnace and the variables of treatments."""

from itertools import pairwise

import numpy as np
import pytest

from xrdorder.exceptions import StudyError
from xrdorder.planning import Furnace, Space
from xrdorder.treatments import LoggedTreatment, Schedule, Step

BEFORE = (Step(210, 48, 25), Step(400, 48, 50))


def test_candidates_keep_all_limits():
    furnace = Furnace((600, 720), (20, 250), (20, 100), 330, BEFORE, step_c=15)
    every = furnace.candidates()
    assert len(every) > 100
    for one in every:
        assert one.steps[:2] == BEFORE
        last = one.steps[-1]
        assert 600 <= last.hold_c <= 720
        assert 20 <= last.hours <= 250
        assert 20 <= last.ramp_k_per_h <= 100
        assert one.total_h <= 330
    # slow ramps leave less time to hold: 200 K at 20 K/h take 8 h more than at 100 K/h
    longest = {r: max(o.steps[-1].hours for o in every if o.steps[-1].ramp_k_per_h == r) for r in (20, 100)}
    assert longest[20] <= longest[100]


def test_hours_are_round_and_reach_the_limits():
    hours = sorted({one.steps[-1].hours for one in Furnace((650, 650), (10, 300), 50).candidates()})
    assert (hours[0], hours[-1]) == (10, 300)
    assert all(float(f"{h:.2g}") == h for h in hours)
    assert max(b / a for a, b in pairwise(hours)) < 1.4


@pytest.mark.parametrize(
    ("values", "message"),
    [
        (((700, 600), (10, 300)), "temperature_c: 700 to 600"),
        (((600, 700), (0, 300)), "hours: 0 to 300"),
        (((600, 700), (10, 300), 0.0), "ramp_k_per_h: 0 to 0"),
        (((600, 700), (10, 300), 50, -5), "total_h: -5 h"),
        (((600, 700), (10, 300), 50, 500, (), 0), "step_c"),
    ],
)
def test_limits_no_furnace_has(values, message):
    with pytest.raises(StudyError) as caught:
        Furnace(*values)
    assert message in str(caught.value)


def test_limits_that_leave_nothing_or_too_much():
    with pytest.raises(StudyError, match="fits into 20 h; the shortest"):
        Furnace((600, 700), (10, 300), 50, 20).candidates()
    with pytest.raises(StudyError, match="larger steps"):
        Furnace((600, 700), (10, 300), (20, 100), step_c=0.1).candidates()


def test_coordinates_run_from_zero_to_one():
    space = Space(Furnace((600, 700), (10, 300), (20, 80)))
    assert space.variables == ("temperature", "hold", "ramp")
    np.testing.assert_allclose(space.grid.min(axis=0), 0)
    np.testing.assert_allclose(space.grid.max(axis=0), 1)
    found = space.coordinates([Schedule((Step(650, np.sqrt(3000), 40),)), Schedule((Step(725, 300),))])
    np.testing.assert_allclose(found[0], [0.5, 0.5, 0.5])
    assert found[1, 0] > 1  # beyond the limits, and told so
    assert found[1, 2] == pytest.approx(0.5)  # an unknown ramp is the usual one


def test_the_dose_takes_the_place_of_the_hold():
    space = Space(Furnace((600, 700), (10, 300), 50), dose=(250.0, 650.0))
    assert space.variables == ("temperature", "dose")
    one, other = Schedule((Step(650, 100),)), Schedule((Step(620, 50), Step(650, 100)))
    a, b = space.coordinates([one, other])
    assert b[1] > a[1]
    assert b[0] == a[0]
    log = LoggedTreatment(np.array([0, 1e-6, 100]), np.array([650, 650, 650]))
    np.testing.assert_allclose(space.coordinates([log])[0], a)
