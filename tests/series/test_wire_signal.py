"""Steps of made signals: where they were put, as large as they were, and none where there is none."""

import numpy as np
import pytest

from xrdorder.exceptions import StudyError
from xrdorder.series.events import Onset, Period
from xrdorder.series.wire_signal import ALPHA, matched, read_signal, steps

HOURS = np.linspace(0.0, 6.0, 361)
CELSIUS = np.interp(HOURS, [0.0, 2.0, 6.0], [200.0, 650.0, 650.0])  # a ramp that bends into a hold
NOISE = 0.002


def signal(seed, *changes):
    """Resistance that follows the temperature, with steps (time, size)."""
    course = 1.0 + 2e-3 * CELSIUS + sum((size * (time <= HOURS) for time, size in changes), np.zeros_like(HOURS))
    return course + np.random.default_rng(seed).normal(0.0, NOISE, len(HOURS))


def test_steps_are_found_where_they_were_put():
    found = steps(HOURS, CELSIUS, signal(1, (1.0, 0.05), (3.5, -0.02)))
    assert [one.matched for one in found] == ["", ""]
    for one, (time, size) in zip(found, ((1.0, 0.05), (3.5, -0.02)), strict=True):
        assert abs(one.time_h - time) < 3.0 * one.u_h
        assert one.u_h < 0.05
        assert abs(one.change - size) < 3.0 * one.u_change
        assert one.temperature_c == pytest.approx(np.interp(time, HOURS, CELSIUS), abs=5.0)


@pytest.mark.slow
def test_a_log_without_steps_shows_none():
    """Where the ramp ends the signal bends with the temperature; false alarms are as rare as stated."""
    logs = 40
    alarms = sum(len(steps(HOURS, CELSIUS, signal(seed))) > 0 for seed in range(logs))
    assert alarms <= logs * ALPHA + 3.0 * np.sqrt(logs * ALPHA)  # three standard deviations of the binomial


def test_exact_courses_have_no_steps_but_their_own():
    assert steps(HOURS, CELSIUS, np.full(len(HOURS), 3.0)) == ()
    (one,) = steps(HOURS, CELSIUS, np.where(HOURS < 3.0, 1.0, 2.0))
    assert one.change == pytest.approx(1.0, rel=1e-6)
    assert abs(one.time_h - 3.0) < 3.0 * one.u_h
    assert steps(HOURS[:30], CELSIUS[:30], signal(1)[:30]) == ()  # too short to tell


def test_steps_are_matched_to_what_the_pattern_shows():
    found = steps(HOURS, CELSIUS, signal(1, (1.0, 0.05), (3.5, -0.02), (5.0, 0.03)))
    hours = np.linspace(0.0, 6.0, 121)
    spans = {"nb3sn": [Period(1.1, 6.0)], "cu-sn": [Period(0.0, 3.45)]}
    told = matched(found, Onset(1.02, 0.03, 425.0, 1.0), spans, "nb3sn", hours)
    assert [one.matched for one in told] == ["nb3sn appears", "cu-sn disappears", ""]


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        ("resistance_mohm", "resistance", "mΩ"), ("R (mΩ)", "resistance", "mΩ"), ("R [Ohm]", "resistance", "Ω"),
        ("voltage_uv", "voltage", "µV"), ("U [µV]", "voltage", "µV"), ("wire_voltage_mV", "voltage", "mV"),
    ],
)  # fmt: skip
def test_columns_are_recognised(tmp_path, heading, name, unit):
    path = tmp_path / "log.csv"
    path.write_text(f"time_h,temperature_c,{heading},pressure_mbar\n0,20,1.5,1\n1,650,2.5,1\n", encoding="utf-8")
    found = read_signal(path)
    assert (found.name, found.unit, list(found.values)) == (name, unit, [1.5, 2.5])
    assert read_signal(path, heading).unit == unit


def test_a_log_without_a_signal_or_with_two(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time_h,temperature_c,pressure_mbar\n0,20,1\n1,650,1\n")
    assert read_signal(path) is None
    with pytest.raises(StudyError, match=r"'pressure_mbar' is no resistance.*there are: time_h"):
        read_signal(path, "pressure_mbar")
    path.write_text("time_h,temperature_c,voltage_uv,resistance_ohm\n0,20,1,2\n1,650,1,2\n")
    with pytest.raises(StudyError, match="name one with --signal"):
        read_signal(path)
    assert read_signal(path, "resistance_ohm").name == "resistance"
