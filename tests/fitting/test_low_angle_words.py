"""Lines at low angle that are not as strong as the others let expect are told in words."""

import pytest
import xarray as xr

from tests.fitting.finished import finished
from xrdorder.fitting import Calibration
from xrdorder.fitting.diagnostics import _Direction, _illumination
from xrdorder.fitting.procedure import Procedure
from xrdorder.least_squares.score_test import ScoreTest


def _direction(job: Procedure) -> _Direction:
    (direction,) = _illumination(job, ScoreTest(job.fit, job.enlargement()))
    return direction


def test_weaker_and_stronger_lines_are_told_with_their_share(job: Procedure) -> None:
    direction = _direction(job)
    # a beam longer than the specimen below 45 degrees takes 1 - sin(theta) / sin(22.5): 46 % of (110), 7 % of (211)
    assert 7.0 < direction.percent < 46.0
    weaker, stronger = direction.said(0.5), direction.said(-0.5)
    share = f"lines below 45 degrees are {0.5 * direction.percent:.2g} %"
    assert weaker.startswith(f"{share} weaker than the others let expect") and "order reads too low" in weaker
    assert stronger.startswith(f"{share} stronger than the others let expect") and "order reads too high" in stronger
    assert "cut off by the detector? The order is wrong" in direction.said(3.0)


def test_a_phase_without_order_is_told_of_none(pattern_without_a15: xr.DataArray, calibration: Calibration) -> None:
    direction = _direction(finished(pattern_without_a15, calibration.instrument, ["nb", "cu-sn"]))
    assert all("order" not in direction.said(step) for step in (-0.5, 0.5, 3.0))


@pytest.mark.parametrize(("step", "written"), [(-1e-3, "−1.0e−03"), (2e-4, "+2.0e−04")])
def test_other_directions_keep_their_sign(step: float, written: str, job: Procedure) -> None:
    direction = _Direction("any", "shifted by {step}", _direction(job).columns, form=".1e")
    assert direction.said(step) == f"shifted by {written}"
