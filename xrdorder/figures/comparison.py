"""Differences between variants, as `compare` finds them: one panel a quantity.

`difference_rows` gives every variant a row, the quantities side by side: names can be read whatever they are, and any
number of variants finds room. `difference_courses` draws the same differences over a variable (temperature, time, dose,
place on a spool, date) with the line through them and its band.

In both a filled mark is a difference beyond chance, an open one is not; a thick bar is one standard uncertainty, a thin
one the 95 % interval, and what both variants share has cancelled. Small strokes are single wires.
"""

import math
import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from xrdorder.exceptions import StudyError
from xrdorder.figures.palette import FOG, INK, MIST, PAPER, SLATE
from xrdorder.figures.sheet import NORMAL, SMALL, font, heading, minor_ticks, sheet, style, zero_line
from xrdorder.studies.comparison import Compared, Repeatability, trend
from xrdorder.studies.comparison.words import manner

_WIDTH_IN = 10.4
_RIGHT_IN, _TOP_IN, _BOTTOM_IN = 0.2, 0.42, 0.55
_REMARK_CHARACTERS, _REMARK_LINE_IN = 150, 0.14
_ROW_IN, _GAP_IN, _LETTER_IN = 0.27, 0.16, 0.062
_MOST_LETTERS = 34
_PANEL_IN, _BETWEEN_IN, _LEFT_IN, _MIDDLE_IN = 2.3, 0.52, 0.85, 0.95
_STEPS = 60  # of a line over its span

_REMARK = (
    "Filled: more than chance (5 % for all comparisons of a quantity together); open: not. Thick bars: standard "
    "uncertainty; thin: 95 %. What both share has cancelled. Small strokes: single wires. "
)
_ESTIMATES = "Tc and Bc2 are estimates, not measurements."


def difference_rows(compared: Sequence[Compared], *, title: str = "") -> Figure:
    """Show the differences of variants to the reference, a row each, quantities side by side.

    Parameters
    ----------
    compared : sequence of Compared
        One panel each, with one reference.
    title : str

    Raises
    ------
    StudyError
        There is nothing to compare, or pairs were compared.
    """
    against = _reference(compared)
    variants = list(dict.fromkeys(v for one in compared for v in one.comparison.variants))
    names = [_shortened(name) for name in variants]
    remark = textwrap.wrap(f"Differences to {against}. {_REMARK}{_ESTIMATES}", _REMARK_CHARACTERS)
    left = 0.35 + _LETTER_IN * max(map(len, names))
    top = _TOP_IN + _REMARK_LINE_IN * len(remark) + 0.08
    tall = _ROW_IN * len(variants)
    height = top + tall + _BOTTOM_IN
    figure = sheet(_WIDTH_IN, height)
    heading(figure, title, "\n".join(remark), left=0.2 / _WIDTH_IN, top_in=0.14)
    wide = (_WIDTH_IN - left - _RIGHT_IN - _GAP_IN * (len(compared) - 1)) / len(compared)
    for k, one in enumerate(compared):
        box = (
            (left + k * (wide + _GAP_IN)) / _WIDTH_IN, _BOTTOM_IN / height, wide / _WIDTH_IN, tall / height,
        )  # fmt: skip
        axes = figure.add_axes(box)
        style(axes, x_label=_label(one))
        axes.set_ylim(len(variants) - 0.5, -0.5)
        axes.set_yticks(range(len(variants)), names if k == 0 else [""] * len(names), **font(NORMAL))
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
    compared: Sequence[Compared], variable: str, unit: str = "", *, title: str = ""
) -> Figure:
    """Show the differences of variants to the reference over a variable, with the line through all samples.

    Parameters
    ----------
    compared : sequence of Compared
        One panel each, with one reference.
    variable, unit : str
        What the samples are ordered by.
    title : str

    Raises
    ------
    StudyError
        There is nothing to compare, pairs were compared, or no sample has the variable.
    """
    against = _reference(compared)
    if not any(np.isfinite(one.variable).any() for one in compared):
        raise StudyError(f"no sample has a {variable}; give it in study.toml, or draw the variants in rows")
    remark = textwrap.wrap(
        f"Differences to {against} (open ring). {_REMARK}Line and band: straight line through all samples and the "
        f"standard uncertainty of its shape. {_ESTIMATES}",
        _REMARK_CHARACTERS,
    )
    columns = min(2, len(compared))
    rows = math.ceil(len(compared) / columns)
    top = _TOP_IN + _REMARK_LINE_IN * len(remark) + 0.12
    height = top + rows * _PANEL_IN + (rows - 1) * _BETWEEN_IN + _BOTTOM_IN
    figure = sheet(_WIDTH_IN, height)
    heading(figure, title, "\n".join(remark), left=_LEFT_IN / _WIDTH_IN, top_in=0.14)
    wide = (_WIDTH_IN - _LEFT_IN - _RIGHT_IN - _MIDDLE_IN * (columns - 1)) / columns
    for k, one in enumerate(compared):
        row, column = divmod(k, columns)
        bottom = height - top - (row + 1) * _PANEL_IN - row * _BETWEEN_IN
        left = _LEFT_IN + column * (wide + _MIDDLE_IN)
        axes = figure.add_axes((left / _WIDTH_IN, bottom / height, wide / _WIDTH_IN, _PANEL_IN / height))
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


def _shortened(name: str) -> str:
    """Keep beginning and end of a long name: variants differ in either."""
    half = _MOST_LETTERS // 2
    return name if len(name) <= _MOST_LETTERS else f"{name[:half]}…{name[1 - half :]}"


def _label(one: Compared) -> str:
    how = manner(one.comparison.quantity)
    return f"{how.noun} ({how.unit})" if how.unit else how.noun


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
