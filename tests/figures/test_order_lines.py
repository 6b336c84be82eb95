"""Order lines over each other: what differs in area is order."""

import numpy as np
import pytest
import xarray as xr

from tests.figures import made
from tests.figures.labels import EVERY_SIZE, troubles
from xrdorder.drawing.layout import STRONG as WIDE
from xrdorder.exceptions import StudyError
from xrdorder.figures.order_lines import Overlaid, order_lines_figure

STRONG = 2400.0 + 5500.0 + 5300.0 + 2500.0
"""Area of (200), (210), (211) and (321) of the made lines."""


def lines(keep=made.LINES):
    return made.lines(keep)


def overlaid(name="sample", keep=made.LINES, **curves):
    return Overlaid(name, made.curves(keep=keep, **curves), lines(keep), "650 °C/50 h, order 0.93(1)")


def curve(axes, which=0):
    curves = [line for line in axes.lines if line.get_linewidth() == WIDE and line.get_marker() == "None"]
    return curves[which].get_xydata()


def marks(axes, which=0):
    return axes.containers[which][0].get_xydata()


def weaker(factor):
    return tuple((n, hkl, angle, area * factor if hkl == "1 1 0" else area) for n, hkl, angle, area in made.LINES)


def test_areas_are_those_of_the_line_over_the_strong_ones():
    shape, area = order_lines_figure([overlaid(), overlaid("less", weaker(0.5))]).axes[:2]
    assert shape.get_title(loc="left") == "(110)" and area.get_title(loc="left") == "(110), area"
    # all of a Gaussian is inside; steps of 0.04 degrees sum to a hundredth
    assert curve(area)[-1, 1] == pytest.approx(1000.0 * 140.0 / STRONG, rel=0.01)
    assert curve(area, 1)[-1, 1] == pytest.approx(0.5 * curve(area)[-1, 1], rel=0.01)
    assert curve(shape)[np.argmax(curve(shape)[:, 1]), 0] == pytest.approx(0.0, abs=0.02)
    # observed: background of 490 counts over 46 points of 0.04 degrees, so 6 counts degree; three of them
    assert marks(area)[-1, 1] == pytest.approx(curve(area)[-1, 1], abs=1000.0 * 18.0 / STRONG)


def test_a_sharper_line_is_higher_but_has_the_same_area():
    sharp = overlaid("sharp")
    width, made.WIDTH_DEG = made.WIDTH_DEG, 2.0 * made.WIDTH_DEG
    try:
        broad = overlaid("broad")
    finally:
        made.WIDTH_DEG = width
    shape, area = order_lines_figure([sharp, broad]).axes[:2]
    assert curve(shape)[:, 1].max() > 1.8 * curve(shape, 1)[:, 1].max()
    assert curve(area)[-1, 1] == pytest.approx(curve(area, 1)[-1, 1], rel=0.02)


def test_other_phases_and_counting_times_are_taken_off():
    keep = (*made.LINES, ("cu-sn", "1 1 1", 23.9, 300.0))
    covered = overlaid("covered", keep)
    times = np.full(covered.curves.sizes["two_theta"], 3.0)
    times[covered.curves["two_theta"].values > 30.0] = 1.0
    timed = covered.curves.assign({n: c * times for n, c in covered.curves.items() if n != "weighted_residual"})
    timed = timed.assign(time_factor=("two_theta", times))
    figure = order_lines_figure([overlaid(), covered, Overlaid("timed", timed, covered.lines)])
    area = figure.axes[1]
    for which in (1, 2):
        assert curve(area, which)[-1, 1] == pytest.approx(curve(area)[-1, 1], rel=0.01)
        assert marks(area, which)[-1, 1] == pytest.approx(curve(area)[-1, 1], abs=1000.0 * 30.0 / STRONG)


def test_only_strong_lines_that_all_have_are_the_measure():
    short = overlaid("short", high=60.0)  # (321) is not reached
    area = order_lines_figure([overlaid(), short]).axes[1]
    assert curve(area)[-1, 1] == pytest.approx(1000.0 * 140.0 / (STRONG - 2500.0), rel=0.01)


def test_points_left_out_do_not_count():
    one = overlaid()
    spoiled = one.curves.copy(deep=True)
    near = np.abs(spoiled["two_theta"].values - 23.9) < 0.1
    spoiled["observed"].values[near] = 1e6
    spoiled["weighted_residual"].values[near] = np.nan
    shape, area = order_lines_figure([Overlaid("spoiled", spoiled, one.lines)]).axes[:2]
    assert np.all(marks(shape)[:, 1] < 200.0)
    assert marks(area)[-1, 1] == pytest.approx(curve(area)[-1, 1], abs=1000.0 * 18.0 / STRONG)


def test_what_cannot_be_drawn_is_said():
    bare = Overlaid("no A15", made.curves(keep=made.LINES[5:]), lines(made.LINES[5:]))
    with pytest.raises(StudyError, match="no strong line"):
        order_lines_figure([bare])
    with pytest.raises(StudyError, match="none of them was measured"):
        order_lines_figure([overlaid(low=30.0)])
    with pytest.raises(StudyError, match="up to 4"):
        order_lines_figure([overlaid()] * 5)
    empty = Overlaid("empty", made.curves(keep=()), lines(()))
    with pytest.raises(StudyError):
        order_lines_figure([empty])
    assert isinstance(empty.lines, xr.Dataset)


@pytest.mark.parametrize("size", EVERY_SIZE)
def test_nothing_is_cut_and_nothing_overlaps(size):
    names = ("short", 40 * "wide ", "$x_2$ & <b>")
    keep = (*made.LINES, ("nb3sn", "2 2 0", 48.6, 30.0), ("nb3sn", "3 1 0", 54.85, 30.0))
    figure = order_lines_figure([overlaid(name, keep) for name in names], title="made", size=size)
    assert len(figure.axes) == 6  # three lines, their areas
    assert troubles(figure) == []
