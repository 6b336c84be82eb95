"""Plans of a scan: where to count, with which radiation, how many wires.

Counting time stands under the expected pattern, over the same angles, so that it is seen which lines it is spent on;
counts are drawn by their square root, in which noise is as high everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, NullFormatter

from xrdorder.drawing.layout import (
    HAIR,
    LINE,
    SCREEN,
    STRONG,
    THIN,
    Margins,
    Size,
    font,
    grid,
    minor_ticks,
    page,
    place,
    style,
    write,
)
from xrdorder.drawing.palette import CLAY, FOG, GARNET, INK, LAGOON, MIST, SLATE, lot_colour
from xrdorder.drawing.parts import legend
from xrdorder.drawing.text import SMALL
from xrdorder.quantities.registry import quantity
from xrdorder.scan_planning.plan import ScanPlan
from xrdorder.scan_planning.power import power_of
from xrdorder.scan_planning.radiation_choice import TUBES, Light, course
from xrdorder.scan_planning.wires_plan import WiresPlan
from xrdorder.xrays import EDGE_REACH_EV, absorption_edges

_LEFT_IN, _RIGHT_IN, _BOTTOM_IN, _GAP_IN = 0.78, 0.2, 0.5, 0.1
_PATTERN_IN, _TIME_IN, _COURSE_IN, _BETWEEN_IN = 2.2, 1.1, 2.2, 0.75
_PLAIN = FuncFormatter(lambda x, _: f"{x:g}")


def ranges_figure(plan: ScanPlan, *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the expected pattern, the counting time under it, and what counting tells."""
    allocation = plan.allocation
    body = _PATTERN_IN + _GAP_IN + _TIME_IN + _BETWEEN_IN + _COURSE_IN + _BOTTOM_IN
    remark = (
        "Expected counts (square root) and the best distribution of counting time, seconds at a step; dashed, a "
        f"uniform scan as long. {allocation.gain:.2g} times as fast as uniform. Below: standard uncertainties against "
        "the length of a uniform scan; dotted, what counting leaves; marks, targets."
    )
    figure = page(size, body, title=title or "Where to count, and how long", remark=remark, left_in=_LEFT_IN)
    wide = size.width_in - _LEFT_IN - _RIGHT_IN
    low = _BOTTOM_IN + _COURSE_IN + _BETWEEN_IN
    time = place(figure, _LEFT_IN, low, wide, _TIME_IN)
    pattern = place(figure, _LEFT_IN, low + _TIME_IN + _GAP_IN, wide, _PATTERN_IN, share=time)
    _pattern(pattern, plan)
    _times(time, plan)
    _courses(place(figure, _LEFT_IN, _BOTTOM_IN, wide, _COURSE_IN), plan)
    return figure


def _pattern(axes: Axes, plan: ScanPlan) -> None:
    style(axes, y_label="root of counts")
    angles = plan.prospect.two_theta
    values = plan.prospect.job.fit.values()
    measured = plan.prospect.measured
    if measured is not None:
        axes.plot(angles, np.sqrt(np.maximum(measured.values, 0.0)), color=FOG, linewidth=HAIR, zorder=1)
    main = plan.prospect.job.main
    counts = np.maximum(plan.prospect.pattern.values, 0.0)
    background = plan.prospect.job.model.background(values)
    part = plan.prospect.job.model.part_of(main.phase.name, values)
    axes.plot(angles, np.sqrt(counts), color=SLATE, linewidth=THIN, zorder=2, label="all phases")
    axes.plot(angles, np.sqrt(np.maximum(background + part, 0.0)), color=INK, linewidth=THIN, zorder=3, label="A15")
    axes.tick_params(labelbottom=False)
    axes.set_ylim(bottom=0.0)
    axes.set_xlim(angles[0], angles[-1])
    legend(axes, loc="upper right", ncols=2)


