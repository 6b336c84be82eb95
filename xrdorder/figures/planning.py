"""Where to look next: a map of what is maximised over temperature and time, one panel a plan.

A map shows what the process expects, as difference to the best treatment so far; shades only where a measured
difference stands behind it. The outlined band lies within 1 % of the optimum; filled marks are treatments that were
reacted, with their difference and its standard uncertainty; the ring is the best so far, numbered squares are those
suggested. Hatched: not allowed by the copper or by a limit that was set.
"""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator
from numpy.typing import NDArray

from xrdorder.drawing.layout import (
    BAR,
    BLOCK,
    LINE,
    SCREEN,
    STRONG,
    THIN,
    Margins,
    Size,
    few_ticks,
    font,
    grid,
    style,
    write,
)
from xrdorder.drawing.palette import CLAY, GARNET, INK, LAGOON, PAPER, SLATE, STRAW, TEXT
from xrdorder.drawing.parts import name_levels
from xrdorder.drawing.text import NORMAL, SMALL, typeset, width_in, wrapped_in
from xrdorder.planning.planner import Plan
from xrdorder.planning.study import LotPlan
from xrdorder.quantities.formatting import rounded, with_sign
from xrdorder.treatments import History

Array = NDArray[np.float64]

_PANEL_IN, _BAR_IN = 3.0, 0.10
_ROOM = Margins(left=0.62, right=0.72, bottom=0.5, across=1.15, down=0.85, above=0.38)
_HOURS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
_MOST_LABELLED = 9
_LABEL = 0.055
"""Between a mark and its label, and least between labels, in parts of the panel."""
_RISING = LinearSegmentedColormap.from_list("rising", [INK, LAGOON, STRAW, PAPER])
"""Dark to light throughout, so that grey print keeps the order."""


