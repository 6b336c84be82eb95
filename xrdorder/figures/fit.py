"""One fitted pattern: what was counted, what explains it, and what is left over.

From top to bottom: a lane of line marks for each phase (height by the root of the calculated area), the
pattern on a square-root scale (counts as bars of one standard uncertainty over the filled parts of background
and phases, which together make up the calculated curve), the weighted residual as a filled band, and
close-ups of the lines that decide: (110), which carries the order, and the crowd where residual niobium and
bronze stand beside the A15.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from xrdorder.figures import palette
from xrdorder.figures.sheet import (
    NORMAL,
    SMALL,
    font,
    heading,
    minor_ticks,
    root_scale,
    rows_without_overlap,
    sheet,
    style,
    zero_line,
)

if TYPE_CHECKING:
    from xrdorder.fitting import PhaseResult

Array = NDArray[np.float64]

A15 = "nb3sn"

_WIDTH_IN = 10.4
_LEFT_IN, _RIGHT_IN, _TOP_IN, _BOTTOM_IN = 1.28, 0.18, 0.66, 0.46
_LANE_IN, _PATTERN_IN, _RESIDUAL_IN, _CLOSE_IN = 0.40, 3.1, 0.95, 2.1
_GAP_IN, _CLOSE_GAP_IN, _CLOSE_LABELS_IN = 0.07, 0.46, 0.50
_RESIDUAL_LIMITS = (4.0, 15.0)
_SMOOTHING_DEG = 0.4  # about three widths of a line: what is left after it is misfit, not noise
_TITLES = {
    "nb3sn": "Nb$_3$Sn",
    "nb": "Nb",
    "ta": "Ta",
    "cu": "Cu",
    "cu-sn": "Cu-Sn",
    "si": "Si",
    "lab6": "LaB$_6$",
}


@dataclass(frozen=True)
class CloseUp:
    """A stretch of the pattern drawn large.

    Attributes
    ----------
    title : str
    low, high : float
        2θ in degrees.
    from_zero : bool
        Counts from zero on a square-root scale; otherwise linear and only as far down as needed.
    """

    title: str
    low: float
    high: float
    from_zero: bool = True


@dataclass(frozen=True)
class _Lane:
    """What is drawn of one phase."""

    name: str
    colour: str
    remark: str
    two_theta: Array
    area: Array
    hkl: tuple[str, ...]

    @property
    def title(self) -> str:
        return _TITLES.get(self.name, self.name if len(self.name) <= 14 else f"{self.name[:13]}…")


def fit_figure(
    curves: xr.Dataset,
    lines: xr.Dataset,
    phases: "Mapping[str, PhaseResult] | xr.Dataset | None" = None,
    *,
    title: str = "",
    remark: str = "",
    close_ups: Sequence[CloseUp] | None = None,
) -> Figure:
    """Show a fitted pattern.

    Parameters
    ----------
    curves, lines : Dataset
        As of `xrdorder.fitting.PatternFit`, or as stored of a sample.
    phases : mapping of str to PhaseResult, or Dataset, optional
        Amounts, and limits of phases that were not found.
    title, remark : str
        What is shown, and one line about it.
    close_ups : sequence of CloseUp, optional
        At most two stretches to draw large. By default (110) and the crowd of the A15; without an A15 the first line
        and the strongest one.

    Returns
    -------
    Figure
    """
    lanes = _lanes(lines, phases)
    stretches = tuple(default_close_ups(curves, lines) if close_ups is None else close_ups)[:2]
    height = _TOP_IN + len(lanes) * _LANE_IN + _PATTERN_IN + _RESIDUAL_IN + 2 * _GAP_IN + _BOTTOM_IN
    height += (_CLOSE_IN + _CLOSE_GAP_IN + _CLOSE_LABELS_IN) if stretches else 0.0
    figure = sheet(_WIDTH_IN, height)
    heading(figure, title, remark, left=_LEFT_IN / _WIDTH_IN)

    top = height - _TOP_IN
    lane_axes = _place(figure, top - len(lanes) * _LANE_IN, len(lanes) * _LANE_IN)
    top -= len(lanes) * _LANE_IN + _GAP_IN
    main = _place(figure, top - _PATTERN_IN, _PATTERN_IN, lane_axes)
    top -= _PATTERN_IN + _GAP_IN
    below = _place(figure, top - _RESIDUAL_IN, _RESIDUAL_IN, main)

    x = curves["two_theta"].values
    main.set_xlim(float(x[0]), float(x[-1]))
    _draw_lanes(lane_axes, lanes, float(x[0]), float(x[-1]))
    _draw_pattern(main, curves, lanes)
    _draw_residual(below, curves)
    for letter, stretch in zip("AB", stretches, strict=False):
        for axes in (main, below):
            axes.axvspan(stretch.low, stretch.high, color=palette.MIST, linewidth=0.0, zorder=0.1)
        main.annotate(
            letter,
            (0.5 * (stretch.low + stretch.high), 1.0),
            xycoords=main.get_xaxis_transform(),
            xytext=(0, -2),
            textcoords="offset points",
            ha="center",
            va="top",
            **font(SMALL, color=palette.SLATE),
        )
    _draw_close_ups(figure, stretches, curves, lanes)
    return figure


def default_close_ups(curves: xr.Dataset, lines: xr.Dataset) -> tuple[CloseUp, ...]:
    """Find the stretches that deserve a close look, as far as the pattern reaches them."""
    found: list[CloseUp] = []
    names, hkl = lines["phase"].values.astype(str), lines["hkl"].values.astype(str)
    angle = lines["two_theta"].values

    def at(phase: str, index: str) -> float:
        match = np.flatnonzero((names == phase) & (hkl == index))
        return float(angle[match[0]]) if match.size else np.nan

    order, first, last = at(A15, "1 1 0"), at(A15, "2 1 0"), at(A15, "2 1 1")
    if np.isfinite(order):
        found.append(CloseUp("order line (110)", order - 1.3, order + 1.3, from_zero=False))
    if np.isfinite(first) and np.isfinite(last):
        found.append(CloseUp("crowd (210), Nb (110), (211)", first - 0.8, last + 1.6))
    if not np.any(names == A15) and angle.size:
        strongest = float(angle[np.argmax(lines["area"].values)])
        lowest = float(np.min(angle))
        found.append(CloseUp("first line", lowest - 0.8, lowest + 0.8))
        if strongest != lowest:
            found.append(CloseUp("strongest line", strongest - 0.8, strongest + 0.8))
    x = curves["two_theta"].values
    inside = [stretch for stretch in found if stretch.low < x[-1] and stretch.high > x[0]]
    return tuple(
        CloseUp(s.title, max(s.low, float(x[0])), min(s.high, float(x[-1])), s.from_zero)
        for s in inside
        if np.count_nonzero((x > s.low) & (x < s.high)) >= 5
    )


def _lanes(lines: xr.Dataset, phases: "Mapping[str, PhaseResult] | xr.Dataset | None") -> list[_Lane]:
    amounts = _amounts(phases)
    of = lines["phase"].values.astype(str)
    names = list(dict.fromkeys([*amounts, *of]))
    lanes = []
    for k, name in enumerate(names):
        mine = of == name
        lanes.append(
            _Lane(
                name,
                palette.phase_colour(k),
                amounts.get(name, ""),
                lines["two_theta"].values[mine],
                lines["area"].values[mine],
                tuple(_indices(text) for text in lines["hkl"].values[mine].astype(str)),
            )
        )
    return lanes


def _indices(text: str) -> str:
    """Write indices as crystallographers do: "1 1 0" as "110", unless one has two digits or a sign."""
    parts = text.split()
    return "".join(parts) if all(len(part) == 1 for part in parts) else " ".join(parts)


def _amounts(phases: "Mapping[str, PhaseResult] | xr.Dataset | None") -> dict[str, str]:
    """Say in a few words how much there is of each phase."""
    if phases is None:
        return {}
    if isinstance(phases, xr.Dataset):
        keys = ("present", "weight_fraction", "u_weight_fraction", "upper_limit")
        rows = {
            str(name): tuple(float(phases[key].values[k]) for key in keys)
            for k, name in enumerate(phases["phase"].values)
        }
    else:
        rows = {
            name: (float(one.present), one.weight_fraction, one.u_weight_fraction, one.upper_limit)
            for name, one in phases.items()
        }
    words = {}
    for name, (present, fraction, u, limit) in rows.items():
        if present and len(rows) > 1:
            words[name] = f"{100 * fraction:.1f} ± {100 * u:.1f} wt%"
        elif present:
            words[name] = ""  # all of it
        else:
            words[name] = f"below {100 * limit:.2g} wt%" if np.isfinite(limit) else "not found"
    return words


def _place(figure: Figure, bottom_in: float, height_in: float, share: Axes | None = None) -> Axes:
    width, height = figure.get_size_inches()
    box = (
        _LEFT_IN / width,
        bottom_in / height,
        (width - _LEFT_IN - _RIGHT_IN) / width,
        height_in / height,
    )
    return figure.add_axes(box, sharex=share)


def _draw_lanes(axes: Axes, lanes: Sequence[_Lane], low: float, high: float) -> None:
    """One lane a phase, the first on top; marks stand on the lane's floor."""
    style(axes)
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.tick_params(which="both", left=False, bottom=False, labelleft=False, labelbottom=False)
    axes.set_ylim(0.0, float(len(lanes)))
    strongest = max((float(lane.area.max()) for lane in lanes if lane.area.size), default=1.0)
    degrees_per_inch = (high - low) / (_WIDTH_IN - _LEFT_IN - _RIGHT_IN)
    for k, lane in enumerate(lanes):
        floor = len(lanes) - 1 - k
        axes.axhspan(floor + 0.03, floor + 0.97, color=palette.MIST, linewidth=0.0, zorder=0.1)
        axes.text(
            -0.008,
            floor + 0.66,
            lane.title,
            transform=axes.get_yaxis_transform(),
            ha="right",
            va="center",
            **font(NORMAL, weight="bold"),
        )
        axes.text(
            -0.008,
            floor + 0.28,
            lane.remark,
            transform=axes.get_yaxis_transform(),
            ha="right",
            va="center",
            **font(SMALL, color=palette.SLATE),
        )
        inside = (lane.two_theta >= low) & (lane.two_theta <= high) & (lane.area > 0.0)
        if not np.any(inside):
            words = "no line in this range" if lane.two_theta.size else "not found: no marks"
            axes.text(
                0.01,
                floor + 0.5,
                words,
                transform=axes.get_yaxis_transform(),
                va="center",
                **font(SMALL, color=palette.SLATE),
            )
            continue
        angles, areas = lane.two_theta[inside], lane.area[inside]
        hkl = [text for text, keep in zip(lane.hkl, inside, strict=True) if keep]
        tops = floor + 0.05 + 0.08 + 0.42 * np.sqrt(areas / strongest)
        axes.vlines(angles, floor + 0.05, tops, color=palette.stroke(lane.colour), linewidth=1.1, zorder=2)
        _label_lines(axes, angles, areas, hkl, tops, degrees_per_inch, (low, high))


