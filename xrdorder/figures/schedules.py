"""What the furnace did: temperature over time of every schedule, small panels with the same axes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
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
    evenly,
    font,
    grid,
    style,
    write,
)
from xrdorder.drawing.palette import FOG, GARNET, INK, MIST, SLATE
from xrdorder.drawing.text import SMALL, fitted, width_in
from xrdorder.exceptions import StudyError
from xrdorder.treatments import History, LoggedTreatment

Array = NDArray[np.float64]

_ROWS = 6

_PANEL_IN = {1: 0.85, 2: 0.95}
_ROOM = Margins(left=0.62, right=0.15, bottom=0.5, across=0.16, down=0.42, above=0.4)
_PANEL_WIDE_IN = 1.9
_MOST_POINTS = 1200  # of a line: a log of a week has a million

_REMARK = (
    "Dashes with '?': a ramp of unknown rate, drawn as if it took no time. Thin lines: as logged. All panels "
    "have the same axes."
)


@dataclass(frozen=True)
class Reacted:
    """A schedule and what was reacted by it.

    Attributes
    ----------
    history : History
    lots : tuple of str
        Names, without empty ones.
    samples : int
    """

    history: History
    lots: tuple[str, ...]
    samples: int


def reacted(treatments: Mapping[str, History | None], lots: Mapping[str, str]) -> list[Reacted]:
    """Bring samples of one schedule together, lot by lot in order of peak, hold and whole length.

    Parameters
    ----------
    treatments : mapping of str to History or None
        By sample; None is passed over.
    lots : mapping of str to str
        Lot by sample.
    """
    names_by_history: dict[History, list[str]] = {}
    for sample, history in treatments.items():
        if history is not None:
            names_by_history.setdefault(history, []).append(sample)
    rank = {lot: k for k, lot in enumerate(dict.fromkeys(lots.values()))}
    order = sorted(
        names_by_history,
        key=lambda schedule: (
            rank.get(lots.get(names_by_history[schedule][0], ""), len(rank)),
            schedule.peak_c, schedule.hold_at_peak_h, schedule.total_h,
        ),
    )  # fmt: skip
    return [
        Reacted(
            label,
            tuple(name for name in dict.fromkeys(lots.get(sample, "") for sample in names_by_history[label]) if name),
            len(names_by_history[label]),
        )
        for label in order
    ]


def most_shown(size: Size) -> int:
    """Schedules that one figure of a size shows."""
    return _ROWS * _columns(size)


def _columns(size: Size) -> int:
    return max(2, int((size.width_in - _ROOM.left - _ROOM.right) / _PANEL_WIDE_IN))


def schedule_figure(schedules: Sequence[Reacted], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the temperature over time of every schedule.

    Parameters
    ----------
    schedules : sequence of Reacted
        Of more than `most_shown`, so many evenly through the sequence.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There is no schedule.
    """
    if not schedules:
        raise StudyError("no heat treatment is known; give treatment in study.toml")
    shown = evenly(schedules, most_shown(size))
    remark = _REMARK
    if len(shown) < len(schedules):
        remark = f"{len(shown)} of {len(schedules)} schedules, evenly through the study. {remark}"
    columns = _columns(size)
    figure, panels = grid(
        size, len(shown), _PANEL_IN[min(size.columns, 2)], title=title, remark=remark, margins=_ROOM, columns=columns
    )
    columns = min(columns, len(shown))
    hours = max(float(entry.history.total_h) for entry in shown)
    curves = [_curve(entry.history) for entry in shown]
    hottest = max(float(np.max(values)) for _, values in curves)
    coldest = min(0.0, min(float(np.min(values)) for _, values in curves))
    for k, (axes, entry, curve) in enumerate(zip(panels, shown, curves, strict=True)):
        lowest, first = k + columns >= len(shown), k % columns == 0
        style(axes)
        axes.set_xlim(-0.02 * hours, 1.02 * hours)
        axes.set_ylim(coldest, 1.12 * hottest)
        axes.xaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
        axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
        axes.grid(axis="y", color=FOG, linewidth=HAIR, alpha=0.7)
        axes.set_axisbelow(True)
        axes.tick_params(labelbottom=lowest, labelleft=first)
        _draw(axes, entry.history, *curve, coldest)
        wide = axes.get_window_extent().width / figure.get_dpi()
        _name(axes, entry, wide)
    wide, tall = figure.get_size_inches()
    middle = 0.5 * (_ROOM.left + size.width_in - _ROOM.right) / wide
    lowest_box, top_box = panels[-1].get_position(), panels[0].get_position()
    figure.text(middle, 0.06 / tall, "time (h)", **font(), ha="center", va="bottom")
    figure.text(
        0.06 / wide, 0.5 * (lowest_box.y0 + top_box.y1), "°C" if len(shown) <= columns else "temperature (°C)",
        **font(), ha="left", va="center", rotation=90,
    )  # fmt: skip
    return figure


