"""Show me: figures of a fitted pattern, of trends over treatments, and of differences.

`fit_figure` shows a pattern and its explanation, `patterns_figure` all of a study, `order_lines_figure`,
`lattice_figure` and `width_figure` what single lines say. `trend_figure` shows order, tin, sizes, amounts, Tc and Bc2
against the reaction temperature, time or dose, `difference_figure` the same as differences to a reference sample of
each lot.
`difference_rows` and `difference_courses` show differences between variants and which are more than chance.
`bc2_figure`, `current_figure` and `section_figure` go on to field, temperature and strain, `trade_figure` shows what a
higher Bc2 pays for; `planning_figure` shows where to react next. `schedule_figure` shows what the furnace did,
`budget_figure` what uncertainties are made of, `by_relation_figure` what the choice of a published relation does. Each
takes results and gives a matplotlib `Figure`; nothing is saved here and no global state of matplotlib is read or
changed.
`palette` holds all colours.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from xrdorder.figures.bc2_grain_size import trade_figure
    from xrdorder.figures.budget import budget_figure
    from xrdorder.figures.by_relation import by_relation_figure
    from xrdorder.figures.close_ups import CloseUp
    from xrdorder.figures.comparison import difference_courses, difference_rows
    from xrdorder.figures.estimate import estimate_figure
    from xrdorder.figures.fit import fit_figure
    from xrdorder.figures.in_field import bc2_figure, current_figure, section_figure
    from xrdorder.figures.line_by_line import lattice_figure, width_figure
    from xrdorder.figures.order_lines import order_lines_figure
    from xrdorder.figures.patterns import patterns_figure
    from xrdorder.figures.planning import planning_figure
    from xrdorder.figures.schedules import schedule_figure
    from xrdorder.figures.trends import DIFFERENCES, TRENDS, difference_figure, trend_figure

_HOME = {
    "budget_figure": "budget",
    "by_relation_figure": "by_relation",
    "schedule_figure": "schedules",
    "trade_figure": "bc2_grain_size",
    "difference_courses": "comparison",
    "difference_rows": "comparison",
    "bc2_figure": "in_field",
    "current_figure": "in_field",
    "section_figure": "in_field",
    "CloseUp": "close_ups",
    "estimate_figure": "estimate",
    "fit_figure": "fit",
    "lattice_figure": "line_by_line",
    "order_lines_figure": "order_lines",
    "patterns_figure": "patterns",
    "planning_figure": "planning",
    "width_figure": "line_by_line",
    "DIFFERENCES": "trends",
    "TRENDS": "trends",
    "difference_figure": "trends",
    "trend_figure": "trends",
}

__all__ = [
    "DIFFERENCES",
    "TRENDS",
    "CloseUp",
    "bc2_figure",
    "budget_figure",
    "by_relation_figure",
    "current_figure",
    "difference_courses",
    "difference_figure",
    "difference_rows",
    "estimate_figure",
    "fit_figure",
    "lattice_figure",
    "order_lines_figure",
    "patterns_figure",
    "planning_figure",
    "schedule_figure",
    "section_figure",
    "trade_figure",
    "trend_figure",
    "width_figure",
]


def __getattr__(name: str) -> Any:
    """Import the module that owns `name` the first time: matplotlib takes a third of a second."""
    if name in _HOME:
        return getattr(import_module(f"xrdorder.figures.{_HOME[name]}"), name)
    raise AttributeError(f"module 'xrdorder.figures' has no attribute '{name}'")