def _label_lines(
    axes: Axes,
    angles: Array,
    areas: Array,
    hkl: Sequence[str],
    tops: Array,
    degrees_per_inch: float,
    limits: tuple[float, float],
) -> None:
    """Write indices over the strongest marks, as many as have room; (110) of any phase goes first."""
    width = 0.24 * degrees_per_inch
    rank = sorted(range(len(hkl)), key=lambda k: (hkl[k] != "110", -areas[k]))
    rows = rows_without_overlap([float(angles[k]) for k in rank], width, 1)
    for k, row in zip(rank, rows, strict=True):
        # a label over a short mark must not be crossed by a taller neighbour
        near = (np.abs(angles - angles[k]) < 0.6 * width) & (tops > tops[k] + 1e-9)
        room = limits[0] + 0.4 * width <= angles[k] <= limits[1] - 0.4 * width
        if row is None or np.any(near) or not room:
            continue
        axes.annotate(
            hkl[k],
            (angles[k], tops[k]),
            xytext=(0, 1.2),
            textcoords="offset points",
            ha="center",
            va="bottom",
            **font(SMALL - 0.6),
        )


def _standard_uncertainty(curves: xr.Dataset) -> Array:
    """Standard uncertainty of the counts as the fit took it, out of the weighted residual."""
    observed, calculated = curves["observed"].values, curves["calculated"].values
    residual = curves["weighted_residual"].values
    plain = np.sqrt(np.maximum(calculated, 1.0))
    with np.errstate(all="ignore"):
        exact = np.abs((observed - calculated) / residual)
    return np.asarray(np.where(np.isfinite(exact) & (np.abs(residual) > 1e-6), exact, plain))


