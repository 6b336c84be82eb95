"""The lines that carry the order, of several samples laid over each other: before and after.

(110), (220) and (310) of the A15 go with the square of the contrast between its two sites. Here the background and
all other phases are taken off, and counts are divided by the area of the strong A15 lines, which hardly feel the
order: what is left to differ is order, besides texture and displacement parameters. Lines are laid over each other at
their calculated angle, so that lattice and displacement do not part them. A sharper line is higher at the same area,
which says nothing of order; therefore the area is drawn, too, as it grows over the line: its level behind the line is
what to compare.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from xrdorder.drawing.layout import (
    HAIR,
    SCREEN,
    STRONG,
    THIN,
    Margins,
    Size,
    font,
    grid,
    minor_ticks,
    style,
    zero_line,
)
from xrdorder.drawing.lots import key
from xrdorder.drawing.palette import PAPER, SLATE, lot_colour, lot_mark
from xrdorder.drawing.text import NORMAL, fitted, width_in
from xrdorder.exceptions import StudyError
from xrdorder.figures.close_ups import A15, ORDER_LINES
from xrdorder.figures.counts import at_equal_times, standard_uncertainty

Array = NDArray[np.float64]

STRONG_LINES = ("2 0 0", "2 1 0", "2 1 1", "3 2 0", "3 2 1", "4 0 0")
"""Lines whose area is the measure; of them those that all samples have."""
MOST_SAMPLES = 4

_AROUND_DEG, _STEP_DEG, _LEAST_POINTS = 0.9, 0.05, 5
_MARKS = 9  # on a growing area
_PANEL_IN, _ROW_IN, _REMARK_IN = 1.75, 0.19, 0.14
_DASHES = ("-", (0, (5, 2)), (0, (5, 1.5, 1, 1.5)), (0, (1, 1)))


@dataclass(frozen=True)
class Overlaid:
    """A pattern to lay over others.

    Attributes
    ----------
    name : str
        Of the sample.
    curves, lines : Dataset
        As stored of it.
    remark : str
        What is said beside its name: treatment, order.
    """

    name: str
    curves: xr.Dataset
    lines: xr.Dataset
    remark: str = ""

    def row(self, hkl: str) -> int | None:
        """Row of a line of the A15 that lies in the measured range; None where there is none."""
        x = self.curves["two_theta"].values
        lines = self.lines
        mine = (lines["phase"].values.astype(str) == A15) & (lines["hkl"].values.astype(str) == hkl)
        inside = (lines["two_theta"].values > x[0]) & (lines["two_theta"].values < x[-1])
        rows = np.flatnonzero(mine & inside)
        return int(rows[0]) if rows.size else None


@dataclass(frozen=True)
class _Piece:
    """A line of a sample: degrees from its place, ‰ of the strong lines for each degree; NaN where left out."""

    angle: Array
    observed: Array
    u: Array
    calculated: Array

    def binned(self) -> tuple[Array, Array, Array]:
        """A few points together: angle, observed, standard uncertainty."""
        good = np.isfinite(self.observed)
        _, cell, count = np.unique(np.round(self.angle[good] / _STEP_DEG), return_inverse=True, return_counts=True)
        middle, mean = (np.bincount(cell, column[good]) / count for column in (self.angle, self.observed))
        return middle, mean, np.sqrt(np.bincount(cell, self.u[good] ** 2)) / count

    def area(self) -> tuple[Array, Array, Array]:
        """Areas up to each point, ‰ of the strong lines: observed, standard uncertainty, calculated."""
        wide = np.gradient(self.angle)
        known = np.isfinite(self.observed)
        observed = np.cumsum(wide * np.where(known, self.observed, self.calculated))
        u = np.sqrt(np.cumsum((wide * np.where(known, self.u, 0.0)) ** 2))
        return observed, u, np.cumsum(wide * self.calculated)


def order_lines_figure(
    samples: Sequence[Overlaid], lines: Sequence[str] = ORDER_LINES, *, title: str = "", size: Size = SCREEN
) -> Figure:
    """Lay the order lines of samples over each other.

    Parameters
    ----------
    samples : sequence of Overlaid
        Up to `MOST_SAMPLES`, the one to look at first.
    lines : sequence of str
        Indices, a pair of panels each.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There are too many samples, no sample has an order line, or they have no strong line in common.
    """
    if len(samples) > MOST_SAMPLES:
        raise StudyError(f"{len(samples)} samples cannot be told apart in one panel; choose up to {MOST_SAMPLES}")
    usable = [sample for sample in samples if A15 in sample.lines["phase"].values and f"part_{A15}" in sample.curves]
    strong = [hkl for hkl in STRONG_LINES if usable and all(sample.row(hkl) is not None for sample in usable)]
    if not strong:
        raise StudyError("the samples have no strong line of the A15 in common: there is nothing to compare with")
    drawn = {hkl: pieces for hkl in lines if any(pieces := [_piece(sample, hkl, strong) for sample in usable])}
    if not drawn:
        raise StudyError("no sample has one of the lines (110), (220), (310): none of them was measured")
    wide = size.width_in - 0.75 - 0.2 - 0.5
    broken = any(width_in(f"{sample.name}, {sample.remark}") > wide for sample in usable)
    legend = (_ROW_IN + _REMARK_IN * broken) * len(usable) + 0.12
    narrow = size.columns == 1
    room = Margins(left=0.75, across=0.62, down=0.72 if narrow else 0.62, above=legend + 0.28)
    remark = (
        "Background and other phases taken off; counts over the area of the strong A15 lines. Marks: observed with "
        "standard uncertainty; curves: fit of the whole pattern. Areas go with the square of the order; heights depend "
        "on widths, too."
    )
    columns = 2 if narrow or len(drawn) == 1 else len(drawn)
    figure, panels = grid(size, 2 * len(drawn), _PANEL_IN, title=title, remark=remark, margins=room, columns=columns)
    shapes, areas = (panels[::2], panels[1::2]) if narrow else (panels[: len(drawn)], panels[len(drawn) :])
    for k, (hkl, pieces) in enumerate(drawn.items()):
        title_of_line = f"({hkl.replace(' ', '')})"
        style(shapes[k], y_label="" if k and not narrow else "‰ of strong lines / degree")
        style(areas[k], x_label="2θ from the line (degrees)", y_label="" if k and not narrow else "cumulative area (‰)")
        if narrow:
            shapes[k].set_xlabel("2θ from the line (degrees)", **font())
            areas[k].set_xlabel("")
        for axes, words in ((shapes[k], title_of_line), (areas[k], f"{title_of_line}, area")):
            axes.set_title(words, loc="left", y=1.0, pad=5.0, **font(NORMAL, weight="bold"))
            zero_line(axes)
            axes.axvline(0.0, color=SLATE, linewidth=HAIR, linestyle=(0, (1, 2)), zorder=0.6)
            axes.set_xlim(-_AROUND_DEG, _AROUND_DEG)
            axes.set_xticks([-0.5, 0.0, 0.5])
            minor_ticks(axes, x=5, y=2)
        for which, piece in enumerate(pieces):
            if piece is not None:
                _draw(shapes[k], areas[k], piece, which, 2.4 if narrow else 3.4)
    top = figure.get_size_inches()[1] * panels[0].get_position().y1
    handles = [
        Line2D([], [], color=lot_colour(k), linewidth=STRONG, linestyle=_DASHES[k], marker=lot_mark(k), markersize=4.0,
               markerfacecolor=PAPER if k else lot_colour(k), markeredgewidth=THIN, label=_named(sample, wide, broken))
        for k, sample in enumerate(usable)
    ]  # fmt: skip
    key(figure, handles, room.left, float(top) + 0.28, 1, handlelength=4.0, handletextpad=0.6)
    return figure


def _piece(sample: Overlaid, hkl: str, strong: Sequence[str]) -> _Piece | None:
    """Cut a line out of a pattern; None where it was not measured."""
    row = sample.row(hkl)
    if row is None:
        return None
    middle, area = float(sample.lines["two_theta"].values[row]), sample.lines["area"].values
    near = np.abs(sample.curves["two_theta"].values - middle) <= _AROUND_DEG
    curves = sample.curves.isel(two_theta=np.flatnonzero(near))
    if curves.sizes["two_theta"] < _LEAST_POINTS:
        return None
    u = standard_uncertainty(curves)
    if "time_factor" in curves:
        u = u / curves["time_factor"].values
    left_out = ~np.isfinite(curves["weighted_residual"].values)
    curves = at_equal_times(curves)
    scale = 1000.0 / sum(float(area[k]) for name in strong if (k := sample.row(name)) is not None)
    calculated = curves[f"part_{A15}"].values
    observed = curves["observed"].values - (curves["calculated"].values - calculated)
    return _Piece(
        curves["two_theta"].values - middle, np.where(left_out, np.nan, scale * observed), scale * u,
        scale * calculated,
    )  # fmt: skip


def _draw(shape: Axes, area: Axes, piece: _Piece, which: int, mark: float) -> None:
    colour, over = lot_colour(which), 0.1 * which
    observed, u, calculated = piece.area()
    some = np.unique(np.linspace(0, len(observed) - 1, _MARKS).astype(int))
    for axes, curve, (x, y, bar) in (
        (shape, piece.calculated, piece.binned()), (area, calculated, (piece.angle[some], observed[some], u[some])),
    ):
        axes.plot(piece.angle, curve, color=colour, linewidth=STRONG, linestyle=_DASHES[which], zorder=2 - over)
        axes.errorbar(
            x, y, yerr=bar, fmt=lot_mark(which), color=colour, markersize=mark, elinewidth=THIN, markeredgewidth=THIN,
            markerfacecolor=PAPER if which else colour, zorder=3 - over,
        )  # fmt: skip


def _named(sample: Overlaid, wide_in: float, broken: bool) -> str:
    """Name of a sample, and the remark beside or below."""
    name, remark = fitted(sample.name, wide_in), fitted(sample.remark, wide_in)
    return (f"{name}\n{remark}" if broken else f"{name}, {remark}") if remark else name
