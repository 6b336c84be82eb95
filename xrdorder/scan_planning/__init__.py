"""How should be measured? Counting time, 2 theta ranges, radiation, and number of wires, before the measurement.

`prospect` puts specimen and instrument together, from a description or from a quick scan; `forecast` says what a scan
of some length will tell, and what no scan of it will; `allocation` where to count; `radiation_choice` with which
radiation; `power` and `wires_plan` how many wires it takes to see a difference.

All of it is Fisher's information of the model that fits use, at its minimum: the fit reaches that bound
(tests/recovery), so the bound is the plan.
"""

from xrdorder.scan_planning.forecast import Course, Forecast, forecast
from xrdorder.scan_planning.prospect import Prospect

__all__ = ["Course", "Forecast", "Prospect", "forecast"]
