"""How sizes grow with the reaction temperature: logarithm of the size against the inverse temperature, lot by lot."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator
from numpy.typing import ArrayLike, NDArray

from xrdorder.comparison import Trend, trend, values_of
from xrdorder.drawing import palette
from xrdorder.drawing.layout import LINE, SCREEN, THIN, Margins, Size, font, grid, log_ticks, style
from xrdorder.drawing.lots import draw_legend, legend_height, look
from xrdorder.drawing.parts import course, published, words_over
from xrdorder.drawing.text import NORMAL, SMALL
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.figures.trends import test_words
from xrdorder.quantities.formatting import rounded
from xrdorder.quantities.registry import quantity
from xrdorder.relations.published_samples import points
from xrdorder.treatments.history import ZERO_CELSIUS_K

GAS_CONSTANT_KJ = 8.314462618e-3
"""kJ/(mol K); CODATA 2018, exact to all digits (from memory)."""
SIZE = "domain_size_nm"

_PANEL_IN, _SHAPE, _STEPS, _LEAST_SAMPLES, _MOST_LOTS = 4.0, 0.8, 60, 3, 6


def growth_figure(results: xr.Dataset, *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the size of domains, on a logarithmic scale, against the inverse reaction temperature.

    The slope of a line is the activation energy over the gas constant, less what different hold times do: they are
    not corrected for, and a line is drawn only where it is not rejected.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No lot has sizes at two temperatures.
    """
    peak = dict(zip(results["sample"].values.astype(str), results["peak_c"].values.astype(float), strict=True))
    lot_of = dict(zip(results["sample"].values.astype(str), results["lot"].values.astype(str), strict=True))
    try:
        values = values_of(results, SIZE)
    except UnknownNameError:
        raise StudyError("no domain size was found") from None
    values = values.select(np.array([np.isfinite(peak[name]) for name in values.samples], dtype=bool))
    x = _inverse([peak[name] for name in values.samples])
    if np.unique(x).size < 2:
        raise StudyError("domain sizes are known at fewer than two reaction temperatures")
    lots = list(dict.fromkeys(lot_of[name] for name in values.samples))
    wide = size.width_in - 0.98
    legend = legend_height(lots, wide) + 0.3
    about = quantity(SIZE)
    remark = (
        "Bars: independent standard uncertainty. Lines: straight through a lot, E: activation energy of the size as it "
        "stands, hold times not corrected; grey: grain sizes of published wires by microscopy."
    )
    figure, (axes,) = grid(
        size, 1, min(_PANEL_IN, _SHAPE * wide), title=title, remark=remark, margins=Margins(above=legend), columns=1
    )
    style(axes, x_label="1000 K / reaction temperature", y_label=f"{about.label}, logarithmic")
    axes.set_yscale("log")
    for k, name in enumerate(values.samples):
        mark, height, u = look(lots.index(lot_of[name])), values.value[k], values.own[k]
        axes.plot([x[k]] * 2, [height - u, height + u], color=mark["color"], linewidth=LINE, zorder=2)
        axes.plot([x[k]], [height], linestyle="none", zorder=3, **mark)
    said = []
    for lot, name in enumerate(lots[:_MOST_LOTS]):
        mine = [k for k, sample in enumerate(values.samples) if lot_of[sample] == name]
        if len(mine) >= _LEAST_SAMPLES and np.unique(x[mine]).size >= _LEAST_SAMPLES:
            line = trend(values.select(np.array(mine)), x[mine], "inverse temperature")
            said.append((_line(axes, line, palette.lot_colour(lot)), palette.lot_colour(lot)))
    axes.margins(0.08, 0.14)
    axes.autoscale_view()
    others = points("treatment_c", "grain_size_nm", form="wire")
    published(axes, _inverse(others.x), others.y)
    words_over(axes, said, size=NORMAL, side="right")
    log_ticks(axes.yaxis)
    _celsius(axes)
    draw_legend(figure, lots, 0.78, axes.get_position().y1 * figure.get_size_inches()[1] + 0.28, wide)
    return figure


def _inverse(celsius: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(1000.0 / (np.asarray(celsius, dtype=float) + ZERO_CELSIUS_K))


def _line(axes: Axes, trend: Trend, colour: str) -> str:
    """Draw the line through a lot unless it is rejected, and say its slope as an energy."""
    if trend.rejected:
        return "a line is rejected"
    over = np.linspace(*trend.span, _STEPS)
    middle, (_, shape) = trend.line(over), trend.band(over)
    course(axes, over, middle, shape, colour, clear=trend.distinguishable)
    energy, u = (1000.0 * GAS_CONSTANT_KJ * number for number in (-trend.slope, trend.u_slope))
    return f"E = {rounded(energy, u, 'kJ/mol')}, {test_words(trend)}"


def _celsius(axes: Axes) -> None:
    """Degrees Celsius along the upper edge."""
    upper = axes.secondary_xaxis("top")
    ticks = [t for t in range(400, 1300, 25) if axes.get_xlim()[0] <= float(_inverse(t)) <= axes.get_xlim()[1]]
    upper.xaxis.set_major_locator(FixedLocator(_inverse(ticks).tolist()))
    upper.xaxis.set_minor_locator(NullLocator())
    upper.set_xticklabels([f"{t} °C" for t in ticks], **font(SMALL, color=palette.SLATE))
    upper.tick_params(direction="out", length=2.0, width=THIN, color=palette.SLATE, pad=1.0)
    upper.spines["top"].set_visible(False)
