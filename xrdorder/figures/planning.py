"""Where to look next: a map of each current over temperature and time, and the front between Bc2 and grains.

A map shows what the response surface expects, as difference to the treatment that others are compared with, over the
temperature and the length of the last hold; contours of its doubt would hide it, so doubt stands in the table. Filled
marks are treatments that were reacted, the ring is the best so far, numbered squares are those suggested, the best
suggestion first. Where wires do not differ by more than chance the map says so. What letters and numbers stand for is
told beside the front, in the empty quarter where there is one, by what tells the treatments apart.
"""

import math
import re
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator
from numpy.typing import NDArray

from xrdorder.drawing.layout import SCREEN, Margins, Size, few_ticks, font, grid, minor_ticks, style
from xrdorder.drawing.palette import CLAY, FOG, GARNET, INK, LAGOON, MIST, PAPER, SLATE, STRAW, TEXT
from xrdorder.drawing.text import NORMAL, POINTS_PER_IN, SMALL, fitted, plain, width_in, wrapped_in
from xrdorder.planning import LotPlan, Plan, Response
from xrdorder.planning.constraints import allowed
from xrdorder.planning.treatments_table import basis, reference

Array = NDArray[np.float64]

_PANEL_IN, _BAR_IN = 3.0, 0.10
_ROOM = Margins(left=0.62, right=0.72, bottom=0.5, across=1.15, down=0.85, above=0.38)
_KEY_IN = 0.5
_GRID = 50
_LETTER_PT = 9.0
_LETTERS = "abcdefghijkl"
_LINE_IN, _KEY_AT, _QUARTER_AT = 1.5 * SMALL / POINTS_PER_IN, 0.12, 0.3
"""Height of a line of the key, and how far right of the front, or of the left edge of the quarter, it begins."""
_HOURS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
_ROW = 0.055
"""Between a mark and its number, and between numbers, in parts of the panel."""
_RISING = LinearSegmentedColormap.from_list("rising", [INK, LAGOON, STRAW, PAPER])
"""Dark to light throughout, so that grey print keeps the order."""


