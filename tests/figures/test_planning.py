"""Maps and the front: what was reacted and suggested stands in its place, and no label hides another."""

import re
from itertools import combinations

import numpy as np
import pytest

from tests.figures.labels import EVERY_SIZE
from tests.planning.lots import BEFORE, POINTS, study
from xrdorder.drawing.palette import GARNET
from xrdorder.figures import planning_figure
from xrdorder.figures.planning import _RISING
from xrdorder.planning import HoldBound, Limits, plan_lot
from xrdorder.superconductivity.currents import Conditions
from xrdorder.treatments import Schedule, Step

CONDITIONS = Conditions(4.2, strain=-0.002)


def planned(made, fields=(12.0, 15.0), limits=None, **more):
    return plan_lot(made[0], made[1], "heron", CONDITIONS, fields, limits, **more)


@pytest.fixture(scope="module")
def found():
    limits = Limits(600, 730, 30, 300, holds=(HoldBound(700.0, 60.0),))
    return planned(study(fields=(12.0, 15.0)), limits=limits, measured=True, number=3)


@pytest.fixture(scope="module")
def figure(found):
    return planning_figure(found, title="made")


def panel(figure, title):
    return next(axes for axes in figure.axes if title in axes.get_title(loc="left"))


def places(axes, marker, colour=None):
    lines = [line for line in axes.lines if line.get_marker() == marker]
    if colour is not None:
        lines = [line for line in lines if line.get_markeredgecolor() == colour]
    return {(float(x), float(y)) for line in lines for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)}


def test_each_field_has_a_map_with_its_treatments(found, figure):
    for field in (12, 15):
        axes = panel(figure, f"current at {field} T")
        plan = found.plans[f"current_{field}T"]
        assert set(POINTS) <= places(axes, "o")
        best = plan.best.schedule
        assert places(axes, "o", GARNET) == {(best.peak_c, best.hold_at_peak_h)}
        expected = {(one.schedule.peak_c, one.schedule.hold_at_peak_h) for one in plan.proposals}
        assert places(axes, "s") == expected
        assert [text.get_text() for text in axes.texts] == ["1", "2", "3"][: len(expected)]
        assert axes.get_yscale() == "log"


def test_labels_keep_apart(figure):
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()
    for axes in figure.axes:
        boxes = [text.get_window_extent(renderer) for text in axes.texts if text.get_text()]
        for one, other in combinations(boxes, 2):
            assert not one.overlaps(other)
    width, height = figure.canvas.get_width_height()
    for axes in figure.axes:
        for text in axes.texts:
            box = text.get_window_extent(renderer)
            assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height


def test_the_front_names_what_nothing_beats(found, figure):
    axes = panel(figure, "Front")
    on = found.front.on_front
    key = axes.texts[-1].get_text()
    for treatment, one in zip(found.front.treatments, on, strict=True):
        assert (f"  {found.label(treatment)}\n" in key) == bool(one)
    assert axes.get_xlabel() == "domain size (nm)" and "c2" in axes.get_ylabel()


@pytest.fixture(scope="module")
def long_names():
    """Earlier holds of two kinds and ramps to choose: names as long as they get."""
    results, treatments = study(fields=(12.0, 15.0), before=BEFORE)
    for name in list(treatments)[::2]:
        treatments[name] = Schedule((Step(180, 100, 20), *treatments[name].steps))
    limits = Limits(ramp_k_per_h=(25.0, 100.0), step_c=15.0)
    return planned((results, treatments), (12.0, 15.0), limits, measured=True, number=3)


@pytest.mark.parametrize("size", EVERY_SIZE)
def test_long_names_keep_what_tells_them_apart(long_names, size):
    figure = planning_figure(long_names, size=size)
    axes = panel(figure, "Front")
    figure.canvas.draw()
    texts = [text for text in axes.texts if "\n" in text.get_text()]
    key = texts[-1].get_text().split("\n\n")[0]
    entries = [entry[1:] for entry in re.split(r"\n(?=[a-l]  )", key)[1:]]
    assert len(entries) > 1 and len(set(entries)) == len(entries) and "…" not in key
    width, height = figure.canvas.get_width_height()
    boxes = [text.get_window_extent(figure.canvas.get_renderer()) for text in texts]
    for box in boxes:
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))


def test_the_empty_quarter_tells_what_is_suggested(found, figure):
    axes = panel(figure, "Front")
    beside, key = (text for text in axes.texts if "\n" in text.get_text())
    plan = found.plans["current_12T"]
    assert "suggested for 12 T" in beside.get_text() and "suggested for 15 T" in beside.get_text()
    for k, proposal in enumerate(plan.proposals, start=1):
        assert f"{k}  {found.label(proposal.schedule)}" in beside.get_text()
    # right of the front, below the second map
    assert key.get_window_extent().x0 > axes.get_window_extent().x1
    assert beside.get_window_extent().y1 < panel(figure, "at 15 T").get_window_extent().y0


@pytest.mark.slow
def test_what_is_chance_looks_flat_and_says_so():
    plan = planned(study(), (12.0,))
    axes = panel(planning_figure(plan), "layer current density at 12 T: not more than chance")
    shades = next(one for one in axes.collections if one.get_array() is not None and len(one.get_array()) > 20)
    low, high = shades.get_clim()
    differences, _ = plan.plans["current_12T"].differences(plan.space.candidates, plan.distinct[0])
    # shades reach as far as the doubt, the surface over a part of them only
    assert 100.0 * np.ptp(differences) < 0.5 * (high - low)
    # the bar beside shows that part and no more
    shown = shades.colorbar.ax.get_ylim()
    assert low < shown[0] and shown[1] < high and np.ptp(shown) < 0.5 * (high - low)


def test_too_few_treatments_leave_empty_panels_with_their_reason():
    figure = planning_figure(planned(study(POINTS[:2]), (12.0, 30.0)))
    assert panel(figure, "at 12 T: too few treatments for a surface")
    assert panel(figure, "at 30 T: cannot be compared")
    assert panel(figure, "Front: too few treatments")


def test_shades_rise_in_lightness_for_grey_print():
    colours = _RISING(np.linspace(0.0, 1.0, 64))[:, :3]
    lightness = colours @ np.array([0.2126, 0.7152, 0.0722])
    assert np.all(np.diff(lightness) > 0.0)