def _holds(name: str, room_in: float) -> str:
    """Name a schedule by so many of its holds as there is room for: the first ones and the last.

    >>> _holds("205/60 + 385/36 + 550/24 + 625/200 h", 1.9)
    '205/60 + 385/36 … 625/200 h'
    """
    holds = name.split(" + ")
    for kept in range(len(holds) - 2, 0, -1):
        if width_in(name, SMALL, bold=True) <= room_in:
            break
        name = f"{' + '.join(holds[:kept])} … {holds[-1]}"
    return fitted(name, room_in, SMALL, bold=True)


def _curve(history: History) -> tuple[Array, Array]:
    """Points to draw, thinned so that highs and lows stay."""
    hours, values = history.curve()
    hours = hours - hours[0]
    if hours.size <= _MOST_POINTS:
        return hours, values
    bounds = np.linspace(0, hours.size, _MOST_POINTS // 2 + 1).astype(int)
    kept = {0, hours.size - 1}
    for start, end in pairwise(bounds):
        kept |= {start + int(np.argmin(values[start:end])), start + int(np.argmax(values[start:end]))}
    order = sorted(kept)
    return hours[order], values[order]


def _draw(axes: Axes, history: History, hours: Array, values: Array, floor: float) -> None:
    """The course, and what is not known of it."""
    logged = isinstance(history, LoggedTreatment)
    axes.fill_between(hours, values, floor, color=MIST, linewidth=0.0, zorder=0.3)
    jumps = np.flatnonzero((np.diff(hours) == 0.0) & (np.abs(np.diff(values)) > 0.0))
    known = np.insert(hours, jumps + 1, np.nan), np.insert(values, jumps + 1, np.nan)
    axes.plot(*known, color=INK, linewidth=THIN if logged else STRONG, zorder=3, solid_joinstyle="round")
    for k in jumps:
        axes.plot(hours[k : k + 2], values[k : k + 2], color=GARNET, linewidth=LINE, linestyle=(0, (2, 1.5)), zorder=2)
    if jumps.size:
        k = jumps[int(np.argmax(np.abs(values[jumps + 1] - values[jumps])))]
        middle = 0.5 * (values[k] + values[k + 1])
        write(axes, "?", (hours[k], middle), color=GARNET, by=(2.5, 0.0), va="center", zorder=4, weight="bold")


def _name(axes: Axes, reacted: Reacted, room_in: float) -> None:
    """Name the schedule by its holds, and below it whose it is."""
    whose = ", ".join(reacted.lots)
    wires = f"{reacted.samples} sample" + "s" * (reacted.samples > 1)
    holds = _holds(reacted.history.short_name, room_in)
    write(axes, holds, (0.0, 1.0), SMALL, on="frame", by=(0.0, 12.0), weight="bold")
    words = fitted(f"{whose}, {wires}" if whose else wires, room_in, SMALL)
    write(axes, words, (0.0, 1.0), SMALL, SLATE, on="frame", by=(0.0, 3.0))
