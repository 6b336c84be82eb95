"""Lines of the A15 one by one, a panel a sample: what each says of the lattice, and how wide the specimen makes it.

Marks are fits of single lines (`xrdorder.fitting.single_lines`), curves what the fit of the whole pattern says of them.
`extrapolation_figure` has the lattice parameter by each line against cos²θ/sinθ. A flat specimen beside the axis moves
a line by that much of its spacing, so the displacement is the slope and the lattice parameter stands at zero:
B. D. Cullity, Elements of X-Ray Diffraction, 2nd ed. 1978 (from memory). `williamson_hall_figure` has the integral
breadth that the specimen adds, times cos θ, against sin θ: domain size alone is a level, strain alone rises from zero.
G. K. Williamson and W. H. Hall, Acta Metall. 1 (1953) 22 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from xrdorder.drawing.layout import (
    HAIR,
    LINE,
    SCREEN,
    STRONG,
    THIN,
    Margins,
    Size,
    grid,
    minor_ticks,
    panel_height,
    rows_without_overlap,
    style,
    write,
    zero_line,
)
from xrdorder.drawing.palette import GARNET, INK, PAPER, SLATE
from xrdorder.drawing.text import POINTS_PER_IN, SMALL, fitted, plain, wrapped_in
from xrdorder.exceptions import StudyError
from xrdorder.figures.counts import indices
from xrdorder.profiles.width_terms import voigt_breadth

Array = NDArray[np.float64]

_PANEL_IN, _LEAST_IN, _NAME_IN, _REMARK_IN, _TICKS_IN = 1.6, 0.7, 0.36, 0.12, 0.42
_TAKEN = 4.0  # a line less sure than so many times the middle one does not set the scale
_STEPS = 60
_FROM_ZERO = 0.3  # a scale that begins below this share of its end begins at zero
_LABEL_IN = 0.22


@dataclass(frozen=True)
class LinesOfSample:
    """Single lines of a sample with what the fit says of all of them.

    Attributes
    ----------
    name : str
    lines : Dataset
        As `xrdorder.fitting.from_lines.single_line_table` gives it.
    remark : str
        Result of the fit in one line.
    a_nm : float
        Lattice parameter of the fit, at the temperature of the measurement.
    lorentz_sec, lorentz_tan, gauss_tan2 : float
        Widths of the fit (degrees, degrees, degrees²).
    by_direction : bool
        Strain depends on the direction: the fit's widths follow no curve over the angle.
    """

    name: str
    lines: xr.Dataset
    remark: str
    a_nm: float = math.nan
    lorentz_sec: float = math.nan
    lorentz_tan: float = math.nan
    gauss_tan2: float = math.nan
    by_direction: bool = False

    @property
    def with_centres(self) -> xr.Dataset:
        """Lines whose centre was fitted."""
        return self._where("u_a_nm")

    @property
    def with_widths(self) -> xr.Dataset:
        """Lines whose width was fitted."""
        return self._where("u_specimen_lorentz")

    def _where(self, u: str) -> xr.Dataset:
        used = np.isfinite(self.lines[u].values) & (self.lines["reason"].values.astype(str) == "")
        return self.lines.isel(single_line=np.flatnonzero(used))


def extrapolation_figure(samples: Sequence[LinesOfSample], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the lattice parameter by single lines against cos²θ/sinθ, in ppm of that of the whole fit.

    Parameters
    ----------
    samples : sequence of LinesOfSample
        A panel each; those without a fitted centre are left out.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No sample has a line with a fitted centre.
    """
    usable = [sample for sample in samples if sample.with_centres.sizes["single_line"]]
    remark = (
        "Marks: lattice parameter by each line alone, less that of the whole fit; bars: standard uncertainty from "
        "counting. Line: the whole fit, whose displacement is the slope; open mark: its lattice parameter."
    )
    return _on_one_scale(_panels(usable, _draw_lattice, title, remark, size))