def _times(axes: Axes, plan: ScanPlan) -> None:
    style(axes, x_label="2θ (degrees)", y_label="s at a step")
    ranges = plan.allocation.ranges
    edges = [ranges[0].from_deg, *(stretch.to_deg for stretch in ranges)]
    seconds = np.array([stretch.seconds for stretch in ranges])
    axes.stairs(seconds, edges, baseline=None, color=GARNET, linewidth=LINE, zorder=3)
    uniform = plan.allocation.seconds / sum(stretch.points for stretch in ranges)
    axes.axhline(uniform, color=SLATE, linewidth=THIN, linestyle=(0, (4, 3)), zorder=2)
    axes.set_yscale("log")
    axes.set_ylim(0.6 * min(seconds.min(), uniform), 1.8 * max(seconds.max(), uniform))
    axes.yaxis.set_major_formatter(_PLAIN)
    axes.yaxis.set_minor_formatter(NullFormatter())
    for low, high, value in zip(edges[:-1], edges[1:], seconds, strict=True):
        axes.fill_between([low, high], [axes.get_ylim()[0]] * 2, [value] * 2, color=MIST, zorder=1, linewidth=0.0)
    minor_ticks(axes, x=4)


def _courses(axes: Axes, plan: ScanPlan) -> None:
    """Uncertainties over what is asked for, or over that of the scan: quantities of different units on one axis."""
    style(axes, x_label="length of a uniform scan (h)", y_label="u over target")
    finite = [need.seconds for need in plan.needs if math.isfinite(need.seconds)]
    now = plan.prospect.seconds
    seconds = np.geomspace(min([now, plan.seconds, *finite]) / 8.0, max([now, *finite]) * 30.0, 120)
    for k, need in enumerate(plan.needs):
        colour = lot_colour(k)
        unit = need.course.u(now) if math.isnan(need.target.u) else need.target.u
        noun = ("Δ " if need.target.of_difference else "") + quantity(need.target.quantity).noun
        curve = [need.course.u(float(t)) / unit for t in seconds]
        axes.plot(seconds / 3600.0, curve, color=colour, linewidth=STRONG, label=noun)
        axes.axhline(need.course.limit / unit, color=colour, linewidth=THIN, linestyle=(0, (1, 2)))
        if math.isfinite(need.seconds):
            axes.plot([need.seconds / 3600.0], [1.0], "o", color=colour, markersize=6.0, zorder=4)
    axes.axhline(1.0, color=FOG, linewidth=THIN, zorder=0)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(seconds[0] / 3600.0, seconds[-1] / 3600.0)
    axes.xaxis.set_major_formatter(_PLAIN)
    axes.yaxis.set_major_formatter(_PLAIN)
    axes.yaxis.set_minor_formatter(NullFormatter())
    legend(axes, loc="upper right")
    if all(math.isnan(need.target.u) for need in plan.needs):
        axes.set_ylabel("u over that of the scan", **font())


