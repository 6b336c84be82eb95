"""The line that names a schedule is read back; what is no such line is refused."""

import pytest

from xrdorder.exceptions import StudyError
from xrdorder.treatments import Repeat, Schedule, Step, looks_like_holds, schedule_of_holds


@pytest.mark.parametrize(
    "schedule",
    [
        Schedule((Step(650, 100),)),
        Schedule((Step(210, 48), Step(400.5, 48), Step(665, 75.25))),
        Schedule((Step(210, 48), Repeat(3, (Step(650, 10), Repeat(2, (Step(600, 5), Step(590, 1))))), Step(620, 1))),
    ],
)
def test_the_name_of_a_schedule_is_the_schedule(schedule):
    assert looks_like_holds(schedule.short_name)
    assert schedule_of_holds(schedule.short_name) == schedule


@pytest.mark.parametrize("text", ["650/100", "650 C/100 h", "650°C / 100h", " 650/100 "])
def test_units_and_spaces_may_be_left_out(text):
    assert looks_like_holds(text)
    assert schedule_of_holds(text) == Schedule((Step(650, 100),))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("650/100 +", "is no hold"),
        ("650/", "'650/' is no hold; give °C over hours"),
        ("2×(650/10", "is no hold"),
        ("650/0", "'650/0' is a hold of no hours"),
        ("650±5/10", "does not tell the period"),
        ("0×(650/10)", "repeat: 0 is no number of times"),
        ("3000/10", "hold_c: 3000 °C is not a furnace temperature"),
    ],
)
def test_lines_that_name_no_schedule(text, message):
    assert looks_like_holds(text)
    with pytest.raises(StudyError, match=message.replace("(", r"\(").replace("×", ".")):
        schedule_of_holds(text)


@pytest.mark.parametrize("text", ["A", "logs/2026-03-14.csv", "650", "A/1"])
def test_names_and_paths_are_no_holds(text):
    assert not looks_like_holds(text)
