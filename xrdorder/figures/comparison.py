"""Differences between variants, as `compare` finds them: one panel a quantity.

`difference_rows` gives every variant a row, the quantities side by side: names can be read whatever they are, and any
number of variants finds room. `difference_courses` draws the same differences over a variable (temperature, time, dose,
place on a spool, date) with the line through them and its band.

In both a filled mark is a significant difference, an open one is not; a thick bar is one standard uncertainty, a thin
one the 95 % interval, and correlated errors of both variants have cancelled. Small strokes are single wires.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, NullFormatter
from numpy.typing import ArrayLike

from xrdorder.comparison import Compared, Repeatability, trend
from xrdorder.comparison.wording import manner
from xrdorder.drawing.layout import (
    BAR,
    LINE,
    SCREEN,
    THIN,
    Margins,
    Size,
    few_ticks,
    grid,
    log_ticks,
    minor_ticks,
    page,
    panel_height,
    place,
    style,
    write,
    zero_line,
)
from xrdorder.drawing.lots import draw_legend, legend_height
from xrdorder.drawing.palette import INK, MIST, PAPER, SLATE, lot_colour, lot_mark
from xrdorder.drawing.parts import course, name_rows
from xrdorder.drawing.text import POINTS_PER_IN, SMALL, fitted, width_in
from xrdorder.exceptions import StudyError
from xrdorder.quantities.caveats import ESTIMATES

_RIGHT_IN, _BOTTOM_IN, _TITLE_IN = 0.2, 0.64, 0.06
_ROW_IN, _DENSE_ROW_IN, _LEAST_ROW_IN, _GAP_IN = 0.27, 0.19, 0.15, 0.22
_MOST_NAME_IN, _FEW_NAME_IN, _LEAST_PANEL_IN = 2.1, 1.2, 0.78
_PANEL_IN, _LOW_PANEL_IN, _LEAST_PANEL_TALL_IN = 2.3, 1.15, 0.8
_STEPS = 60  # of a line over its span
_STEP = 0.016  # between variants of one value, in parts of the span
_MOST_LINES = 4  # lots that have lines: more would cover the marks

_REMARK = (
    "Filled: significant (5 % for all comparisons of a quantity together); open: not. Thick bars: standard "
    "uncertainty; thin: 95 %. Correlated errors have cancelled. Small strokes: single wires. "
)


def difference_rows(compared: Sequence[Compared], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the differences of variants to the reference, a row each, quantities side by side.

    Where the size leaves too little room the quantities stand in rows of panels.

    Parameters
    ----------
    compared : sequence of Compared
        One panel each, with one reference.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There is nothing to compare, or pairs were compared.
    """
    against = _reference(compared)
    variants = list(dict.fromkeys(v for entry in compared for v in entry.comparison.variants))
    names = [_name(variant, _MOST_NAME_IN if size.columns > 1 else _FEW_NAME_IN) for variant in variants]
    left = 0.2 + max(width_in(name) for name in names)
    free = size.width_in - left - _RIGHT_IN
    abreast = max(1, min(len(compared), int((free + _GAP_IN) / (_LEAST_PANEL_IN + _GAP_IN))))
    abreast = -(-len(compared) // -(-len(compared) // abreast))  # rows of panels alike in length
    wide = (free - _GAP_IN * (abreast - 1)) / abreast
    stacks = -(-len(compared) // abreast)
    rest = stacks * _BOTTOM_IN + _TITLE_IN * (stacks - 1)
    row_in = _ROW_IN if size.headed else _DENSE_ROW_IN
    tall = panel_height(size, row_in * len(variants), _LEAST_ROW_IN * len(variants), stacks, rest)
    body = stacks * tall + rest
    remark = f"Differences to {against}. {_REMARK}{ESTIMATES}"
    figure = page(size, body, title=title, remark=remark, left_in=0.2)
    for k, entry in enumerate(compared):
        stack, column = divmod(k, abreast)
        bottom = body - (stack + 1) * tall - stack * (_BOTTOM_IN + _TITLE_IN)
        axes = place(figure, left + column * (wide + _GAP_IN), bottom, wide, tall)
        style(axes, x_label=_label(entry, "\n"))
        name_rows(axes, names if column == 0 else [""] * len(names))
        _stripe(axes, len(variants), tall)
        axes.axvline(0.0, color=SLATE, linewidth=THIN, zorder=0.5)
        rows = {name: float(row) for row, name in enumerate(variants) if name in entry.comparison.variants}
        _draw(axes, entry, rows, against, across=True)
        few_ticks(axes, beyond_in=0.3 * _GAP_IN)
    return figure


def difference_courses(
    compared: Sequence[Compared],
    variable: str,
    unit: str = "",
    *,
    lots: Mapping[str, str] | None = None,
    logarithmic: bool = False,
    title: str = "",
    size: Size = SCREEN,
) -> Figure:
    """Show the differences of variants to the reference over a variable, with the line through all samples.

    Parameters
    ----------
    compared : sequence of Compared
        One panel each, with one reference.
    variable, unit : str
        What the samples are ordered by.
    lots : mapping of str to str, optional
        Lot of each sample: marks and lines are then those of lots.
    logarithmic : bool
        Axis of the variable; lines are straight on it.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There is nothing to compare, pairs were compared, or no sample has the variable.
    """
    against = _reference(compared)
    if not any(np.isfinite(entry.variable).any() for entry in compared):
        raise StudyError(f"no sample has a {variable}; give it in study.toml, or draw the variants in rows")
    names = list(dict.fromkeys((lots or {}).values()))
    through = "all samples" if len(names) < 2 else "a lot (dashed: slope not significant)"
    remark = (
        f"Differences to {against} (open ring). {_REMARK}Line and band: straight line through {through} and the "
        f"standard uncertainty of its shape. {ESTIMATES}"
    )
    legend = legend_height(names, size.width_in - 1.0) if len(names) > 1 else 0.0
    room = Margins(left=0.85, bottom=_BOTTOM_IN, down=0.6 if size.columns > 1 else 0.5, above=0.2 + legend)
    rows = -(-len(compared) // min(size.columns, len(compared)))
    rest = room.above + (rows - 1) * room.down + room.bottom
    usual = _PANEL_IN if size.columns > 1 or len(compared) == 1 else _LOW_PANEL_IN
    panel = panel_height(size, usual, _LEAST_PANEL_TALL_IN, rows, rest)
    figure, panels = grid(size, len(compared), panel, title=title, remark=remark, margins=room)
    if len(names) > 1:
        top = panels[0].get_position().y1 * figure.get_size_inches()[1]
        draw_legend(figure, names, room.left, top + 0.16, size.width_in - 1.0)
    for axes, entry in zip(panels, compared, strict=True):
        style(axes, x_label=f"{variable} ({unit})" if unit else variable, y_label=_label(entry))
        if logarithmic:
            axes.set_xscale("log")
            axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
            axes.xaxis.set_minor_formatter(NullFormatter())
        zero_line(axes)
        lot_of = [(lots or {}).get(sample, "") for sample in entry.values.samples]
        if len(names) <= _MOST_LINES:
            for lot in dict.fromkeys(lot_of):
                _draw_line(axes, entry, against, variable, [name == lot for name in lot_of], logarithmic=logarithmic,
                           lot=names.index(lot) if len(names) > 1 else None)  # fmt: skip
        of_variant = dict(zip(reversed(entry.labels), reversed(lot_of), strict=True))  # the lot of its first wire
        known = {label: names.index(lot) for label, lot in of_variant.items()} if len(names) > 1 else {}
        _draw(axes, entry, _beside(entry, logarithmic=logarithmic), against, across=False, lots=known)
        log_ticks(axes.xaxis) if logarithmic else few_ticks(axes)
        minor_ticks(axes, x=0 if logarithmic else 2, y=2)
    return figure


def _stripe(axes: Axes, rows: int, tall_in: float) -> None:
    """Shade every other row, as lines of the width of a row: one artist for hundreds."""
    every_other = [[(0.0, float(row)), (1.0, float(row))] for row in range(0, rows, 2)]
    width = POINTS_PER_IN * tall_in / rows
    across = axes.get_yaxis_transform()
    stripes = LineCollection(
        every_other, colors=MIST, linewidths=width, capstyle="butt", transform=across, zorder=0.1
    )
    axes.add_collection(stripes, autolim=False)


def _beside(compared: Compared, *, logarithmic: bool) -> dict[str, float]:
    """Place of each variant; those of one value stand side by side."""
    places: dict[float, list[str]] = {}
    for variant in compared.comparison.variants:
        mine = np.array([v for v, label in zip(compared.variable, compared.labels, strict=True) if label == variant])
        mine = mine[np.isfinite(mine) & (mine > 0.0 if logarithmic else True)]
        if mine.size:
            middle = float(np.mean(np.log(mine) if logarithmic else mine))
            places.setdefault(round(middle, 6), []).append(variant)
    step = _STEP * (max(places) - min(places)) if places else 0.0
    values_beside = {}
    for middle, variants in places.items():
        for k, variant in enumerate(variants):
            x = middle + step * (k - 0.5 * (len(variants) - 1))
            values_beside[variant] = float(np.exp(x)) if logarithmic else x
    return values_beside


def _reference(compared: Sequence[Compared]) -> str:
    if not compared:
        raise StudyError("there is nothing to compare: no quantity has two variants")
    return compared[0].against


def _name(variant: str, most_in: float) -> str:
    """Shorten the name of a variant; of its holds the last says most."""
    if width_in(variant) > most_in and variant.count(" + ") > 1:
        first, last = variant.split(" + ")[0], variant.split(" + ")[-1]
        variant = f"{first.rsplit(' ', 1)[0]} … {last}"
    return fitted(variant, most_in)


def _label(compared: Compared, between: str = " ") -> str:
    how = manner(compared.comparison.quantity)
    return f"Δ {how.noun}{between}({how.unit})" if how.unit else f"Δ {how.noun}"


def _draw(
    axes: Axes,
    compared: Compared,
    places: Mapping[str, float],
    against: str,
    *,
    across: bool,
    lots: Mapping[str, int] | None = None,
) -> None:
    """Strokes for the wires of each variant, bars and mark for its difference; rows lie across, courses stand up.

    One artist for all variants of a kind: hundreds of them are drawn as fast as ten.
    """
    scale = manner(compared.comparison.quantity).scale
    middle = compared.comparison.value[compared.comparison.variants.index(against)]
    wires: dict[str, list[float]] = {variant: [] for variant in places}
    for value, label in zip(compared.values.value, compared.labels, strict=True):
        if label in wires:
            wires[label].append(float(scale * (value - middle)))
    several = [(value, places[variant]) for variant, own in wires.items() if len(own) > 1 for value in own]
    singles, beside = np.array(several).reshape(-1, 2).T
    pairs = {variant: compared.comparison.pair(variant, against) for variant in places if variant != against}
    at = np.array([places[variant] for variant in pairs])
    value, u, half = scale * np.array([(d.value, d.u, d.half_width) for d in pairs.values()]).reshape(-1, 3).T
    lot_of = [(lots or {}).get(variant) for variant in pairs]
    colours = [INK if lot is None else lot_colour(lot) for lot in lot_of]

    def plot(of: ArrayLike, where: ArrayLike, *form: str, **look: object) -> None:
        axes.plot(*((of, where) if across else (where, of)), *form, linestyle="none", **look)  # type: ignore[arg-type]

    bars = axes.hlines if across else axes.vlines
    bars(at, value - half, value + half, colors=colours, linewidth=LINE, zorder=2)
    bars(at, value - u, value + u, colors=colours, linewidth=BAR, alpha=0.45, zorder=2.1)
    stroke = "|" if across else "_"
    plot(singles, beside, stroke, color=SLATE, markersize=6.5, markeredgewidth=THIN, zorder=2.2)
    if against in places:
        plot(0.0, places[against], "o", markersize=5.2, markerfacecolor=PAPER, markeredgecolor=SLATE, zorder=3)
    clear = [d.distinguishable for d in pairs.values()]
    for lot, filled in dict.fromkeys(zip(lot_of, clear, strict=True)):
        mine = [k for k, kind in enumerate(zip(lot_of, clear, strict=True)) if kind == (lot, filled)]
        colour, mark = (INK, "o") if lot is None else (lot_colour(lot), lot_mark(lot))
        plot(
            value[mine], at[mine], mark, markersize=5.2, zorder=3, markeredgecolor=colour, markeredgewidth=LINE,
            markerfacecolor=colour if filled else PAPER,
        )  # fmt: skip


def _draw_line(
    axes: Axes,
    compared: Compared,
    against: str,
    variable: str,
    mine: Sequence[bool],
    *,
    logarithmic: bool,
    lot: int | None,
) -> None:
    """The line through all samples, or those of a lot, and by how much its shape is unsure; none that is rejected."""
    index = np.flatnonzero(mine)
    x = np.asarray(compared.variable, dtype=float)[index]
    if logarithmic:
        x = np.where(x > 0.0, x, np.nan)
    if np.unique(x[np.isfinite(x)]).size < 2 or np.isfinite(x).sum() < 3:
        return
    scatter: Repeatability = compared.comparison.repeatability
    course_test = trend(compared.values.select(index), x, variable, scatter, logarithmic=logarithmic)
    if course_test.rejected:
        return
    over = (np.geomspace if logarithmic else np.linspace)(*course_test.span, _STEPS)
    scale = manner(compared.comparison.quantity).scale
    middle = compared.comparison.value[compared.comparison.variants.index(against)]
    line, (_, shape) = scale * (course_test.line(over) - middle), course_test.band(over)
    colour = SLATE if lot is None else lot_colour(lot)
    course(axes, over, line, scale * shape, colour, clear=course_test.distinguishable)
    if not course_test.distinguishable and lot is None:
        write(axes, "slope: not significant", (1.0, 1.01), SMALL, SLATE, on="frame", ha="right")
