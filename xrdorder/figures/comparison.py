"""Differences between variants, as `compare` finds them: one panel a quantity.

`difference_rows` gives every variant a row, the quantities side by side: names can be read whatever they are, and any
number of variants finds room. `difference_courses` draws the same differences over a variable (temperature, time, dose,
place on a spool, date) with the line through them and its band.

In both a filled mark is a difference beyond chance, an open one is not; a thick bar is one standard uncertainty, a thin
one the 95 % interval, and what both variants share has cancelled. Small strokes are single wires.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from xrdorder.exceptions import StudyError
from xrdorder.figures.palette import FOG, INK, MIST, PAPER, SLATE
from xrdorder.figures.sheet import (
    NORMAL,
    SCREEN,
    SMALL,
    Margins,
    Size,
    font,
    grid,
    minor_ticks,
    page,
    place,
    shortened,
    style,
    zero_line,
)
from xrdorder.studies.comparison import Compared, Repeatability, trend
from xrdorder.studies.comparison.words import manner

_RIGHT_IN, _BOTTOM_IN, _TITLE_IN = 0.2, 0.64, 0.06
_ROW_IN, _DENSE_ROW_IN, _GAP_IN, _LETTER_IN = 0.27, 0.19, 0.16, 0.062
_MOST_LETTERS, _FEW_LETTERS, _LEAST_PANEL_IN = 34, 20, 0.78
_PANEL_IN = 2.3
_STEPS = 60  # of a line over its span

_REMARK = (
    "Filled: more than chance (5 % for all comparisons of a quantity together); open: not. Thick bars: standard "
    "uncertainty; thin: 95 %. What both share has cancelled. Small strokes: single wires. "
)
_ESTIMATES = "Tc and Bc2 are estimates, not measurements."


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
    variants = list(dict.fromkeys(v for one in compared for v in one.comparison.variants))
    names = [_name(variant, _MOST_LETTERS if size.columns > 1 else _FEW_LETTERS) for variant in variants]
    left = 0.35 + _LETTER_IN * max(map(len, names))
    free = size.width_in - left - _RIGHT_IN
    abreast = max(1, min(len(compared), int((free + _GAP_IN) / (_LEAST_PANEL_IN + _GAP_IN))))
    wide = (free - _GAP_IN * (abreast - 1)) / abreast
    tall = (_ROW_IN if size.headed else _DENSE_ROW_IN) * len(variants)
    stacks = -(-len(compared) // abreast)
    body = stacks * (tall + _BOTTOM_IN) + _TITLE_IN * (stacks - 1)
    remark = f"Differences to {against}. {_REMARK}{_ESTIMATES}"
    figure = page(size, body, title=title, remark=remark, left_in=0.2)
    for k, one in enumerate(compared):
        stack, column = divmod(k, abreast)
        bottom = body - (stack + 1) * tall - stack * (_BOTTOM_IN + _TITLE_IN)
        axes = place(figure, left + column * (wide + _GAP_IN), bottom, wide, tall)
        style(axes, x_label=_label(one, "\n"))
        axes.set_ylim(len(variants) - 0.5, -0.5)
        axes.set_yticks(range(len(variants)), names if column == 0 else [""] * len(names), **font(NORMAL))
        axes.tick_params(axis="y", length=0.0)
        axes.spines["left"].set_visible(False)
        for row in range(0, len(variants), 2):
            axes.axhspan(row - 0.5, row + 0.5, color=MIST, linewidth=0.0, zorder=0.1)
        axes.axvline(0.0, color=SLATE, linewidth=0.8, zorder=0.5)
        axes.xaxis.set_major_locator(MaxNLocator(max(2, int(wide / 0.55)), steps=[1, 2, 5, 10]))
        for row, variant in enumerate(variants):
            if variant in one.comparison.variants:
                _draw(axes, one, variant, against, float(row), across=True)
    return figure


def difference_courses(
    compared: Sequence[Compared], variable: str, unit: str = "", *, title: str = "", size: Size = SCREEN
) -> Figure:
    """Show the differences of variants to the reference over a variable, with the line through all samples.

    Parameters
    ----------
    compared : sequence of Compared
        One panel each, with one reference.
    variable, unit : str
        What the samples are ordered by.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There is nothing to compare, pairs were compared, or no sample has the variable.
    """
    against = _reference(compared)
    if not any(np.isfinite(one.variable).any() for one in compared):
        raise StudyError(f"no sample has a {variable}; give it in study.toml, or draw the variants in rows")
    remark = (
        f"Differences to {against} (open ring). {_REMARK}Line and band: straight line through all samples and the "
        f"standard uncertainty of its shape. {_ESTIMATES}"
    )
    room = Margins(left=0.85, bottom=_BOTTOM_IN, down=0.6, above=0.12)
    figure, panels = grid(size, len(compared), _PANEL_IN, title=title, remark=remark, margins=room)
    for axes, one in zip(panels, compared, strict=True):
        style(axes, x_label=f"{variable} ({unit})" if unit else variable, y_label=_label(one))
        zero_line(axes)
        _draw_line(axes, one, against, variable)
        for variant in one.comparison.variants:
            mine = np.array([v for v, label in zip(one.variable, one.labels, strict=True) if label == variant])
            mine = mine[np.isfinite(mine)]
            if mine.size:
                _draw(axes, one, variant, against, float(mine.mean()), across=False)
        minor_ticks(axes, x=2, y=2)
    return figure


def _reference(compared: Sequence[Compared]) -> str:
    if not compared:
        raise StudyError("there is nothing to compare: no quantity has two variants")
    return compared[0].against


def _name(variant: str, most: int) -> str:
    """Shorten the name of a variant; of its holds the last says most."""
    if len(variant) > most and variant.count(" + ") > 1:
        first, last = variant.split(" + ")[0], variant.split(" + ")[-1]
        variant = f"{first.rsplit(' ', 1)[0]} … {last}"
    return shortened(variant, most)


def _label(one: Compared, between: str = " ") -> str:
    how = manner(one.comparison.quantity)
    return f"{how.noun}{between}({how.unit})" if how.unit else how.noun


def _draw(axes: Axes, one: Compared, variant: str, against: str, place: float, *, across: bool) -> None:
    """One variant: strokes for its wires, bars and mark for the difference; rows lie across, courses stand up."""
    scale = manner(one.comparison.quantity).scale
    middle = one.comparison.value[one.comparison.variants.index(against)]

    def plot(value: list[float], at: list[float], *form: str, **look: object) -> None:
        axes.plot(*((value, at) if across else (at, value)), *form, **look)  # type: ignore[arg-type]

    own = [v for v, label in zip(one.values.value, one.labels, strict=True) if label == variant]
    if len(own) > 1:
        stroke = "|" if across else "_"
        singles = [float(scale * (v - middle)) for v in own]
        plot(singles, [place] * len(own), stroke, color=SLATE, markersize=6.5, markeredgewidth=0.8, zorder=2.2)
    if variant == against:
        plot([0.0], [place], "o", markersize=5.2, markerfacecolor=PAPER, markeredgecolor=SLATE, zorder=3)
        return
    found = one.comparison.pair(variant, against)
    value, u, half = (scale * x for x in (found.value, found.u, found.half_width))
    plot([value - half, value + half], [place] * 2, color=INK, linewidth=0.9, zorder=2)
    plot([value - u, value + u], [place] * 2, color=INK, linewidth=2.6, alpha=0.45, solid_capstyle="butt", zorder=2.1)
    plot(
        [value], [place], "o", markersize=5.2, zorder=3, markeredgecolor=INK, markeredgewidth=1.1,
        markerfacecolor=INK if found.distinguishable else PAPER,
    )  # fmt: skip


def _draw_line(axes: Axes, one: Compared, against: str, variable: str) -> None:
    """The straight line through all samples, and by how much its shape is unsure."""
    x = np.asarray(one.variable, dtype=float)
    if np.unique(x[np.isfinite(x)]).size < 2 or np.isfinite(x).sum() < 3:
        return
    scatter: Repeatability = one.comparison.repeatability
    found = trend(one.values, x, variable, scatter)
    over = np.linspace(*found.span, _STEPS)
    scale = manner(one.comparison.quantity).scale
    middle = one.comparison.value[one.comparison.variants.index(against)]
    line, (_, shape) = scale * (found.line(over) - middle), found.band(over)
    axes.fill_between(over, line - scale * shape, line + scale * shape, color=FOG, alpha=0.5, linewidth=0.0, zorder=1)
    dashes = "-" if found.distinguishable else (0, (4, 3))
    axes.plot(over, line, color=SLATE, linewidth=1.0, linestyle=dashes, zorder=1.5)
    if not found.distinguishable:
        axes.text(
            1.0, 1.01, "slope: not more than chance", transform=axes.transAxes, ha="right", va="bottom",
            **font(SMALL, color=SLATE),
        )  # fmt: skip
