"""A furnace run: all patterns as a map over time, schedule, phases as bands, quantities below."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from numpy.typing import NDArray

from xrdorder.drawing.layout import (
    LINE,
    SCREEN,
    STRONG,
    THIN,
    Margins,
    Size,
    few_ticks,
    font,
    page,
    place,
    style,
)
from xrdorder.drawing.palette import FOG, GARNET, INK, LAGOON, MIST, PAPER, SKY, phase_colour, stroke
from xrdorder.drawing.parts import legend
from xrdorder.quantities.of_phase import WEIGHT_FRACTION
from xrdorder.quantities.registry import quantity
from xrdorder.series.chunks import NO_BEAM_STATUS, U_OWN

if TYPE_CHECKING:
    from xrdorder.series.furnace_run import FurnaceRun

Array = NDArray[np.float64]

_ROOM = Margins(left=0.95, right=0.2, bottom=0.5, down=0.12)
_MAP_IN, _SCHEDULE_IN, _BAND_IN, _PANEL_IN = 2.6, 1.0, 0.2, 1.15
_TALLEST = 99.5  # per cent of the map's points that are told apart; the rest is as dark as can be
_COLOURS = LinearSegmentedColormap.from_list("counts", [PAPER, SKY, LAGOON, INK])
_QUANTITIES = ("a_nm", "order_contrast", "domain_size_nm")


def series_figure(run: FurnaceRun, *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show a furnace run.

    Parameters
    ----------
    run : FurnaceRun
    title : str
    size : Size
    """
    shown = [name for name in _QUANTITIES if name in run.table and np.isfinite(run.table[name].values).any()]
    panels: list[tuple[float, Callable[[Axes, FurnaceRun], None]]] = [(_MAP_IN, _map), (_SCHEDULE_IN, _schedule)]
    if run.signal is not None:
        panels.append((_SCHEDULE_IN, _signal))
    panels += [(_BAND_IN * len(run.phases), _bands), (_PANEL_IN, _amounts)]
    panels += [(_PANEL_IN, partial(_quantity, name=name)) for name in shown]
    body = sum(height for height, _ in panels) + _ROOM.down * (len(panels) - 1) + _ROOM.bottom + _ROOM.above
    remark = (
        "Map: root of counts per second, dark where high. Bands: when each phase is seen. Bars: standard uncertainties "
        "that frames do not share. Dashed: onset of the A15 with its standard uncertainty. Grey: frames without beam."
        + (" Triangles: steps of the signal, filled where the pattern shows a phase come or go." if run.signal else "")
    )
    figure = page(size, body, title=title or "Furnace run", remark=remark, left_in=_ROOM.left)
    axes: list[Axes] = []
    top = body - _ROOM.above
    for height, draw in panels:
        top -= height
        wide = size.width_in - _ROOM.left - _ROOM.right
        axes.append(place(figure, _ROOM.left, top, wide, height, share=axes[0] if axes else None))
        top -= _ROOM.down
        draw(axes[-1], run)
    hours = run.table["time_h"].values
    for axis in axes:
        axis.tick_params(labelbottom=axis is axes[-1])
        _marks(axis, run)
    axes[-1].set_xlim(_edges(hours)[0], _edges(hours)[-1])
    axes[-1].set_xlabel("time (h)", **font())
    few_ticks(axes[-1], beyond_in=0.1)
    figure.align_ylabels(axes)
    return figure


def _edges(hours: Array) -> Array:
    """Borders between frames in time."""
    if len(hours) == 1:
        return np.array([hours[0] - 0.5, hours[0] + 0.5])
    middle = 0.5 * (hours[1:] + hours[:-1])
    return np.concatenate([[2.0 * hours[0] - middle[0]], middle, [2.0 * hours[-1] - middle[-1]]])


def _map(axes: Axes, run: FurnaceRun) -> None:
    style(axes, y_label="2θ (degrees)", open_frame=False)
    angles = run.table["two_theta"].values
    root = np.sqrt(np.maximum(run.table["intensity"].values, 0.0))
    seen = root[np.isfinite(root)]
    low, high = (float(x) for x in np.percentile(seen, [5.0, _TALLEST])) if seen.size else (0.0, 1.0)
    axes.pcolormesh(
        _edges(run.table["time_h"].values), _edges(angles), root.T, cmap=_COLOURS, vmin=low, vmax=max(high, low + 1e-9),
        rasterized=True, shading="flat",
    )  # fmt: skip
    axes.set_ylim(_edges(angles)[0], _edges(angles)[-1])


