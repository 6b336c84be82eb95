"""Order, tin, Tc and Bc2 against the reaction temperature, lot by lot.

`trend_figure` shows absolute numbers. Every sample is a mark of its own, replicates beside each other; its
bar is what it shares with nobody. What moves all samples of a lot together (certificate, wavelength,
scattering-factor table, the published scale of tin) is drawn apart, as one bar a lot at the right edge. Tc
and Bc2 are estimates: their bars are the 68 % interval over all published relations, most of it common to all
samples, and small ticks show each relation alone.

`difference_figure` shows every sample less the reference sample of its lot, with what is left of the
uncertainty once shared sources have cancelled.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from xrdorder import uncertainty
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.figures import palette
from xrdorder.figures.sheet import (
    NORMAL,
    SCREEN,
    SMALL,
    Size,
    font,
    minor_ticks,
    page,
    place,
    style,
    zero_line,
)
from xrdorder.superconductivity.differences import Sample, difference, samples_of
from xrdorder.uncertainty import Contributions

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shown:
    """What one panel shows.

    Attributes
    ----------
    name : str
        A quantity of the uncertainty table ("site_order"), or a predicted one ("Tc_K").
    title, unit : str
    scale : float
        Factor from the quantity to what is drawn.
    kind : str
        "measured" or "predicted".
    """

    name: str
    title: str
    unit: str
    scale: float = 1.0
    kind: Literal["measured", "predicted"] = "measured"

    @property
    def label(self) -> str:
        """Text beside the axis."""
        return f"{self.title} ({self.unit})" if self.unit else self.title


SITE_ORDER = Shown("site_order", "site order", "")
TIN = Shown("tin_fraction", "tin", "at.%", 100.0)
TC = Shown("Tc_K", "Tc, estimated", "K", kind="predicted")
BC2 = Shown("Bc2_4K2_T", "Bc2 at 4.2 K, estimated", "T", kind="predicted")

TRENDS = (SITE_ORDER, TIN, TC, BC2)
"""Panels of `trend_figure`."""
DIFFERENCES = (SITE_ORDER, TIN, TC, BC2)
"""Panels of `difference_figure`."""

_DRAWS = 20_000  # medians and 68 % limits to about 1 % of the interval
_PANEL_IN = 2.5
_LEFT_IN, _MIDDLE_IN, _RIGHT_IN, _GAP_IN, _BOTTOM_IN, _LEGEND_IN = 0.78, 0.95, 0.2, 0.28, 0.50, 0.36
_LANE_IN = 0.26
_COMMON_GAP = 0.55  # of the distance between two temperatures, from the last one to the bars at the edge


@dataclass(frozen=True)
class _Point:
    """One sample on the page."""

    name: str
    k: int
    lot: int
    x: float
    hours: float


@dataclass(frozen=True)
class _Scene:
    """All samples that have a place, and the scale of the horizontal axis."""

    results: xr.Dataset
    points: tuple[_Point, ...]
    lots: tuple[str, ...]
    temperatures: tuple[float, ...]
    pitch: float
    left_out: int

    @property
    def right_edge(self) -> float:
        return self.temperatures[-1] + 0.5 * self.pitch

    def of_lot(self, lot: int) -> list[_Point]:
        return [point for point in self.points if point.lot == lot]

    def contributions(self, k: int) -> Contributions:
        return uncertainty.from_dataset(self.results.isel(sample=k))

    def value(self, name: str, k: int) -> float:
        quantities = self.results["quantity"].values.astype(str)
        place = np.flatnonzero(quantities == name)
        return float(self.results["value"].values[k, place[0]]) if place.size else math.nan


def trend_figure(
    results: xr.Dataset, shown: Sequence[Shown] = TRENDS, *, title: str = "", size: Size = SCREEN
) -> Figure:
    """Show quantities against the reaction temperature.

    Parameters
    ----------
    results : Dataset
        Collated results of a study (`xrdorder.studies.run_study`, or `open_study(...).results`).
    shown : sequence of Shown
        One panel each.
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
    scene = _scene(results)
    heading = title or str(results.attrs.get("title", ""))
    figure, panels = _panels(scene, shown, heading, _TREND_REMARK, size, with_common=True)
    for axes, one in zip(panels, shown, strict=True):
        if one.kind == "measured":
            _draw_measured(axes, scene, one)
        else:
            _draw_predicted(axes, scene, one)
    return figure


