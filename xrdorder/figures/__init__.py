"""Show me: figures of a fitted pattern, of trends over treatments, and of differences.

`fit_figure` shows a pattern and its explanation, `patterns_figure` all of a study, `order_lines_figure`,
`extrapolation_figure` and `williamson_hall_figure` what single lines say, `resolution_figure` how wide the instrument
makes them. `trend_figure` shows order, tin, sizes, amounts, Tc and Bc2 against the reaction temperature, time or dose,
`growth_figure` sizes against its inverse, `against_figure` one quantity against another with published samples and
relations. `difference_rows` and `difference_courses` show differences between variants and which are significant.
`bc2_figure`, `current_figure`, `layer_current_figure` and `section_figure` go on to field, temperature and strain,
`kramer_figure` shows measured currents, `trade_figure` what a higher Bc2 pays for, `planning_figure` where to react
next, `schedule_figure` what the furnace did, `budget_figure` what uncertainties are made of, `by_relation_figure` what
the choice of a published relation does. Each takes results and gives a matplotlib `Figure`; nothing is saved here and
no global state of matplotlib is read or changed. `palette` holds all colours, `layout` all widths of lines.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from xrdorder.figures.against import against_figure
    from xrdorder.figures.bc2_grain_size import trade_figure
    from xrdorder.figures.budget import budget_figure
    from xrdorder.figures.by_relation import by_relation_figure, estimate_figure
    from xrdorder.figures.close_ups import CloseUp
    from xrdorder.figures.comparison import difference_courses, difference_rows
    from xrdorder.figures.fit import fit_figure
    from xrdorder.figures.growth import growth_figure
    from xrdorder.figures.in_field import bc2_figure, current_figure, layer_current_figure, section_figure
    from xrdorder.figures.kramer import kramer_figure
    from xrdorder.figures.line_by_line import extrapolation_figure, williamson_hall_figure
    from xrdorder.figures.order_lines import order_lines_figure
    from xrdorder.figures.patterns import patterns_figure
    from xrdorder.figures.planning import planning_figure
    from xrdorder.figures.resolution import resolution_figure
    from xrdorder.figures.schedules import schedule_figure
    from xrdorder.figures.trends import TRENDS, trend_figure

_NAMES = {
    "against": ("against_figure",), "bc2_grain_size": ("trade_figure",), "budget": ("budget_figure",),
    "by_relation": ("by_relation_figure", "estimate_figure"), "close_ups": ("CloseUp",),
    "comparison": ("difference_courses", "difference_rows"), "fit": ("fit_figure",),
    "growth": ("growth_figure",),
    "in_field": ("bc2_figure", "current_figure", "layer_current_figure", "section_figure"),
    "kramer": ("kramer_figure",), "line_by_line": ("extrapolation_figure", "williamson_hall_figure"),
    "order_lines": ("order_lines_figure",), "patterns": ("patterns_figure",), "planning": ("planning_figure",),
    "resolution": ("resolution_figure",), "schedules": ("schedule_figure",),
    "series": ("series_figure",), "trends": ("TRENDS", "trend_figure"),
}  # fmt: skip
_HOME = {name: module for module, names in _NAMES.items() for name in names}

__all__ = [
    "TRENDS", "CloseUp", "against_figure", "bc2_figure", "budget_figure", "by_relation_figure", "current_figure",
    "difference_courses", "difference_rows", "estimate_figure", "extrapolation_figure", "fit_figure", "growth_figure",
    "kramer_figure", "layer_current_figure", "order_lines_figure", "patterns_figure", "planning_figure",
    "resolution_figure", "schedule_figure", "section_figure",
    "series_figure", "trade_figure", "trend_figure", "williamson_hall_figure",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Import the module that owns `name` the first time: matplotlib takes a third of a second."""
    if name in _HOME:
        return getattr(import_module(f"xrdorder.figures.{_HOME[name]}"), name)
    raise AttributeError(f"module 'xrdorder.figures' has no attribute '{name}'")