def _draw_curves(axes: Axes, curves: xr.Dataset, lanes: Sequence[_Lane], *, bar_width: float) -> None:
    """Fill background and phases one on the other, draw their sum, and the counts as bars over it."""
    x = curves["two_theta"].values
    base = curves["background"].values.copy()
    axes.fill_between(x, 0.0, base, color=palette.FOG, linewidth=0.0, zorder=1, label="background")
    for lane in lanes:
        name = f"part_{lane.name}"
        if name in curves:
            part = curves[name].values
            axes.fill_between(x, base, base + part, color=lane.colour, linewidth=0.0, zorder=1.1)
            base = base + part
    axes.plot(
        x, curves["calculated"].values, color=palette.GARNET, linewidth=0.8, zorder=2, label="calculated"
    )
    observed, u = curves["observed"].values, _standard_uncertainty(curves)
    # One line with gaps: a collection of as many bars takes ten times as long to make.
    gap = np.full_like(x, np.nan)
    axes.plot(
        np.repeat(x, 3),
        np.column_stack([np.maximum(observed - u, 0.0), observed + u, gap]).ravel(),
        color=palette.INK,
        linewidth=bar_width,
        solid_capstyle="butt",
        zorder=2.5,
        label="observed ± u",
    )


def _draw_pattern(axes: Axes, curves: xr.Dataset, lanes: Sequence[_Lane]) -> None:
    style(axes, y_label="counts (square-root scale)")
    axes.tick_params(labelbottom=False)
    _draw_curves(axes, curves, lanes, bar_width=0.35)
    high = float(np.nanmax([curves["observed"].values, curves["calculated"].values]))
    root_scale(axes, 0.0, 1.12 * high)
    minor_ticks(axes, x=4)
    legend = axes.legend(
        loc="upper right",
        frameon=True,
        facecolor=palette.PAPER,
        edgecolor="none",
        framealpha=0.9,
        ncols=3,
        prop={"size": NORMAL, "family": "DejaVu Sans"},
        handlelength=1.4,
        columnspacing=1.2,
        borderaxespad=0.2,
    )
    for handle in legend.legend_handles:
        if handle is not None and hasattr(handle, "set_linewidth"):
            handle.set_linewidth(1.6)