def difference_figure(
    results: xr.Dataset,
    shown: Sequence[Shown] = DIFFERENCES,
    *,
    reference: Mapping[str, str] | str | None = None,
    title: str = "",
    size: Size = SCREEN,
) -> Figure:
    """Show every sample less a reference sample, against the reaction temperature.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    shown : sequence of Shown
        One panel each.
    reference : str, or mapping of lot to str, optional
        Reference sample of all, or of each lot. Left out: the first sample of each lot that has a result.
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
    UnknownNameError
        The reference is not among them.
    """
    scene = _scene(results)
    references = _references(scene, reference)
    names = ", ".join(
        f"{scene.lots[lot] or 'all'}: {point.name}" for lot, point in sorted(references.items())
    )
    remark = f"{_DIFFERENCE_REMARK} Reference (open mark) {names}."
    heading = title or str(results.attrs.get("title", ""))
    figure, panels = _panels(scene, shown, heading, remark, size, with_common=False)
    samples = {sample.name: sample for sample in samples_of(results)}
    for axes, one in zip(panels, shown, strict=True):
        zero_line(axes)
        for point in scene.points:
            against = references[point.lot]
            if point is against:
                _mark(axes, point, 0.0, open_mark=True)
                continue
            middle, low, high = _difference(samples, one, point.name, against.name)
            if math.isfinite(middle):
                _bar(axes, point, low, high, 1.3)
                _mark(axes, point, middle)
        axes.set_ylabel(f"difference in {one.label}", **font())
        minor_ticks(axes, y=2)
    return figure


_TREND_REMARK = (
    "Bars at marks: standard uncertainty (k = 1) shared with no other sample. Bars at the right edge: what "
    "moves a whole lot. Tc and Bc2: 68 % interval over all published relations, most of it common to all "
    "samples; ticks: each relation alone. Estimates, not measurements."
)
_DIFFERENCE_REMARK = (
    "Each sample less the reference of its lot; what both share has cancelled. Bars: standard uncertainty "
    "(k = 1); for Tc and Bc2 the 68 % interval of the difference, the same relation taken for both. "
    "Estimates, not measurements."
)


# --- places ----------------------------------------------------------------------------------------------


def _scene(results: xr.Dataset) -> _Scene:
    """Find a place for every sample; samples of one temperature stand side by side, lot by lot."""
    peak, hours = results["peak_c"].values, results["hold_at_peak_h"].values
    names, lot_of = results["sample"].values.astype(str), results["lot"].values.astype(str)
    found = np.isfinite(results["a_nm"].values)
    usable = [k for k in range(len(names)) if found[k] and np.isfinite(peak[k])]
    if not usable:
        raise StudyError(
            "no sample has both a result and a treatment; give treatments in study.toml to see trends over temperature"
        )
    lots = tuple(dict.fromkeys(lot_of[k] for k in usable))
    temperatures = tuple(sorted({float(peak[k]) for k in usable}))
    pitch = min(np.diff(temperatures), default=25.0)
    most = max(sum(peak[k] == t for k in usable) for t in temperatures)
    step = min(0.17, 0.82 / most) * pitch
    points = []
    for t in temperatures:
        here = sorted((k for k in usable if peak[k] == t), key=lambda k: (lots.index(lot_of[k]), hours[k], k))
        for i, k in enumerate(here):
            x = t + step * (i - 0.5 * (len(here) - 1))
            points.append(_Point(names[k], k, lots.index(lot_of[k]), x, float(hours[k])))
    points.sort(key=lambda point: point.k)
    return _Scene(results, tuple(points), lots, temperatures, float(pitch), len(names) - len(usable))


def _references(scene: _Scene, reference: Mapping[str, str] | str | None) -> dict[int, _Point]:
    found = {}
    for lot, lot_name in enumerate(scene.lots):
        name = reference if isinstance(reference, str) else (reference or {}).get(lot_name)
        if name is None:
            found[lot] = scene.of_lot(lot)[0]
            continue
        match = [point for point in scene.points if point.name == name]
        if not match:
            known = ", ".join(point.name for point in scene.points)
            raise UnknownNameError(f"reference '{name}' has no result with a treatment; known are: {known}")
        found[lot] = match[0]
    return found