def planning_figure(found: LotPlan, *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the maps of the currents and the front.

    Parameters
    ----------
    found : LotPlan
    title : str
    size : Size
    """
    remark = (
        f"Lot {found.lot or 'without a name'} {found.conditions.words()}. Maps: difference of the response surface to "
        f"{found.label(reference(found))}. Filled: reacted; ring: best so far; squares: suggested, in order; hatched: "
        "constraints probably not kept. Surfaces are drawn towards the mean where wires are noisy. Places to look, not "
        "measurements and no instruction to run a furnace."
    )
    figure, panels = grid(
        size, len(found.currents) + 1, _PANEL_IN, title=title or "Treatments to react next", remark=remark,
        margins=_ROOM,
    )  # fmt: skip
    width = size.width_in
    for axes, one in zip(panels[:-1], found.currents, strict=True):
        box = axes.get_position()
        bar = figure.add_axes((box.x1 + 0.08 / width, box.y0, _BAR_IN / width, box.height))
        _map(axes, bar, found, one)
    box = panels[-1].get_position()
    alone = len(panels) > size.columns > 1 and len(panels) % size.columns == 1
    if alone:
        at = panels[1].get_position().x0 - (_ROOM.left - _QUARTER_AT) / width
    else:
        panels[-1].set_position((box.x0, box.y0, box.width - _KEY_IN / width, box.height))
        at = panels[-1].get_position().x1 + _KEY_AT / width
    _front(panels[-1], found, (at, box.y1), (1.0 - at) * width - 0.05, full=alone)
    return figure


def _map(axes: Axes, bar: Axes, found: LotPlan, one: Response) -> None:
    style(axes, x_label="temperature of the last hold (°C)", y_label="last hold (h)", open_frame=False)
    plan = found.plans.get(one.key)
    axes.set_yscale("log")
    peaks, hours, span = _span(found)
    axes.set_xlim(*span[0])
    axes.set_ylim(*span[1])
    axes.yaxis.set_major_locator(FixedLocator([x for x in _HOURS if span[1][0] <= x <= span[1][1]]))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    few_ticks(axes)
    title = one.noun
    if plan is None or plan.process is None:
        bar.set_axis_off()
        axes.set_facecolor(MIST)
        why = "cannot be compared" if plan is None else "too few treatments for a surface"
        _title(axes, f"{title}: {why}")
    else:
        _surface(axes, bar, found, one, plan)
        if plan.state == "flat":
            title += ": not more than chance"
        elif plan.state == "not allowed":
            title += ": none keeps the constraints"
        _title(axes, title)
    axes.plot(peaks, hours, "o", color=TEXT, markeredgecolor=PAPER, markeredgewidth=0.9, markersize=5.5, zorder=4)
    if plan is None:
        return
    if plan.best is not None:
        at = plan.best.schedule
        for colour, thick in ((PAPER, 3.4), (GARNET, 1.8)):
            axes.plot(
                [at.peak_c], [_hold(at.hold_at_peak_h)], "o", markerfacecolor="none", markeredgecolor=colour,
                markeredgewidth=thick, markersize=12.0, zorder=5,
            )  # fmt: skip
    _number(axes, plan)


def _title(axes: Axes, text: str) -> None:
    """Head a panel, in as many lines as it takes."""
    wide = axes.get_window_extent().width / axes.figure.get_dpi()
    axes.set_title("\n".join(wrapped_in(text, wide)), **font(NORMAL), loc="left", pad=5)


def _number(axes: Axes, plan: Plan) -> None:
    """Mark the suggestions and number them; numbers of near ones stand below each other."""
    (low, high), (short, long) = axes.get_xlim(), np.log(axes.get_ylim())
    places: dict[tuple[float, float], list[int]] = {}
    for k, proposal in enumerate(plan.proposals, start=1):
        at = (proposal.schedule.peak_c, _hold(proposal.schedule.hold_at_peak_h))
        places.setdefault(at, []).append(k)  # those that differ by the ramp alone share a square
    taken: list[tuple[float, float]] = []
    for (x, y), numbers in places.items():
        axes.plot([x], [y], "s", color=PAPER, markeredgecolor=TEXT, markeredgewidth=1.2, markersize=6.0, zorder=6)
        across, up = (x - low) / (high - low), (np.log(y) - short) / (long - short)
        down = -1.0 if up > 0.5 else 1.0
        row = 0
        while any(
            abs(across - one) < 0.06 and abs(up + down * _ROW * (row + 1) - other) < 0.9 * _ROW for one, other in taken
        ):
            row += 1
        taken.append((across, up + down * _ROW * (row + 1)))
        axes.text(
            across, up + down * _ROW * (row + 1), ",".join(map(str, numbers)), transform=axes.transAxes, ha="center",
            va="center", zorder=6, bbox={"boxstyle": "round,pad=0.12", "facecolor": PAPER, "edgecolor": "none"},
            **font(SMALL, weight="bold"),
        )  # fmt: skip


def _hold(hours: float) -> float:
    return max(hours, 0.1)


def _span(found: LotPlan) -> tuple[list[float], list[float], tuple[tuple[float, float], tuple[float, float]]]:
    """Places of what was reacted, and a frame that holds them and the limits of the furnace."""
    peaks = [one.peak_c for one in found.distinct]
    hours = [_hold(one.hold_at_peak_h) for one in found.distinct]
    furnace = found.space.furnace
    low, high = min(*peaks, furnace.temperature_c[0]), max(*peaks, furnace.temperature_c[1])
    short, long = min(*hours, furnace.hours[0]), max(*hours, furnace.hours[1])
    room = max(0.06 * (high - low), 2.0)
    factor = max((long / short) ** 0.08, 1.1)
    return peaks, hours, ((low - room, high + room), (short / factor, long * factor))


def _surface(axes: Axes, bar: Axes, found: LotPlan, current: Response, plan: Plan) -> None:
    """Shade the surface in per cent of the reference treatment, or of the mean where that carries hardly anything.

    What probably breaks the constraints is hatched. A surface knows no zero: below it a layer is above its Bc2.
    """
    furnace = found.space.furnace
    ramp = furnace.ramps[len(furnace.ramps) // 2]
    (low, high), (short, long) = axes.get_xlim(), axes.get_ylim()
    temperatures, hours = np.linspace(low, high, _GRID), np.geomspace(short, long, _GRID)
    schedules = [furnace.schedule(t, h, ramp) for h in hours for t in temperatures]
    against = reference(found)
    base = max(float(plan.surface([against])[0][0]), 0.0)
    told = basis(found, current, base)
    numbers = told.factor * (np.maximum(plan.surface(schedules)[0], 0.0) - base).reshape(_GRID, _GRID)
    # a flat surface is to look flat: one per cent at least between dark and light, and the doubt where it is chance
    middle = 0.5 * (float(numbers.min()) + float(numbers.max()))
    half = max(0.5 * float(np.ptp(numbers)), 0.5)
    if plan.state == "flat":
        half = max(half, float(np.median(told.factor * plan.differences(found.distinct, against)[1])))
    scale = Normalize(middle - half, middle + half)
    reach = max(0.5 * float(np.ptp(numbers)), 0.01 * half)  # the bar beside shows what is on the map and no more
    levels = np.linspace(middle - reach, middle + reach, 25)
    shown = axes.contourf(
        temperatures, hours, np.clip(numbers, levels[0], levels[-1]), levels, cmap=_RISING, norm=scale, zorder=0.5
    )
    lines = axes.contour(temperatures, hours, numbers, MaxNLocator(6).tick_values(middle - half, middle + half),
                         colors=[SLATE], linewidths=0.6, zorder=1.0)  # fmt: skip
    for one in lines.get_paths():
        one.should_simplify = True
    (cold, hot), (least, most) = furnace.temperature_c, furnace.hours
    axes.plot(
        [cold, hot, hot, cold, cold], [least, least, most, most, least], color=PAPER, linewidth=1.6, zorder=1.5
    )
    axes.plot(
        [cold, hot, hot, cold, cold], [least, least, most, most, least], color=TEXT, linewidth=0.8,
        linestyle=(0, (5, 3)), zorder=1.6,
    )  # fmt: skip
    if found.constraints:
        keeps = allowed(found.constraints, schedules).reshape(_GRID, _GRID)
        if np.any(keeps < 0.5):
            hatch = axes.contourf(temperatures, hours, keeps, [-0.1, 0.5], colors="none", hatches=["////"], zorder=1.2)
            hatch.set_edgecolor(CLAY)
            hatch.set_linewidth(0.0)
    key = axes.figure.colorbar(shown, cax=bar)
    key.outline.set_linewidth(0.5)
    key.set_ticks([x for x in MaxNLocator(5).tick_values(levels[0], levels[-1]) if levels[0] <= x <= levels[-1]])
    bar.tick_params(labelsize=SMALL, labelcolor=TEXT, width=0.5, length=2.5, color=SLATE)
    # below: beside it long numbers would push it into the next panel
    bar.set_xlabel(told.unit, **font(SMALL), labelpad=3, loc="left" if told.of_mean else "center")


def _front(axes: Axes, found: LotPlan, corner: tuple[float, float], room_in: float, *, full: bool) -> None:
    """Draw the front, and its key from an upper left corner (parts of the figure); a full one has the suggestions."""
    sizes = next((one for one in found.responses if not one.maximise), None)
    noun = "size" if sizes is None else sizes.noun
    field = next((one for one in found.responses if one.key == "Bc2_T"), None)
    style(axes, x_label=f"{noun} (nm)", y_label=f"{'Bc2' if field is None else field.noun} (T)")
    if found.front is None:
        axes.set_facecolor(MIST)
        axes.set_xticks([])
        axes.set_yticks([])
        _title(axes, "Front: too few treatments for surfaces")
        return
    front = found.front
    title = f"Front between Bc2 and {noun}" + ("" if front.distinguishable else ": not more than chance")
    _title(axes, title)
    x, y = front.values[:, 1], front.values[:, 0]
    order = np.argsort(x)
    on = [k for k in order if front.on_front[k]]
    axes.plot(x[on], y[on], color=INK, linewidth=1.1, drawstyle="steps-post", zorder=1)
    u = _own_doubt(found, front.treatments)
    for k in order:
        colour = INK if front.on_front[k] else SLATE
        axes.errorbar(
            x[k], y[k], xerr=u[k, 1], yerr=u[k, 0], fmt="o", color=colour, ecolor=FOG, elinewidth=1.0,
            markerfacecolor=colour if front.on_front[k] else PAPER, markersize=10.0 if front.on_front[k] else 5.5,
            zorder=3 if front.on_front[k] else 2,
        )  # fmt: skip
    axes.margins(0.10, 0.14)
    axes.autoscale_view()  # letters are placed by where marks are on the page
    minor_ticks(axes, x=5, y=5)
    suggested = [
        (response.field_t, k, proposal.schedule)
        for response in found.currents
        if full and response.key in found.plans
        for k, proposal in enumerate(found.plans[response.key].proposals, start=1)
    ]
    every = [front.treatments[k] for k in on] + [reference(found)] + [schedule for _, _, schedule in suggested]
    names, common = told_apart([found.label(one) for one in every])
    names = [re.sub(r" (?=°C|h\b|K/h)", "\u00a0", name) for name in names]  # a number stays with its unit
    column_in = room_in / 2.0 if suggested else room_in
    below = ["", *_broken(f"bars: doubt of the difference to {names[len(on)]}", column_in)]
    below += ["", *_broken(f"all: {common}", column_in)] if common else []
    marked: list[tuple[float, float]] = []
    lines = ["nothing beats"]
    most = int(axes.get_window_extent().height / axes.figure.get_dpi() / _LINE_IN) - len(below) - 1
    shown = 0
    for letter, k, name in zip(_LETTERS, on, names, strict=False):
        entry = _broken(f"{letter}  {name}", column_in)
        if len(lines) + len(entry) > most:
            break
        _letter(axes, letter, float(x[k]), float(y[k]), marked)
        lines += entry
        shown += 1
    lines += [f"and {len(on) - shown} more"] * (len(on) > shown)
    beside: list[str] = []
    for asked in dict.fromkeys(one for one, _, _ in suggested):
        beside += [""] * bool(beside) + [f"suggested for {asked:g} T"]
        for (one, k, _), name in zip(suggested, names[len(on) + 1 :], strict=True):
            beside += _broken(f"{k}  {name}", column_in) if one == asked else []
    left, top = corner
    second = left + column_in * axes.figure.get_dpi() / axes.figure.bbox.width
    for at, text in ((second, beside), (left, [*lines, *below])):
        if text:
            axes.text(
                at, top, plain("\n".join(text)), transform=axes.figure.transFigure, ha="left", va="top",
                linespacing=1.5, **font(SMALL),
            )  # fmt: skip


def _broken(text: str, room_in: float) -> list[str]:
    r"""Break an entry of the key into lines: at spaces, and between temperature and hold where that is not enough.

    >>> _broken("a  748.229\u00a0°C/0.880386\u00a0h", 0.8)
    ['a  748.229\xa0°C/', '0.880386\xa0h']
    """
    lines = wrapped_in(text, room_in, SMALL)
    if any(width_in(line, SMALL) > room_in for line in lines):
        lines = wrapped_in(text.replace("/", "/ "), room_in, SMALL)
    return [line.strip() if width_in(line, SMALL) <= room_in else fitted(line, room_in, SMALL) for line in lines]


def _letter(axes: Axes, letter: str, x: float, y: float, marked: list[tuple[float, float]]) -> None:
    """Write a letter on its mark, or over it where another mark has its letter there."""
    across, up = axes.transData.transform((x, y)) * POINTS_PER_IN / axes.figure.get_dpi()
    raised = 0.0
    while any(math.hypot(across - a, up + raised - b) < _LETTER_PT for a, b in marked):
        raised += _LETTER_PT
    marked.append((float(across), float(up + raised)))
    axes.annotate(
        letter, (x, y), (0.0, raised), textcoords="offset points", ha="center", va="center_baseline", zorder=4,
        **font(SMALL, color=INK if raised else PAPER),
    )  # fmt: skip


def told_apart(names: Sequence[str]) -> tuple[list[str], str]:
    """Leave out of names of treatments what all have: the earlier holds they begin with, the ramp they end with.

    >>> told_apart(["205/60 + 650/50 h, 45 K/h", "205/60 + 675/100 h, 45 K/h"])
    (['650/50 h', '675/100 h'], '205/60 before, 45 K/h')
    """
    holds = [name.split(", ")[0].split(" + ") for name in names]
    ends = [name.split(", ")[1:] for name in names]
    before = 0
    while len(set(names)) > 1 and all(len(one) > before + 1 and one[before] == holds[0][before] for one in holds):
        before += 1
    alike = len(set(names)) > 1 and all(one == ends[0] for one in ends)
    common = [f"{' + '.join(holds[0][:before])} before"] * (before > 0) + (ends[0] if alike else [])
    left = [
        ", ".join([" + ".join(one[before:]), *([] if alike else end)]) for one, end in zip(holds, ends, strict=True)
    ]
    return left, ", ".join(common)


def _own_doubt(found: LotPlan, treatments: Sequence[object]) -> Array:
    """Standard uncertainties of differences to the reference treatment: what all share would only hide the picture."""
    against = reference(found)
    columns = []
    for key in ("Bc2_T", next(one.key for one in found.responses if not one.maximise)):
        columns.append(found.plans[key].differences(list(treatments), against)[1])  # type: ignore[arg-type]
    return np.stack(columns, axis=1)
