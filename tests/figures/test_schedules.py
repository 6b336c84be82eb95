"""Schedules: the course as the furnace ran it, and what is not known of it is seen."""

import numpy as np
import pytest

from tests.figures.labels import EVERY_SIZE, troubles
from xrdorder.drawing.layout import SIZES, evenly
from xrdorder.drawing.palette import GARNET
from xrdorder.exceptions import StudyError
from xrdorder.figures.schedules import Reacted, most_shown, reacted, schedule_figure
from xrdorder.treatments import LoggedTreatment, Repeat, Schedule, Step

RAMPED = Schedule((Step(210, 48, 25), Step(650, 100, 50)))
UNKNOWN = Schedule((Step(650, 50),))
SWINGING = Schedule(
    (Step(600, 20, 50, amplitude_k=10.0, period_h=2.0), Repeat(3, (Step(650, 10, 50), Step(620, 5, 50))))
)
LOGGED = LoggedTreatment(np.linspace(0.0, 120.0, 50_001), 650.0 + 5.0 * np.sin(np.linspace(0.0, 900.0, 50_001)))
ALL = [Reacted(one, ("heron",), 2) for one in (RAMPED, UNKNOWN, SWINGING, LOGGED)]


@pytest.fixture(scope="module")
def figure():
    return schedule_figure(ALL, title="made")


def course(axes):
    line = axes.lines[0]
    return np.asarray(line.get_xdata()), np.asarray(line.get_ydata())


def test_the_course_goes_through_what_was_set(figure):
    x, y = course(figure.axes[0])
    # by hand: 185 K at 25 K/h, 48 h, 440 K at 50 K/h, 100 h
    np.testing.assert_allclose(x, [0.0, 7.4, 55.4, 64.2, 164.2])
    np.testing.assert_allclose(y, [25.0, 210.0, 210.0, 650.0, 650.0])
    limits = {(axes.get_xlim(), axes.get_ylim()) for axes in figure.axes}
    assert len(limits) == 1


def test_a_ramp_of_unknown_rate_is_seen_as_such(figure):
    axes = figure.axes[1]
    dashed = [line for line in axes.lines if line.get_color() == GARNET]
    assert [list(line.get_ydata()) for line in dashed] == [[25.0, 650.0]] and dashed[0].is_dashed()
    assert "?" in [text.get_text() for text in axes.texts]
    assert np.isnan(course(axes)[1]).sum() == 1  # the known part does not bridge it
    for other in (figure.axes[0], figure.axes[2], figure.axes[3]):
        assert "?" not in [text.get_text() for text in other.texts]


def test_swings_are_drawn_and_a_log_keeps_its_highs_and_lows(figure):
    _, swung = course(figure.axes[2])
    assert np.nanmax(swung) == pytest.approx(650.0) and np.any(np.abs(swung - 610.0) < 0.5)
    x, y = course(figure.axes[3])
    assert x.size <= 1300 and (y.min(), y.max()) == (LOGGED.temperatures_c.min(), LOGGED.temperatures_c.max())
    assert np.all(np.diff(x) >= 0.0)


def test_samples_of_one_schedule_share_a_panel():
    same = Schedule((Step(210, 48, 25), Step(650, 100, 50)))
    found = reacted({"a": RAMPED, "b": UNKNOWN, "c": same, "d": None}, {"a": "heron", "b": "heron", "c": "curlew"})
    assert [(one.history, one.lots, one.samples) for one in found] == [
        (UNKNOWN, ("heron",), 1), (RAMPED, ("heron", "curlew"), 2),
    ]  # fmt: skip


@pytest.mark.parametrize("size", EVERY_SIZE)
def test_names_have_room_whatever_they_are(size):
    long = Schedule(tuple(Step(300.0 + 50.0 * k, 10.0 + k) for k in range(7)))
    hostile = Reacted(long, ("$x$ <b>" * 9,), 3)
    assert troubles(schedule_figure([*ALL, hostile], title="$a$ & $b$ " * 12, size=size)) == []
    assert troubles(schedule_figure([hostile], size=size)) == []


@pytest.mark.slow
def test_of_many_so_many_are_shown_and_it_is_said():
    many = [Reacted(Schedule((Step(500.0 + k, 50, 50),)), (), 1) for k in range(200)]
    figure = schedule_figure(many)
    assert len(figure.axes) == most_shown(SIZES["screen"])
    assert f"{len(figure.axes)} of 200 schedules" in " ".join(text.get_text() for text in figure.texts)
    assert evenly(many, 3) == [many[0], many[100], many[199]]
    with pytest.raises(StudyError, match="no heat treatment"):
        schedule_figure([])