def radiation_figure(
    lights: Sequence[Light], dopants: Mapping[str, float] | None = None, *, title: str = "", size: Size = SCREEN
) -> Figure:
    """Show order contrast, depth and fluorescence against photon energy; `lights` are marked."""
    remark = (
        "Contrast |f_Sn - f_Nb|² at the line (110), by Cromer and Liberman's tables; thin, by Chantler's. Shaded: "
        "within 30 eV of an edge, where no table holds. Depth 1/µ in dense Nb3Sn; fluorescence photons for each one "
        "absorbed."
    )
    figure, (above, below) = grid(
        size, 2, 2.3, title=title or "Which radiation", remark=remark, columns=1,
        margins=Margins(right=0.78, bottom=0.5, down=0.5),
    )  # fmt: skip
    every = course(dopants)
    energies = np.array([entry.energy_ev for entry in every]) / 1e3
    style(above, y_label="order contrast (electrons²)")
    contrast = np.array([entry.contrast for entry in every])
    other = contrast * (1.0 + np.array([entry.by_table for entry in every]))
    above.plot(energies, contrast, color=INK, linewidth=STRONG, zorder=3)
    above.plot(energies, other, color=CLAY, linewidth=THIN, zorder=2)
    for radiation in lights:
        above.plot([radiation.energy_ev / 1e3], [radiation.contrast], "o", color=GARNET, markersize=5.0, zorder=4)
        # away from the curve: above it where it rises towards an edge, left of it near one
        near = abs(radiation.from_edge_ev) < 1e3 and radiation.energy_ev > 1e4
        name = radiation.name.removesuffix("-ka").capitalize() if radiation.name in TUBES else radiation.name
        by, ha, va = ((-6.0, 0.0), "right", "center") if near else ((0.0, -5.0), "center", "top")
        write(above, name, (radiation.energy_ev / 1e3, radiation.contrast), SMALL, by=by, ha=ha, va=va)
    style(below, x_label="photon energy (keV)", y_label="1/µ (µm)")
    below.plot(energies, [entry.depth_um for entry in every], color=LAGOON, linewidth=STRONG)
    right = below.twinx()
    style(right, y_label="fluorescence", open_frame=False)
    right.plot(energies, [entry.fluorescence for entry in every], color=CLAY, linewidth=LINE)
    right.set_ylim(0.0, 1.0)
    for axes in (above, below):
        axes.set_xscale("log")
        axes.set_xlim(0.95 * energies[0], 1.06 * energies[-1])
        axes.set_xticks([5, 6, 8, 10, 15, 20, 30, 40, 60])
        axes.xaxis.set_major_formatter(_PLAIN)
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_ylim(0.0)
        for element in ("Nb", "Sn"):
            edge = dict(absorption_edges(element))["K"]
            ends = (edge - EDGE_REACH_EV) / 1e3, (edge + EDGE_REACH_EV) / 1e3
            axes.axvspan(*ends, color=FOG, zorder=0, linewidth=LINE)
    for element in ("Nb", "Sn"):
        edge = dict(absorption_edges(element))["K"] / 1e3
        write(above, f"{element} K", (1.01 * edge, above.get_ylim()[1]), SMALL, SLATE, va="top")
    for colour, text, at in ((LAGOON, "1/µ", 0.95), (CLAY, "fluorescence (right)", 0.85)):
        write(below, text, (0.02, at), SMALL, colour, on="frame", va="top")
    return figure


def wires_figure(
    plan: WiresPlan, factor: float = 1.0, unit: str = "", *, title: str = "", size: Size = SCREEN
) -> Figure:
    """Show the power against the number of wires, for the cheapest way and others.

    Parameters
    ----------
    plan : WiresPlan
    factor, unit
        The quantity is shown in this unit, of which the stored one has `factor`.
    title : str
    size : Size
    """
    noun = "critical current" if plan.quantity == "Ic" else quantity(plan.quantity).noun
    what = f"{plan.difference / factor:g} {unit}".strip()
    remark = (
        f"Probability of seeing a difference of {what} in {noun} between two treatments (two-sided, alpha = "
        f"{plan.alpha:g}), wires scattering by {f'{plan.scatter.u / factor:.2g} {unit}'.strip()} about their treatment."
        " Dashed: the scatter of wires alone; marks: the cheapest of each kind."
    )
    figure, (axes,) = grid(
        size, 1, 3.0, title=title or "How many wires", remark=remark, columns=1, margins=Margins(above=0.2)
    )
    style(axes, x_label="wires of each treatment", y_label="probability of seeing the difference")
    most = max([10, *(2 * mix.wires for mix in plan.mixes), 2 * (plan.at_best or 0)])
    numbers = np.arange(1, min(most, 60) + 1)

    def power(u: float) -> list[float]:
        return [power_of(plan.difference, u, int(n), alpha=plan.alpha, known=plan.scatter.freedom) for n in numbers]

    axes.plot(numbers, power(plan.scatter.u), color=SLATE, linewidth=LINE, linestyle=(0, (4, 3)), label="scatter alone")
    for colour, mix in zip((INK, GARNET, LAGOON), plan.mixes, strict=False):
        axes.plot(numbers, power(mix.u / math.sqrt(2.0 / mix.wires)), color=colour, linewidth=STRONG, label=mix.by)
        axes.plot([mix.wires], [mix.power], "o", color=colour, markersize=6.5, zorder=4)
    axes.axhline(plan.power, color=FOG, linewidth=THIN, zorder=0)
    axes.set_ylim(0.0, 1.02)
    axes.set_xlim(1.0, float(numbers[-1]))
    minor_ticks(axes, x=5, y=5)
    legend(axes)
    return figure
