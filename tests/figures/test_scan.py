"""Figures of plans: what they show is what was planned, and no word hides another."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.figures.labels import EVERY_SIZE, troubles
from tests.simulation.made import COARSE, instrument_of
from xrdorder.drawing.palette import GARNET
from xrdorder.figures.scan import radiation_figure, ranges_figure, wires_figure
from xrdorder.scan_planning import Course, Prospect
from xrdorder.scan_planning.forecast import Forecast
from xrdorder.scan_planning.plan import Target, plan_scan
from xrdorder.scan_planning.power import Costs
from xrdorder.scan_planning.radiation_choice import choices, tube
from xrdorder.scan_planning.wires_plan import plan_wires


@cache
def planned_scan():
    prospect = Prospect.of_description(replace(COARSE, to_deg=110.0), instrument_of())
    return plan_scan(prospect, (Target("site_order", 0.012), Target("a_nm", 1e-9), Target("domain_size_nm", 9.0, True)))


@cache
def planned_wires():
    course = Course(2.0 * 0.02**2 * 3600.0, 2.0 * 0.004**2)
    found = Forecast(3600.0, {}, {}, {"Tc_K": course})
    return plan_wires("Tc_K", 0.05, found, Costs(), scatter=0.01, u_measured=0.03)


plan = pytest.fixture(planned_scan, scope="module")
wires = pytest.fixture(planned_wires, scope="module")


@pytest.mark.parametrize("size", EVERY_SIZE)
def test_words_keep_apart(plan, wires, size):
    for figure in (
        ranges_figure(plan, size=size),
        radiation_figure(choices(("18.5 keV",)), size=size),
        wires_figure(wires, 1.0, "K", size=size),
    ):
        assert troubles(figure) == []


def test_counting_time_stands_under_the_pattern(plan):
    times, pattern, courses = ranges_figure(plan).axes
    assert times.get_shared_x_axes().joined(times, pattern)
    stairs = next(one for one in times.patches if one.get_edgecolor()[:3] == pytest.approx(_rgb(GARNET)))
    values, edges, _ = stairs.get_data()
    assert values.tolist() == [one.seconds for one in plan.allocation.ranges]
    assert edges[0] == 20.0 and edges[-1] == 110.0
    highest = max(float(np.max(line.get_ydata())) for line in pattern.lines)
    assert highest == pytest.approx(math.sqrt(plan.prospect.pattern.values.max()))
    marks = [line for line in courses.lines if line.get_marker() == "o"]
    reached = [need for need in plan.needs if math.isfinite(need.seconds)]
    assert [float(line.get_xdata()[0]) for line in marks] == pytest.approx([need.seconds / 3600.0 for need in reached])
    assert len(reached) == 2  # no counting gives a femtometre


def test_radiations_are_marked_where_they_are():
    above, _, _ = radiation_figure([tube("cu-ka"), tube("mo-ka")]).axes
    marks = [(float(x.get_xdata()[0]), float(x.get_ydata()[0])) for x in above.lines if x.get_marker() == "o"]
    assert marks == [(one.energy_ev / 1e3, one.contrast) for one in (tube("cu-ka"), tube("mo-ka"))]


def test_power_rises_to_the_marks(wires):
    (axes,) = wires_figure(wires, 1.0, "K").axes
    marks = {(float(x.get_xdata()[0]), float(x.get_ydata()[0])) for x in axes.lines if x.get_marker() == "o"}
    assert marks == {(mix.wires, mix.power) for mix in wires.mixes} and len(marks) >= 2
    for line in axes.lines:
        if len(line.get_xdata()) > 2:
            assert np.all(np.diff(line.get_ydata()) >= -1e-9)


def _rgb(colour):
    return tuple(int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