def planning_figure(lot_plan: LotPlan, *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the maps.

    Parameters
    ----------
    lot_plan : LotPlan
    title : str
    size : Size
    """
    first = lot_plan.plans[0]
    remark = (
        f"Lot {lot_plan.lot or 'without a name'} {lot_plan.conditions.words()}. Difference to "
        f"{lot_plan.label(first.treatments[first.best])} in {first.objective.unit} by the process. Filled: reacted, "
        "with difference ± standard uncertainty; ring: best so far; squares: suggested, in order; "
        "outlined: within 1 % of the optimum; hatched: not allowed. Places to look, no instruction to run a furnace."
    )
    figure, panels = grid(
        size, len(lot_plan.plans), _PANEL_IN, title=title or "Treatments to react next", remark=remark, margins=_ROOM
    )
    for k, axes in enumerate(panels):
        box = axes.get_position()
        bar = figure.add_axes((box.x1 + 0.08 / size.width_in, box.y0, _BAR_IN / size.width_in, box.height))
        _map(axes, bar, lot_plan, k)
    return figure


def _map(axes: Axes, bar: Axes, lot_plan: LotPlan, k: int) -> None:
    plan = lot_plan.plans[k]
    style(axes, x_label="temperature of the last hold (°C)", y_label="last hold (h)", open_frame=False)
    axes.set_yscale("log")
    at = [(treatment.peak_c, max(treatment.hold_at_peak_h, 0.1)) for treatment in plan.treatments]
    new = [(proposal.schedule.peak_c, proposal.schedule.hold_at_peak_h) for proposal in plan.proposals]
    every = np.array([*at, *new, *zip(plan.candidates.temperature_c, plan.candidates.hours, strict=True)])
    (low, short), (high, long) = every.min(axis=0), every.max(axis=0)
    axes.set_xlim(low - 0.06 * (high - low) - 2.0, high + 0.06 * (high - low) + 2.0)
    room = max((long / short) ** 0.08, 1.1)
    axes.set_ylim(short / room, long * room)
    axes.yaxis.set_major_locator(FixedLocator([x for x in _HOURS if short / room <= x <= long * room]))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    few_ticks(axes)
    wide = axes.get_window_extent().width / axes.figure.get_dpi()
    state = "" if plan.differ else ": by growth, no measured difference"
    axes.set_title(
        typeset("\n".join(wrapped_in(f"{lot_plan.noun(k)}{state}", wide))), **font(NORMAL), loc="left", pad=5
    )
    if len(plan.candidates.hours) > 3:
        lines = _surface(axes, bar, plan)
    else:
        lines = None
        bar.set_axis_off()
    axes.plot(*zip(*at, strict=True), "o", color=TEXT, markeredgecolor=PAPER, markeredgewidth=LINE, markersize=5.5,
              zorder=4)  # fmt: skip
    for colour, thick in ((PAPER, BLOCK), (GARNET, STRONG)):
        axes.plot(*at[plan.best], "o", markerfacecolor="none", markeredgecolor=colour, markeredgewidth=thick,
                  markersize=12.0, zorder=5)  # fmt: skip
    for place in new:
        axes.plot(*place, "s", color=PAPER, markeredgecolor=TEXT, markeredgewidth=LINE, markersize=6.0, zorder=6)
    _labels(axes, plan)
    if lines is not None:
        name_levels(axes, lines, lambda x: f"{with_sign(x, 'g')} {plan.objective.unit}")


def _labels(axes: Axes, plan: Plan) -> None:
    """Number suggestions and tell the difference of reacted treatments; near labels stand below each other."""
    factor, means = plan.objective.factor, plan.objective.gained(plan.gains.mean(axis=0))
    texts: list[tuple[History, str]] = [
        (proposal.schedule, str(n)) for n, proposal in enumerate(plan.proposals, start=1)
    ]
    ahead = np.argsort(-means)[:_MOST_LABELLED]
    texts += [
        (plan.treatments[j], rounded(factor * means[j], factor * plan.gains[:, j].std(), signed=True))
        for j in ahead if j != plan.best
    ]  # fmt: skip
    (low, high), (short, long) = axes.get_xlim(), np.log(axes.get_ylim())
    wide_in = axes.get_window_extent().width / axes.figure.get_dpi()
    drawn = [*plan.treatments, *(proposal.schedule for proposal in plan.proposals)]
    at = [(draws.peak_c, max(draws.hold_at_peak_h, 0.1)) for draws in drawn]
    taken = [((t - low) / (high - low), (np.log(h) - short) / (long - short)) for t, h in at]  # marks
    half = {text: 0.5 * width_in(text, SMALL) / wide_in + 0.01 for _, text in texts}
    widths = [0.03] * len(taken)
    for label, text in texts:
        hours = max(label.hold_at_peak_h, 0.1)
        x, y = (label.peak_c - low) / (high - low), (np.log(hours) - short) / (long - short)
        x, down, row = min(max(x, half[text]), 1.0 - half[text]), -1.0 if y > 0.5 else 1.0, 1
        while any(
            abs(x - a) < half[text] + w and abs(y + down * _LABEL * row - b) < 0.9 * _LABEL
            for (a, b), w in zip(taken, widths, strict=True)
        ):
            row += 1
        taken.append((x, y + down * _LABEL * row))
        widths.append(half[text])
        write(
            axes, text, taken[-1], SMALL, on="frame", ha="center", va="center", zorder=7,
            bbox={"boxstyle": "round,pad=0.1", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.85},
            weight="bold" if len(text) < 3 else "normal",
        )  # fmt: skip


def _surface(axes: Axes, bar: Axes, plan: Plan) -> ContourSet | None:
    """Draw the expected difference, outline what is as good as the optimum, hatch what is not allowed.

    Gives lines that have no names yet, where there are no shades to say what they mean.
    """
    (temperatures, i), (hours, j) = (
        np.unique(axis, return_inverse=True) for axis in (plan.candidates.temperature_c, plan.candidates.hours)
    )

    def laid(values: Array) -> Array:
        laid_out = np.full((len(hours), len(temperatures)), np.nan)
        laid_out[j, i] = values
        return laid_out

    if min(len(hours), len(temperatures)) < 2:
        bar.set_axis_off()
        return None
    lines = _heights(axes, bar, temperatures, hours, laid(plan.objective.factor * plan.rises), plan)
    good = plan.as_good
    if good.any() and not good.all():
        for colour, thick in ((PAPER, BAR), (GARNET, STRONG)):
            axes.contour(temperatures, hours, laid(good.astype(float)), [0.5], colors=[colour], linewidths=thick,
                         zorder=2)  # fmt: skip
    if not plan.allowed.all():
        keeps = laid(plan.allowed.astype(float))
        hatch = axes.contourf(temperatures, hours, keeps, [-0.1, 0.5], colors="none", hatches=["////"], zorder=1.2)
        hatch.set_edgecolor(CLAY)
        hatch.set_linewidth(0.0)
    return lines


def _heights(
    axes: Axes, bar: Axes, temperatures: Array, hours: Array, heights: Array, plan: Plan
) -> ContourSet | None:
    """Contours of the expected difference; shaded only where a measured difference stands behind it."""
    low, high = float(np.nanmin(heights)), float(np.nanmax(heights))
    lines = axes.contour(temperatures, hours, heights, MaxNLocator(6).tick_values(low, high), colors=[SLATE],
                         linewidths=THIN, zorder=1.0)  # fmt: skip
    if not plan.differ:
        bar.set_axis_off()
        return lines
    middle, half = 0.5 * (low + high), max(0.5 * (high - low), 0.5 if plan.objective.relative else 0.02)
    levels = np.linspace(middle - half, middle + half, 25)
    shown = axes.contourf(
        temperatures, hours, heights, levels, cmap=_RISING, norm=Normalize(levels[0], levels[-1]), zorder=0.5
    )
    key = axes.figure.colorbar(shown, cax=bar)
    key.outline.set_linewidth(THIN)
    key.set_ticks([x for x in MaxNLocator(5).tick_values(levels[0], levels[-1]) if levels[0] <= x <= levels[-1]])
    bar.tick_params(labelsize=SMALL, labelcolor=TEXT, width=THIN, length=2.5, color=SLATE)
    # below: beside it long numbers would push it into the next panel
    bar.set_xlabel(plan.objective.unit, **font(SMALL), labelpad=3)
    return None
