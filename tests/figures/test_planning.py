"""Maps: what was reacted and suggested stands in its place, and no label hides another."""

import pytest

from tests.figures.labels import EVERY_SIZE
from tests.planning.lots import POINTS, study
from xrdorder.drawing.palette import GARNET
from xrdorder.drawing.text import typeset
from xrdorder.figures import planning_figure
from xrdorder.planning.study import plan_lot
from xrdorder.planning.window import HoldBound, Limits
from xrdorder.superconductivity.currents import Conditions


def planned(made, fields=(12.0, 15.0), limits=None, **more):
    return plan_lot(made[0], made[1], "heron", Conditions(4.2, strain=-0.002), fields, limits, **more)


@pytest.fixture(scope="module")
def found():
    limits = Limits(600, 730, 30, 300, holds=(HoldBound(700.0, 60.0),))
    return planned(study(fields=(12.0, 15.0)), limits=limits, number=3)


def places(axes, marker, colour=None):
    lines = [line for line in axes.lines if line.get_marker() == marker]
    if colour:
        lines = [line for line in lines if line.get_markeredgecolor() == colour]
    return {(float(x), float(y)) for line in lines for x, y in zip(*line.get_data(), strict=True)}


def test_marks_stand_where_wires_were_reacted_and_are_suggested(found):
    figure = planning_figure(found, title="made")
    for k, plan in enumerate(found.plans):
        axes = next(one for one in figure.axes if one.get_title(loc="left") == typeset(found.noun(k)))
        assert places(axes, "o") == {(float(t), float(h)) for t, h in POINTS}
        best = plan.treatments[plan.best]
        assert places(axes, "o", GARNET) == {(best.peak_c, best.hold_at_peak_h)}
        wanted = {(one.schedule.peak_c, one.schedule.hold_at_peak_h) for one in plan.proposals}
        assert places(axes, "s") == wanted
        labels = [text.get_text() for text in axes.texts]
        assert {str(n + 1) for n in range(len(plan.proposals))} <= set(labels)
        assert any("±" in text for text in labels)


def test_without_currents_it_says_by_growth():
    figure = planning_figure(planned(study(), (12.0,)))
    assert "by growth, no measured difference" in figure.axes[0].get_title(loc="left")


@pytest.mark.slow
@pytest.mark.parametrize("size", EVERY_SIZE)
def test_every_size_is_drawn(found, size):
    figure = planning_figure(found, size=size)
    assert figure.axes
    figure.canvas.draw()
