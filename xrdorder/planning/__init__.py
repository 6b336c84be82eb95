"""What to react next? Response surfaces over furnace schedules, the best treatment so far, proposals.

* `Furnace` holds the limits, `Space` the variables;
* `plan` takes measured `xrdorder.comparison.Values` and their treatments: the best so far and how sure, the
  next one to three treatments and what each would tell; `plan_words` says it;
* `front` is between two plans: treatments that nothing beats in both quantities;
* `HoldBound` and `measured_limit` are constraints;
* `plan_lot` does all of it for one lot of a study: currents at operating fields, Bc2, Tc, grains, the front.

What is proposed is a place to look, computed from estimates: no instruction to run a furnace, and no ground to build
a magnet on. Rules of the laboratory and of the furnace come first.
"""

from xrdorder.planning.constraints import Constraint, HoldBound, MeasuredLimit, measured_limit
from xrdorder.planning.furnace import Furnace, Space
from xrdorder.planning.pareto import Front, front
from xrdorder.planning.planner import Best, Plan, Proposal, equal_by_chance, plan, plan_words
from xrdorder.planning.responses import Response
from xrdorder.planning.study import Limits, LotPlan, plan_lot

__all__ = [
    "Best",
    "Constraint",
    "Front",
    "Furnace",
    "HoldBound",
    "Limits",
    "LotPlan",
    "MeasuredLimit",
    "Plan",
    "Proposal",
    "Response",
    "Space",
    "equal_by_chance",
    "front",
    "measured_limit",
    "plan",
    "plan_lot",
    "plan_words",
]
