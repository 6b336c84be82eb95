"""Quantities against the reaction temperature, the time or the dose, lot by lot.

`trend_figure` shows absolute numbers. Every sample is a mark of its own, replicates beside each other; its
bar is its independent uncertainty. What moves all samples of a lot together (certificate, wavelength,
scattering-factor table, the published scale of tin) is drawn apart, as one bar a lot at the right edge. Tc
and Bc2 are estimates: their bars are the 68 % interval over all published relations, part of it shared by all
samples. What was measured has a line through each lot with enough samples.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from xrdorder.comparison import Trend, Values, trend, values_of
from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    BAR,
    BLOCK,
    SCREEN,
    STRONG,
    Margins,
    Size,
    grid,
    log_ticks,
    minor_ticks,
    panel_height,
    style,
    write,
)
from xrdorder.drawing.lots import draw_legend, legend_height
from xrdorder.drawing.parts import course, marks, published, words_over
from xrdorder.drawing.text import SMALL
from xrdorder.exceptions import UnknownNameError
from xrdorder.figures.treatment_axis import TEMPERATURE, Places, Variable, places_of
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.registry import Quantity, column_name, quantity, standing_in
from xrdorder.relations.published_samples import points

Array = NDArray[np.float64]


TRENDS = tuple(quantity.name for quantity in standing_in("trends"))
"""Panels of `trend_figure`, as far as a study has them."""
_PUBLISHED = {"site_order": "site_order", "tin_fraction": "tin_at_percent", "domain_size_nm": "grain_size_nm"}
"""What published wires have of it; their Tc and Bc2 were read by other criteria, and stand among the relations."""

_PANEL_IN, _LOW_PANEL_IN, _LOWEST_PANEL_IN = 2.2, 1.4, 1.1
"""Low ones where all stand in one column, lower ones where a page would not hold them."""
_ROOM = Margins(down=0.28)
_ALONE_IN, _ALONE_SHAPE = 4.0, 0.7  # of a panel by itself: most, and height over width
_LEAST_SAMPLES, _LEAST_PLACES = 4, 3  # of a line
_MOST_LINES, _MOST_BANDS = 6, 3
_STEPS = 60  # of a line over its span
_ABREAST = 3  # panels of one row, where there are as many


@dataclass(frozen=True)
class _Scene:
    """Results, and where their samples stand."""

    results: xr.Dataset
    places: Places

    def values(self, shown: Quantity) -> Values | None:
        """A quantity of all samples; None where no sample has it."""
        try:
            return values_of(self.results, shown.name)
        except UnknownNameError:
            return None

    def has(self, shown: Quantity) -> bool:
        """Whether any sample that has a place has the quantity."""
        if shown.predicted:
            return any(math.isfinite(float(self.results[shown.name].values[p.k])) for p in self.places.points)
        values = self.values(shown)
        return values is not None and any(point.name in values.samples for point in self.places.points)


def trend_figure(
    results: xr.Dataset,
    names: Sequence[str] | None = None,
    *,
    variable: Variable = TEMPERATURE,
    title: str = "",
    size: Size = SCREEN,
) -> Figure:
    """Show quantities against the reaction temperature, or another variable.

    Parameters
    ----------
    results : Dataset
        Collated results of a study (`xrdorder.running.run.run_study`, or `open_study(...).results`).
    names : sequence of str, optional
        Quantities, one panel each; those of `TRENDS` that any sample has unless given.
    variable : Variable
        `TEMPERATURE`, `HOLD` or `DOSE` of `xrdorder.figures.treatment_axis`.
    title : str
        Heading; the title of the study unless given.
    size : Size

    Returns
    -------
    Figure

    Raises
    ------
    StudyError
        No sample has both a result and a treatment.
    """
    scene = _Scene(results, places_of(results, variable))
    every = [quantity(name) for name in names or TRENDS]
    shown = every if names else [entry for entry in every if scene.has(entry)] or every[:1]
    heading = title or str(results.attrs.get("title", ""))
    figure, panels = _panels(scene, shown, heading, _remark(shown), size)
    for axes, entry in zip(panels, shown, strict=True):
        if entry.predicted:
            _draw_predicted(axes, scene, entry)
            continue
        if entry.by_logarithm:
            axes.set_yscale("log")
        _draw_measured(axes, scene, entry)
        said = _draw_lines(axes, scene, entry)
        if variable is TEMPERATURE and entry.name in _PUBLISHED:
            grey = points("treatment_c", _PUBLISHED[entry.name], form="wire")
            published(axes, grey.x, grey.y)
        words_over(axes, said)
        if entry.by_logarithm:
            log_ticks(axes.yaxis)
    return figure


def _remark(shown: Sequence[Quantity]) -> str:
    """Say how the panels are read, as far as they need it."""
    measured = (
        "Bars at marks: independent standard uncertainty (k = 1); at the right edge: what moves a whole lot. Lines: "
        "straight through a lot (dashed: slope not significant), bands: standard uncertainty of their shape; in words "
        "the change over the range. Grey: published wires. "
    )
    predicted = (
        f"Bars of Tc and Bc2: 68 % interval of the joint estimate, part of it shared by all samples. {ESTIMATES}"
    )
    kinds = {entry.predicted for entry in shown}
    return (measured * (False in kinds) + predicted * (True in kinds)).strip()


# --- the page --------------------------------------------------------------------------------------------


def _panels(
    scene: _Scene, shown: Sequence[Quantity], title: str, remark: str, size: Size
) -> tuple[Figure, list[Axes]]:
    """Lay out panels abreast; the lowest of each column names the axis."""
    places = scene.places
    columns = min(_ABREAST if size.columns > 1 and len(shown) == _ABREAST else size.columns, len(shown))
    rows = math.ceil(len(shown) / columns)
    across = size.width_in - _ROOM.left - _ROOM.right
    wide = (across - _ROOM.across * (columns - 1)) / columns
    legend = legend_height(places.lots, across)
    room = replace(_ROOM, above=legend + 0.14)
    usual = _PANEL_IN if size.columns > 1 else _LOW_PANEL_IN
    usual = min(_ALONE_IN, _ALONE_SHAPE * wide) if len(shown) == 1 else usual
    panel = panel_height(size, usual, _LOWEST_PANEL_IN, rows, room.above + (rows - 1) * room.down + room.bottom)
    note = f" {places.left_out} without result or treatment not shown." if places.left_out else ""
    figure, panels = grid(
        size, len(shown), panel, title=title, remark=remark + note, margins=room, columns=columns
    )
    for k, (axes, entry) in enumerate(zip(panels, shown, strict=True)):
        lowest = k + columns >= len(shown)
        style(axes, x_label=places.label if lowest else "", y_label=entry.label)
        places.scale(axes, with_common=True)
        axes.tick_params(labelbottom=lowest)
    top = panels[0].get_position().y1 * figure.get_size_inches()[1]
    draw_legend(figure, places.lots, room.left, top + 0.16, across)
    return figure, panels


# --- marks -----------------------------------------------------------------------------------------------


def _draw_measured(axes: Axes, scene: _Scene, shown: Quantity) -> None:
    """Marks with their own bars; the common part of each lot at the right edge."""
    places, values = scene.places, scene.values(shown)
    row = {} if values is None else {name: k for k, name in enumerate(values.samples)}
    there = [point for point in places.points if point.name in row]
    if values is not None and there:
        rows, factor = [row[point.name] for point in there], shown.people.factor
        value, own = factor * values.value[rows], factor * values.own[rows]
        common = factor * np.linalg.norm(values.shared[rows], axis=1)
        lots = np.array([point.lot for point in there])
        marks(axes, lots, [point.x for point in there], np.array([value - own, value, value + own]), width=STRONG,
              alpha=1.0)  # fmt: skip
        each = places.bars == len(places.lots)
        for bar in np.unique(lots) if each else [0]:
            of = (lots == bar) | (not each)
            x, middle, u = places.edge(bar), float(np.median(value[of])), float(np.median(common[of]))
            colour = palette.lot_colour(bar) if each else palette.SLATE
            axes.plot([x, x], [middle - u, middle + u], color=colour, linewidth=BAR, alpha=0.45, zorder=2)
        write(axes, "shared", (0.998, 1.01), SMALL, palette.SLATE, on="frame", ha="right")
    minor_ticks(axes, y=2)


def _draw_predicted(axes: Axes, scene: _Scene, shown: Quantity) -> None:
    """Medians with their intervals."""
    columns = [scene.results[column_name(shown, part)].values for part in ("low", "median", "high")]
    there = [point for point in scene.places.points if math.isfinite(columns[1][point.k])]
    ends = np.array([[column[point.k] for point in there] for column in columns])
    marks(axes, [point.lot for point in there], [point.x for point in there], ends, width=BLOCK, alpha=0.28)
    minor_ticks(axes, y=2)


# --- lines -----------------------------------------------------------------------------------------------


def _draw_lines(axes: Axes, scene: _Scene, shown: Quantity) -> list[tuple[str, str]]:
    """Draw the straight line through each lot that has samples enough; say its change over the range with its test.

    A line that does not describe the course is not drawn. Estimates have no line here: what they share would turn it,
    and their differences show it.
    """
    places, values = scene.places, scene.values(shown)
    if values is None or len(places.lots) > _MOST_LINES:
        return []
    said: list[tuple[str, str]] = []
    few = len(places.lots) <= _MOST_BANDS
    for lot in range(len(places.lots)):
        at = {point.name: point.at for point in places.of_lot(lot)}
        mine = [i for i, name in enumerate(values.samples) if name in at]
        x = np.array([at[values.samples[i]] for i in mine])
        if len(mine) < _LEAST_SAMPLES or np.unique(x).size < _LEAST_PLACES:
            continue
        slope_test, colour = trend(values.select(np.array(mine)), x, places.variable.title), palette.lot_colour(lot)
        if slope_test.rejected:
            said.append(("a line is rejected", colour))
            continue
        said.append((f"{shown.difference_text(*slope_test.change, signed=True)}, {test_words(slope_test)}", colour))
        over = np.linspace(*slope_test.span, _STEPS)
        line, shape = shown.people.factor * slope_test.line(over), shown.people.factor * slope_test.band(over)[1]
        course(axes, places.along(over), line, shape, colour, clear=slope_test.distinguishable, band=few)
    return said if few else []


def test_words(trend: Trend) -> str:
    """Say the test of a slope: its probability under chance alone, and whether it is significant."""
    p = "p < 0.001" if trend.p < 0.001 else f"p = {trend.p:.3f}"
    return f"{p}{'' if trend.distinguishable else ': not significant'}"