def _schedule(axes: Axes, run: FurnaceRun) -> None:
    style(axes, y_label="furnace (°C)")
    axes.plot(run.log.hours, run.log.temperatures_c, color=GARNET, linewidth=STRONG)


def _signal(axes: Axes, run: FurnaceRun) -> None:
    """Resistance or voltage, and its steps."""
    assert run.signal is not None
    style(axes, y_label=f"{run.signal.name} ({run.signal.unit})")
    axes.plot(run.signal.hours, run.signal.values, color=INK, linewidth=THIN)
    for step in run.signal.steps:
        face = GARNET if step.matched else PAPER
        axes.plot(
            step.time_h, 0.92, marker="v", markersize=5.0, color=GARNET, markerfacecolor=face, linestyle="none",
            transform=axes.get_xaxis_transform(), zorder=6,
        )  # fmt: skip


def _bands(axes: Axes, run: FurnaceRun) -> None:
    """When each phase is seen."""
    style(axes)
    axes.set_ylim(-0.5, len(run.phases) - 0.5)
    axes.invert_yaxis()
    axes.set_yticks(range(len(run.phases)), run.phases)
    axes.tick_params(axis="y", length=0.0)
    for k, name in enumerate(run.phases):
        spans = [(span.from_h, span.to_h - span.from_h) for span in run.periods.get(name, [])]
        axes.broken_barh(spans, (k - 0.35, 0.7), facecolors=phase_colour(k), linewidth=0.0)


def _amounts(axes: Axes, run: FurnaceRun) -> None:
    style(axes, y_label="weight (%)")
    for k, name in enumerate(run.phases):
        if WEIGHT_FRACTION.of(name) in run.table:
            _course(axes, run, WEIGHT_FRACTION.of(name), 100.0, stroke(phase_colour(k)), name)
    if run.curve is not None and run.a15:
        axes.plot(
            *_law(run), color=INK, linewidth=THIN, linestyle=(0, (5, 2)), zorder=4, label="conversion law fitted"
        )
    legend(axes, ncols=3)


def _law(run: FurnaceRun) -> tuple[Array, Array]:
    """The fitted conversion law at the times of the frames."""
    from xrdorder.series.conversion_curve import law_at

    hours = run.table["time_h"].values
    hours = hours[(hours > run.log.hours[0]) & (hours <= run.log.hours[-1])]
    assert run.curve is not None
    return hours, 100.0 * law_at(run.curve, run.log, hours)


def _quantity(axes: Axes, run: FurnaceRun, *, name: str) -> None:
    """A quantity of the A15, in the unit of its changes."""
    scale = quantity(name).differences
    style(axes, y_label=f"{quantity(name).title} ({scale.unit})" if scale.unit else quantity(name).title)
    _course(axes, run, name, scale.factor, INK)


def _course(axes: Axes, run: FurnaceRun, name: str, factor: float, colour: str, label: str = "") -> None:
    """One quantity over time, with what frames do not share as bars."""
    hours, values = run.table["time_h"].values, factor * run.table[name].values
    if U_OWN + name in run.table:
        u = np.nan_to_num(factor * run.table[U_OWN + name].values)
        axes.vlines(hours, values - u, values + u, color=FOG, linewidth=THIN, zorder=1)
    axes.plot(
        hours, values, color=colour, linewidth=0.0, marker="o", markersize=1.8, zorder=3, label=label or None
    )
    known = values[np.isfinite(values)]
    if known.size:  # single frames at the edge of what can be seen must not set the scale
        low, high = np.percentile(known, [2.0, 98.0])
        before = axes.dataLim.intervaly if label else (low, high)
        room = 0.25 * max(high - low, 1e-9 + 0.002 * abs(high))
        if label:
            axes.set_ylim(min(0.0, float(before[0])), 1.05 * max(float(before[1]), high, 1.0))
        else:
            axes.set_ylim(low - room, high + room)


def _marks(axes: Axes, run: FurnaceRun) -> None:
    """Onset, and frames without beam."""
    edges = _edges(run.table["time_h"].values)
    for k in np.flatnonzero(run.table["status"].values == NO_BEAM_STATUS):
        axes.axvspan(edges[k], edges[k + 1], color=MIST, linewidth=0.0, zorder=0)
    if run.onset is not None:
        when = run.onset
        axes.axvspan(
            when.time_h - when.u_h, when.time_h + when.u_h, color=FOG, alpha=0.5, linewidth=0.0, zorder=0.5
        )
        axes.axvline(when.time_h, color=GARNET, linewidth=LINE, linestyle=(0, (3, 2)), zorder=5)