def _draw_residual(axes: Axes, curves: xr.Dataset) -> None:
    style(axes, x_label="diffraction angle 2θ (degrees)", y_label="residual\n(standard\nuncertainties)")
    axes.yaxis.label.set_fontsize(SMALL)
    x, residual = curves["two_theta"].values, curves["weighted_residual"].values
    used = np.isfinite(residual)
    largest = float(np.max(np.abs(residual[used]))) if np.any(used) else 0.0
    limit = float(np.clip(1.08 * largest, *_RESIDUAL_LIMITS))
    axes.set_ylim(-limit, limit)
    axes.fill_between(x, 0.0, np.clip(residual, -limit, limit), color=palette.SKY, linewidth=0.0, zorder=1)
    axes.plot(x, _smoothed(x, residual), color=palette.INK, linewidth=0.9, zorder=2)
    zero_line(axes)
    for sign, mark in ((1.0, "^"), (-1.0, "v")):
        beyond = used & (sign * residual > limit)
        axes.plot(
            x[beyond],
            np.full(np.count_nonzero(beyond), 0.93 * sign * limit),
            mark,
            color=palette.GARNET,
            markersize=3.5,
            linestyle="none",
        )
    if not np.all(used):
        axes.plot(
            x[~used],
            np.zeros(np.count_nonzero(~used)),
            "x",
            color=palette.GARNET,
            markersize=4,
            linestyle="none",
        )
    minor_ticks(axes, x=4)
    axes.text(
        0.995,
        0.97,
        f"band: each point; line: mean over {_SMOOTHING_DEG:g}°",
        transform=axes.transAxes,
        ha="right",
        va="top",
        **font(SMALL, color=palette.SLATE),
    )


