"""Logged tables and tables of steps: what is read, and how what is wrong is told."""

import numpy as np
import pytest

from xrdorder.exceptions import StudyError
from xrdorder.treatments import LoggedTreatment, Schedule, Step, read_log, read_schedule

GOOD = "time_h,temperature_c\n0,25\n12.5,650\n112.5,651\n"


def log(tmp_path, text, encoding="utf-8"):
    file = tmp_path / "furnace.csv"
    file.write_bytes(text.encode(encoding))
    return file


@pytest.mark.parametrize(
    "text",
    [
        GOOD,
        "\ufeff" + GOOD,
        "# furnace 3\n\n" + GOOD.replace("\n", "\r\n"),
        "Time (s);T [°C]\n0;25\n45000;650,0\n405000;651,0\n",
        "t/h\tT/°C\n0\t25\n12,5\t650\n112.5\t651\n",
        "time_h,setpoint_c,temperature_c\n0,20,25\n12.5,650,650\n112.5,650,651\n",
        '"time_h","temperature_c"\n"0","25"\n"12.5","650"\n"112.5","651"\n',
    ],
)
def test_tables_that_mean_the_same(tmp_path, text):
    found = read_log(log(tmp_path, text))
    np.testing.assert_allclose(found.hours, [0, 12.5, 112.5])
    np.testing.assert_allclose(found.temperatures_c, [25, 650, 651])
    assert found.total_h == 112.5
    assert (found.peak_c, found.highest_c) == (650.0, pytest.approx(651.0))
    assert found.short_name == "log to 650 °C/100 h"


def test_old_loggers_write_latin_1(tmp_path):
    assert read_log(log(tmp_path, "t/h;T/°C\n0;25\n1;650\n", "latin-1")).highest_c == pytest.approx(650)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("time_h,temperature_c\n", "at least two"),
        ("time_h,temperature_c\n0,25\n0,30\n", "line 3: time must rise, but 0 h comes after 0 h"),
        ("# x\ntime_h,temperature_c\n\n0,25\n2,30\n1,31\n", "line 6: time must rise, but 1 h comes after 2 h"),
        ("time_s,temperature_c\n0,25\n1,-280\n", "line 3: -280 °C is below absolute zero"),
        ("time_s,temperature_c\n0,25\n1,2500\n", "line 3: 2500 °C is above the melting"),
        ("time_s,temperature_c\n0,25\n1,nan\n", "line 3: nan °C"),
        ("time_s,temperature_c\nnan,25\n1,30\n", "line 2: time must rise, but nan s is no time"),
        ("time_h,temperature_c\n0,25\n1,900 K\n", "line 3: '900 K' under 'temperature_c' has a unit of its own"),
        ("time_h,temperature_c\n0,25\n60 min,30\n", "line 3: '60 min' under 'time_h' has a unit"),
        ("time_h,temperature_c\n0,25\n1,cold\n", "line 3: 'cold' under 'temperature_c' is no number"),
        ("time_h,temperature_c\n0,25\n1\n", "line 3: has nothing under 'temperature_c'"),
        ("time_h,time_s,temperature_c\n0,0,25\n1,3600,30\n", "line 1: 'time_h' and 'time_s' are both columns of time"),
        ("time_min,temperature_c\n0,25\n1,30\n", "line 1: column 'time_min': time must be in h or s"),
        ("time_h,temperature_k\n0,300\n1,900\n", "line 1: column 'temperature_k': temperature must be in °C"),
        ("time,temperature_c\n0,25\n1,30\n", "line 1: column 'time': time must be in h or s"),
        ("0,25\n1,30\n", "line 1: has no column of time"),
        ("time_h,pressure\n0,25\n1,30\n", "line 1: has no column of temperature"),
    ],
)
def test_what_is_wrong_is_told_in_one_line(tmp_path, text, message):
    file = log(tmp_path, text)
    with pytest.raises(StudyError) as caught:
        read_log(file)
    assert str(caught.value).startswith(f"{file}: ")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_log_that_is_not_there(tmp_path):
    with pytest.raises(StudyError, match="No such file"):
        read_log(tmp_path / "none.csv")


def test_logs_from_arrays_are_checked_too():
    with pytest.raises(StudyError, match="entry 3: time must rise"):
        LoggedTreatment(np.array([0.0, 1.0, 1.0]), np.array([20.0, 30.0, 40.0]))
    with pytest.raises(StudyError, match="as many temperatures"):
        LoggedTreatment(np.array([0.0, 1.0]), np.array([20.0]))
    one = LoggedTreatment(np.array([0.0, 1.0]), np.array([20.0, 30.0]))
    assert one == LoggedTreatment(np.array([0.0, 1.0]), np.array([20.0, 30.0]))
    assert one != LoggedTreatment(np.array([0.0, 1.0]), np.array([20.0, 31.0]))


def test_tables_of_steps_make_schedules():
    found, problems = read_schedule(
        [
            {"hold_c": 210, "hours": 48, "ramp_k_per_h": 25},
            {"hold_c": 650, "hours": 50, "amplitude_k": 5, "period_h": 2},
        ]
    )
    assert problems == []
    assert found == Schedule((Step(210, 48, 25), Step(650, 50, None, 5, 2)))


def test_all_problems_are_told_at_once_with_their_places():
    found, problems = read_schedule(
        [
            {"hold_c": -300, "hours": -1},
            {"repeat": 1.5, "steps": [{"hold_c": 650, "hours": "long"}, {"hold_c": 600, "hours": 1, "ramp": 5}]},
            {"hours": 3, "ramp_k_per_h": 0},
            {"repeat": 2, "steps": []},
            {"hold_c": 600, "hours": 1, "amplitude_k": 5},
            7,
        ]
    )
    assert found is None
    assert [location for location, _ in problems] == [
        (0, "hold_c"),
        (0, "hours"),
        (1, "repeat"),
        (1, "steps", 0, "hours"),
        (1, "steps", 1, "ramp"),
        (2, "hold_c"),
        (2, "ramp_k_per_h"),
        (3, "steps"),
        (4, "period_h"),
        (5,),
    ]


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        ([], "has no step"),
        ([{"repeat": 2, "steps": 5}], "no list of steps"),
        ([{"hold_c": 650, "hours": 10}, {"hold_c": 650, "hours": 0, "ramp_k_per_h": 5}], "leads nowhere"),
        ([{"repeat": 1000, "steps": [{"repeat": 1000, "steps": [{"hold_c": 6, "hours": 1}]}]}], "1000000 steps"),
        ([{"hold_c": float("nan"), "hours": 1}], "nan °C"),
        ([{"hold_c": 650, "hours": True}], "True is not a number; give the length of the hold"),
        ([{"hold_c": 650, "hours": 0}], "a hold of no hours at 650 °C, and no ramp"),
    ],
)
def test_schedules_that_are_none(tables, message):
    found, problems = read_schedule(tables)
    assert found is None
    assert any(message in complaint for _, complaint in problems), problems


def test_blocks_without_end_are_refused():
    table = {"hold_c": 650, "hours": 1}
    for _ in range(12):
        table = {"repeat": 1, "steps": [table]}
    assert "deep" in read_schedule([table])[1][0][1]
    assert read_schedule([{"hold_c": 650, "hours": 1}], start_c=-400)[1][0][0] == ("start_c",)