# --- the page --------------------------------------------------------------------------------------------


def _panels(
    scene: _Scene, shown: Sequence[Shown], title: str, remark: str, size: Size, *, with_common: bool
) -> tuple[Figure, list[Axes]]:
    """Lay out panels abreast, lanes of hold times under the lowest of each column."""
    columns = min(size.columns, len(shown))
    rows = math.ceil(len(shown) / columns)
    lanes_in = _LANE_IN * len(scene.lots)
    note = f" {scene.left_out} without result or treatment not shown." if scene.left_out else ""
    body = _LEGEND_IN + rows * _PANEL_IN + (rows - 1) * _GAP_IN + 0.05 + lanes_in + _BOTTOM_IN
    figure = page(size, body, title=title, remark=remark + note, left_in=_LEFT_IN)
    wide = (size.width_in - _LEFT_IN - _RIGHT_IN - _MIDDLE_IN * (columns - 1)) / columns
    panels: list[Axes] = []
    for k, one in enumerate(shown):
        row, column = divmod(k, columns)
        bottom = body - _LEGEND_IN - (row + 1) * _PANEL_IN - row * _GAP_IN
        axes = place(figure, _LEFT_IN + column * (wide + _MIDDLE_IN), bottom, wide, _PANEL_IN)
        style(axes, y_label=one.label)
        _scale_across(axes, scene, with_common=with_common)
        axes.tick_params(labelbottom=False)
        panels.append(axes)
    for column in range(columns):
        lowest = [k for k in range(len(shown)) if k % columns == column][-1]
        left = _LEFT_IN + column * (wide + _MIDDLE_IN)
        bottom = body - _LEGEND_IN - (lowest // columns + 1) * _PANEL_IN - (lowest // columns) * _GAP_IN
        _draw_lanes(place(figure, left, bottom - 0.05 - lanes_in, wide, lanes_in, panels[lowest]), scene)
    _draw_legend(place(figure, _LEFT_IN, body - 0.2, size.width_in - _LEFT_IN - _RIGHT_IN, 0.2), scene)
    return figure, panels


def _scale_across(axes: Axes, scene: _Scene, *, with_common: bool) -> None:
    low = scene.temperatures[0] - 0.6 * scene.pitch
    high = scene.right_edge + (_common_width(scene) if with_common else 0.0)
    axes.set_xlim(low, high)
    axes.set_xticks(list(scene.temperatures))
    for t in scene.temperatures:
        axes.axvspan(
            t - 0.46 * scene.pitch, t + 0.46 * scene.pitch, color=palette.MIST, linewidth=0.0, zorder=0.1
        )


def _common_width(scene: _Scene) -> float:
    return scene.pitch * (_COMMON_GAP + 0.14 * len(scene.lots))


def _draw_lanes(axes: Axes, scene: _Scene) -> None:
    """Say below the panels how long each sample was held, one lane a lot."""
    style(axes, x_label="highest hold temperature (°C)")
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.set_ylim(0.0, float(len(scene.lots)))
    axes.set_yticks([])
    axes.tick_params(bottom=False)
    for point in scene.points:
        axes.text(
            point.x,
            len(scene.lots) - 0.5 - point.lot,
            f"{point.hours:g}",
            ha="center",
            va="center",
            rotation=90,
            **font(SMALL - 1.0, color=palette.lot_colour(point.lot)),
        )
    axes.text(
        -0.01,
        0.5,
        "hold (h)",
        transform=axes.transAxes,
        ha="right",
        va="center",
        **font(SMALL, color=palette.SLATE),
    )


def _draw_legend(axes: Axes, scene: _Scene) -> None:
    """Name the lots in a line above the panels, with mark and colour."""
    axes.axis("off")
    handles = [
        axes.plot(
            [],
            [],
            palette.lot_mark(lot),
            color=palette.lot_colour(lot),
            markersize=5.5,
            linestyle="none",
            label=name or "no lot",
        )[0]
        for lot, name in enumerate(scene.lots)
    ]
    axes.legend(
        handles=handles,
        loc="lower left",
        ncols=len(handles),
        frameon=False,
        borderaxespad=0.0,
        handletextpad=0.2,
        columnspacing=1.4,
        borderpad=0.0,
        prop={"size": NORMAL, "family": "DejaVu Sans"},
    )


# --- marks -----------------------------------------------------------------------------------------------


def _bar(axes: Axes, point: _Point, low: float, high: float, width: float, *, alpha: float = 1.0) -> None:
    axes.plot(
        [point.x, point.x],
        [low, high],
        color=palette.lot_colour(point.lot),
        linewidth=width,
        alpha=alpha,
        solid_capstyle="butt",
        zorder=2,
    )


def _mark(axes: Axes, point: _Point, y: float, *, open_mark: bool = False) -> None:
    colour = palette.lot_colour(point.lot)
    axes.plot(
        [point.x],
        [y],
        palette.lot_mark(point.lot),
        markersize=4.6,
        zorder=3,
        linestyle="none",
        markerfacecolor=palette.PAPER if open_mark else colour,
        markeredgecolor=colour if open_mark else palette.PAPER,
        markeredgewidth=1.1 if open_mark else 0.5,
    )


def _draw_measured(axes: Axes, scene: _Scene, shown: Shown) -> None:
    """Marks with their own bars; the common part of each lot at the right edge."""
    common: dict[int, list[tuple[float, float]]] = {}
    for point in scene.points:
        value = shown.scale * scene.value(shown.name, point.k)
        if not math.isfinite(value):
            continue
        table = scene.contributions(point.k)
        own = shown.scale * _part(table, shown.name, shared=False)
        _bar(axes, point, value - own, value + own, 1.3)
        _mark(axes, point, value)
        common.setdefault(point.lot, []).append((value, shown.scale * _part(table, shown.name, shared=True)))
    for row, (lot, pairs) in enumerate(sorted(common.items())):
        middle, u = (float(np.median(column)) for column in np.array(pairs).T)
        x = scene.right_edge + scene.pitch * (0.22 + 0.16 * row)
        axes.plot(
            [x, x],
            [middle - u, middle + u],
            color=palette.lot_colour(lot),
            linewidth=3.2,
            alpha=0.45,
            zorder=2,
        )
    if common:
        axes.text(
            0.998,
            1.01,
            "common",
            transform=axes.transAxes,
            ha="right",
            va="bottom",
            **font(SMALL, color=palette.SLATE),
        )
    minor_ticks(axes, y=2)


def _part(table: Contributions, name: str, *, shared: bool) -> float:
    return table.part(name, shared) if name in table.quantities else 0.0


def _draw_predicted(axes: Axes, scene: _Scene, shown: Shown) -> None:
    """Medians with their intervals, and what each relation says alone."""
    results = scene.results
    stem, unit = shown.name.rsplit("_", 1)
    low, high = results[f"{stem}_low_{unit}"].values, results[f"{stem}_high_{unit}"].values
    of_target = np.flatnonzero(results["relation_target"].values.astype(str) == shown.name)
    step = 0.022 * scene.pitch
    for point in scene.points:
        median = float(results[shown.name].values[point.k])
        if not math.isfinite(median):
            continue
        _bar(axes, point, float(low[point.k]), float(high[point.k]), 4.0, alpha=0.28)
        for relation in of_target:
            alone = float(results["relation_median"].values[point.k, relation])
            if math.isfinite(alone):  # NaN where the relation is refused
                axes.plot(
                    [point.x - step, point.x + step],
                    [alone, alone],
                    color=palette.lot_colour(point.lot),
                    linewidth=0.9,
                    zorder=2.5,
                )
        _mark(axes, point, median)
    minor_ticks(axes, y=2)


# --- differences -----------------------------------------------------------------------------------------


def _difference(
    samples: Mapping[str, Sample], shown: Shown, name: str, against: str
) -> tuple[float, float, float]:
    """Difference of two samples with its limits: value and one standard uncertainty, or median and 68 %."""
    if name not in samples or against not in samples:
        return math.nan, math.nan, math.nan
    known = [shown.name in samples[one].values for one in (name, against)]
    if shown.kind == "measured" and not all(known):
        return math.nan, math.nan, math.nan
    found = difference(samples[name], samples[against], shown.name, n=_DRAWS)
    low, high = (found.low, found.high) if shown.kind == "predicted" else (found.value - found.u, found.value + found.u)
    return shown.scale * found.value, shown.scale * low, shown.scale * high
