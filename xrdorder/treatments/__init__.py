"""What was done to the wire: heat treatments as furnaces run them, and what they amount to.

Two kinds of `History`, a temperature as a function of time:

* `Schedule`, ramps and holds as on a furnace sheet, with repeated blocks (`Repeat`) and holds that swing about
  their temperature; `read_schedule` makes one from plain tables and tells all that is wrong with them at once,
  `schedule_of_holds` one from the line that names it;
* `LoggedTreatment`, a logged table of time and temperature; `read_log` reads one from a CSV file.

Both give the set point of the hottest hold and the extreme, time above a temperature, thermal dose and its interval,
and a short name. Outside, temperatures are in °C and times in hours, as on a furnace sheet; `History.temperature_at`
and the break points are in kelvin and seconds, as in formulas. The schedule below is one published in
arXiv:2302.07825.

>>> schedule = Schedule((Step(210, 48, 25), Step(400, 48, 50), Step(665, 75, 50)))
>>> schedule.short_name
'210/48 + 400/48 + 665/75 h'
>>> schedule.peak_c, schedule.hold_at_peak_h, schedule.total_h
(665.0, 75.0, 187.5)

A furnace at several hundred degrees, and what a wire gives off in it, can hurt: numbers from here are no
instruction to run one. The rules of the laboratory come first.
"""

from xrdorder.treatments.dose import Dose
from xrdorder.treatments.history import (
    GAS_CONSTANT,
    MELTING_NB3SN_C,
    SECONDS_PER_HOUR,
    ZERO_CELSIUS_K,
    History,
)
from xrdorder.treatments.kelvin import kelvin_words
from xrdorder.treatments.logged import LoggedTreatment, read_log
from xrdorder.treatments.schedule import Repeat, Schedule, Step
from xrdorder.treatments.short_form import looks_like_holds, schedule_of_holds
from xrdorder.treatments.steps import read_schedule

__all__ = [
    "GAS_CONSTANT",
    "MELTING_NB3SN_C",
    "SECONDS_PER_HOUR",
    "ZERO_CELSIUS_K",
    "Dose",
    "History",
    "LoggedTreatment",
    "Repeat",
    "Schedule",
    "Step",
    "kelvin_words",
    "looks_like_holds",
    "read_log",
    "read_schedule",
    "schedule_of_holds",
]
