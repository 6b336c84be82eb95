"""The step of a scan, however its angles were written."""

import numpy as np
import pytest

from xrdorder.patterns.angle_step import angle_step


@pytest.mark.parametrize("digits", [2, 3, 6])
@pytest.mark.parametrize("step", [0.0131, 0.0167, 0.0199, 0.0201, 0.026, 0.05])
def test_rounding_of_the_angles_does_not_change_the_step(step: float, digits: int) -> None:
    angles = np.arange(20.0, 60.0, step).round(digits)
    # both ends are rounded by half of the last digit at most
    assert angle_step(angles) == pytest.approx(step, abs=10.0**-digits / (len(angles) - 1))


@pytest.mark.parametrize("digits", [2, 6])
def test_gaps_between_ranges_are_no_steps(digits: int) -> None:
    ranges = [np.arange(low, low + 6.0, 0.0131) for low in (30.0, 41.0, 70.0)]
    angles = np.concatenate(ranges).round(digits)
    assert angle_step(angles) == pytest.approx(0.0131, abs=2e-5)


@pytest.mark.parametrize("angles", [[], [30.0]])
def test_a_single_point_has_no_step(angles: list[float]) -> None:
    assert angle_step(np.array(angles)) == 0.0