def williamson_hall_figure(samples: Sequence[LinesOfSample], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the breadth that the specimen adds to single lines, times cos θ, against sin θ.

    Parameters
    ----------
    samples : sequence of LinesOfSample
        A panel each; those without a fitted width are left out.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No sample has a line with a fitted width.
    """
    usable = [sample for sample in samples if sample.with_widths.sizes["single_line"]]
    remark = (
        "Marks: integral breadth of each line beyond that of the instrument, standard uncertainty from counting; the "
        "Gaussian part is held to the fit. Line: crystallite size (value at zero) and strain (slope) of the whole fit."
    )
    return _on_one_scale(_panels(usable, _draw_widths, title, remark, size))


def _on_one_scale(figure: Figure) -> Figure:
    """Give all panels one scale, so that samples are compared; from zero where that costs little."""
    ends = np.array([axes.get_ylim() for axes in figure.axes])
    low, high = float(ends[:, 0].min()), float(ends[:, 1].max())
    for axes in figure.axes:
        axes.set_ylim(0.0 if 0.0 < low < _FROM_ZERO * high else low, high)
    return figure


def _panels(
    samples: Sequence[LinesOfSample], draw: Callable[[Axes, LinesOfSample], None], title: str, remark: str, size: Size
) -> Figure:
    if not samples:
        raise StudyError("no sample has single lines of the A15; run the study again with cross-checks")
    abreast = min(size.columns, len(samples))
    room = Margins(left=0.82, right=0.16, bottom=0.5, across=0.85)
    wide = (size.width_in - room.left - room.right - (abreast - 1) * room.across) / abreast
    remarks = [wrapped_in(sample.remark, wide, SMALL) for sample in samples]
    above = _NAME_IN + _REMARK_IN * max(map(len, remarks))
    room = replace(room, above=above, down=above + _TICKS_IN - 0.08)
    rows = -(-len(samples) // abreast)
    tall = panel_height(size, _PANEL_IN, _LEAST_IN, rows, room.above + (rows - 1) * room.down + room.bottom)
    figure, panels = grid(size, len(samples), tall, title=title, remark=remark, margins=room)
    for k, (axes, sample, words) in enumerate(zip(panels, samples, remarks, strict=True)):
        draw(axes, sample)
        axes.tick_params(axis="x", pad=5.0)  # a number at the foot of the other axis has room
        if k + abreast < len(samples):
            axes.set_xlabel("")
        remark, up = plain("\n".join(words)), 17.0 + POINTS_PER_IN * _REMARK_IN * len(words)
        write(axes, remark, (0.0, 1.0), SMALL, SLATE, on="frame", by=(0.0, 15.0), linespacing=1.2)
        write(axes, fitted(sample.name, wide, bold=True), (0.0, 1.0), on="frame", by=(0.0, up), weight="bold")
    return figure


def _draw_lattice(axes: Axes, sample: LinesOfSample) -> None:
    lines = sample.with_centres
    theta = np.radians(lines["theta"].values)
    lever = np.cos(theta) ** 2 / np.sin(theta)
    style(axes, x_label="cos²θ/sinθ", y_label="Δa/a (ppm)")
    order = np.argsort(lever)
    there = math.isfinite(sample.a_nm)
    base = sample.a_nm if there else float(np.median(lines["a_nm"].values))
    measured, calculated = (1e6 * (lines[name].values / base - 1.0) for name in ("a_nm", "calculated_a_nm"))
    u = 1e6 * lines["u_a_nm"].values / base
    start = [0.0] if there else []
    axes.plot(
        [*start, *lever[order]], [*start, *calculated[order]], color=GARNET, linewidth=LINE, zorder=2
    )  # fmt: skip
    axes.plot(start, start, "D", markersize=5.0, markerfacecolor=PAPER, markeredgecolor=GARNET, clip_on=False, zorder=4)
    _marks(axes, lever, measured, u)
    zero_line(axes)
    axes.set_xlim(0.0, 1.06 * float(lever.max()))
    _limit(axes, measured, u, [*start, *calculated])
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    _name(axes, lever, lines)


def _draw_widths(axes: Axes, sample: LinesOfSample) -> None:
    lines = sample.with_widths
    theta = np.radians(lines["theta"].values)
    sine, cosine = np.sin(theta), np.cos(theta)
    style(axes, x_label="sinθ", y_label="breadth × cosθ (10⁻³ rad)")
    widths, u = lines["specimen_lorentz"].values, lines["u_specimen_lorentz"].values
    gauss2 = lines["specimen_gauss_squared"].values

    def breadths(lorentz: Array) -> Array:
        single = [voigt_breadth(float(w), float(g)) for w, g in zip(lorentz, gauss2, strict=True)]
        return np.asarray(1000.0 * np.radians(single) * cosine)

    y, low, high = breadths(widths), breadths(widths - u), breadths(widths + u)
    if sample.by_direction:
        calculated = breadths(lines["calculated_specimen_lorentz"].values)
        axes.plot(sine, calculated, "_", color=GARNET, markersize=9.0, markeredgewidth=STRONG, zorder=2)
    else:
        over = np.linspace(0.0, 1.04 * float(sine.max()), _STEPS)
        calculated = 1000.0 * np.radians(
            [voigt_breadth(sample.lorentz_sec + sample.lorentz_tan * s, sample.gauss_tan2 * s * s) for s in over]
        )
        axes.plot(over, calculated, color=GARNET, linewidth=LINE, zorder=2)
    _marks(axes, sine, y, np.stack([y - low, high - y]))
    axes.set_xlim(0.0, 1.04 * float(sine.max()))
    _limit(axes, y, np.maximum(y - low, high - y), calculated)
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    _name(axes, sine, lines)


def _marks(axes: Axes, x: Array, y: Array, u: Array) -> None:
    axes.errorbar(
        x, y, yerr=u, fmt="o", color=INK, markersize=3.4, elinewidth=LINE, markeredgecolor=PAPER, markeredgewidth=HAIR,
        zorder=3,
    )  # fmt: skip


def _limit(axes: Axes, values: Array, u: Array, calculated: Sequence[float] | Array) -> None:
    """Scale by lines that say something: the bar of a very weak one would make all others flat."""
    sure = u <= _TAKEN * float(np.median(u))
    ends = [*(values - u)[sure], *(values + u)[sure], *values, *calculated]
    low, high = float(np.nanmin(ends)), float(np.nanmax(ends))
    room = 0.08 * (high - low) or 1e-6
    axes.set_ylim(low - room, high + room)
    minor_ticks(axes, x=2)


def _name(axes: Axes, x: Array, lines: xr.Dataset) -> None:
    """Write indices over the frame at the strongest lines, as many as have room."""
    rank = np.argsort(-lines["area"].values, kind="stable")
    low, high = axes.get_xlim()
    wide_in = axes.get_position().width * axes.get_figure().get_size_inches()[0]  # type: ignore[union-attr]
    rows = rows_without_overlap([float(x[k]) for k in rank], _LABEL_IN * (high - low) / wide_in, 1)
    across = axes.get_xaxis_transform()
    axes.plot(
        np.repeat(x, 3), np.tile([1.0, 1.03, np.nan], len(x)), transform=across, color=INK, linewidth=THIN,
        clip_on=False,
    )
    for k, row in zip(rank, rows, strict=True):
        if row is not None:
            words = indices(str(lines["hkl"].values[k]))
            write(axes, words, (x[k], 1.03), SMALL - 0.6, on="x", by=(0.0, 1.5), ha="center")