def _smoothed(x: Array, residual: Array) -> Array:
    """Running mean over a fixed angle, points left out not counted."""
    used = np.isfinite(residual)
    total = np.concatenate(([0.0], np.cumsum(np.where(used, residual, 0.0))))
    count = np.concatenate(([0], np.cumsum(used)))
    low = np.searchsorted(x, x - 0.5 * _SMOOTHING_DEG, side="left")
    high = np.searchsorted(x, x + 0.5 * _SMOOTHING_DEG, side="right")
    n = count[high] - count[low]
    return np.where(n > 0, (total[high] - total[low]) / np.maximum(n, 1), np.nan)


def _draw_close_ups(
    figure: Figure, stretches: Sequence[CloseUp], curves: xr.Dataset, lanes: Sequence[_Lane]
) -> None:
    if not stretches:
        return
    width, height = figure.get_size_inches()
    space = width - _LEFT_IN - _RIGHT_IN
    between = 0.8
    # the order line needs less room than the crowd
    shares = [0.36, 0.64] if len(stretches) == 2 else [1.0]
    left = _LEFT_IN
    for letter, stretch, share in zip("AB", stretches, shares, strict=False):
        wide = share * (space - between * (len(stretches) - 1))
        axes = figure.add_axes((left / width, _BOTTOM_IN / height, wide / width, _CLOSE_IN / height))
        left += wide + between
        _draw_close_up(axes, f"{letter}  {stretch.title}", stretch, curves, lanes, wide)


def _draw_close_up(
    axes: Axes, title: str, stretch: CloseUp, curves: xr.Dataset, lanes: Sequence[_Lane], width_in: float
) -> None:
    x = curves["two_theta"].values
    part = curves.isel(two_theta=np.flatnonzero((x >= stretch.low) & (x <= stretch.high)))
    style(axes, x_label="2θ (degrees)", y_label="counts")
    _draw_curves(axes, part, lanes, bar_width=1.0)
    axes.set_xlim(stretch.low, stretch.high)
    high = float(np.nanmax([part["observed"].values, part["calculated"].values]))
    if stretch.from_zero:
        root_scale(axes, 0.0, 1.1 * high)
    else:
        low = float(min(np.nanmin(part["observed"].values), np.nanmin(part["background"].values)))
        axes.set_ylim(max(0.0, low - 0.15 * (high - low)), high + 0.1 * (high - low))
        minor_ticks(axes, y=2)
    minor_ticks(axes, x=5)
    axes.set_title(title, loc="left", pad=31.0, **font(NORMAL, weight="bold"))
    _name_lines(axes, stretch, lanes, width_in)


def _name_lines(axes: Axes, stretch: CloseUp, lanes: Sequence[_Lane], width_in: float) -> None:
    """Name every line of the stretch above the frame, in two rows where they stand close."""
    found = [
        (float(area), float(angle), f"{lane.title} {hkl}", lane.colour)
        for lane in lanes
        for angle, area, hkl in zip(lane.two_theta, lane.area, lane.hkl, strict=True)
        if stretch.low < angle < stretch.high and area > 0.0
    ]
    found.sort(key=lambda one: -one[0])
    label_deg = 0.62 * (stretch.high - stretch.low) / width_in
    rows = rows_without_overlap([angle for _, angle, _, _ in found], label_deg, 2)
    for (_, angle, text, colour), row in zip(found, rows, strict=True):
        axes.plot(
            [angle, angle],
            [1.0, 1.03],
            transform=axes.get_xaxis_transform(),
            color=palette.stroke(colour),
            linewidth=1.6,
            clip_on=False,
            solid_capstyle="butt",
        )
        if row is not None:
            axes.annotate(
                text,
                (angle, 1.03),
                xycoords=axes.get_xaxis_transform(),
                xytext=(0, 1.5 + 9.0 * row),
                textcoords="offset points",
                ha="center",
                va="bottom",
                **font(SMALL),
            )
