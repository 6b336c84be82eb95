"""What each published relation says of Tc and Bc2 by itself, below the joint estimate."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from xrdorder.drawing.layout import BAR, SCREEN, STRONG, THIN, Size, page, place, style, write
from xrdorder.drawing.lots import draw_legend, legend_height, look
from xrdorder.drawing.palette import MIST, PAPER, SLATE, lot_colour
from xrdorder.drawing.text import POINTS_PER_IN, SMALL, fitted, plain, wrapped_in
from xrdorder.estimates.from_numbers_rows import Row
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.registry import ESTIMATE, Quantity, column_name, standing_in

MOST = 4
"""Samples in one figure."""

_ROW_IN, _BOTTOM_IN, _GAP_IN = 0.24, 0.5, 0.08
_NAMES_IN, _RIGHT_IN = {True: 3.0, False: 1.55}, 0.25
_REASON = SMALL - 0.5
_NOT_ASKED = "no result"
_REASON_LINE_IN, _REASON_LEFT_IN, _REASON_BELOW_IN = 1.3 * _REASON / POINTS_PER_IN, 0.05, 0.04
_REMARK = (
    "Marks: median, bars: 68 % interval. On top the joint estimate of all samples; below it each relation alone, asked "
    "with the estimates of what it takes. Open marks at the left: refused for that sample. "
    f"{ESTIMATES}"
)


@dataclass(frozen=True)
class _Line:
    """One row: a relation, and its median and limits by sample; reasons of refusals are empty else."""

    name: str
    numbers: tuple[tuple[float, ...], ...]
    reasons: tuple[str, ...]

    def refusal(self, room_in: float) -> list[str]:
        """Say why it was refused, in as many lines as it takes: they stand below the bars, where nothing is covered."""
        said = "; ".join(dict.fromkeys(_brief(reason) for reason in self.reasons if reason))
        return wrapped_in(f"refused: {said}", room_in, _REASON) if said else []


def by_relation_figure(
    results: xr.Dataset, names: Sequence[str], quantities: Sequence[str] = (), *, title: str = "", size: Size = SCREEN
) -> Figure:
    """Show Tc and Bc2 at 4.2 K of a few samples by each relation, below the joint estimate.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    names : sequence of str
        Up to `MOST` samples.
    quantities : sequence of str
        One panel each; both unless given.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No sample is named or too many, or no relation applies to any.
    UnknownNameError
        There is no such sample.
    """
    known = [str(name) for name in results["sample"].values]
    for name in names:
        if name not in known:
            raise UnknownNameError(f"no sample '{name}' in the study; known are: {', '.join(known)}")
    if not 1 <= len(names) <= MOST:
        raise StudyError(f"{len(names)} samples by each relation; choose 1 to {MOST}")
    rows = [known.index(name) for name in names]
    targets = [quantity for quantity in standing_in("relations") if not quantities or quantity.name in quantities]
    panels = [(target, lines) for target in targets if (lines := _lines(results, target, rows))]
    if not panels:
        raise StudyError("no published relation applies to any of the samples")
    return _figure([(target.label, lines) for target, lines in panels], names, title, _REMARK, size)


def _figure(
    panels: Sequence[tuple[str, Sequence[_Line]]], names: Sequence[str], title: str, remark: str, size: Size
) -> Figure:
    """Panels below each other, under a legend where there is more than one sample."""
    wordy = size.columns > 1
    left = _NAMES_IN[wordy]
    wide = size.width_in - left - _RIGHT_IN
    legend = legend_height(names, size.width_in - 0.4) + 0.08 if any(names) else 0.0
    heights = [[_ROW_IN + _words_in(line.refusal(wide - _REASON_LEFT_IN)) for line in lines] for _, lines in panels]
    body = legend + sum(_GAP_IN + sum(tall) + _BOTTOM_IN for tall in heights)
    figure = page(size, body, title=title, remark=remark, left_in=0.2)
    bottom = body - legend
    for (label, lines), tall in zip(panels, heights, strict=True):
        bottom -= _GAP_IN + sum(tall)
        _draw(place(figure, left, bottom, wide, sum(tall)), label, lines, tall, len(names), wordy=wordy)
        bottom -= _BOTTOM_IN
    if legend:
        draw_legend(figure, names, 0.2, body - legend + 0.08, size.width_in - 0.4)
    return figure


def estimate_figure(rows: Sequence[Row], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the 68 % interval of Tc and of Bc2 estimated from numbers alone: of all together, and by each relation.

    Parameters
    ----------
    rows : sequence of Row
        Of an `xrdorder.estimates.from_numbers.Estimate`.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No row holds Tc or Bc2.
    """
    known = [row for row in rows if row.unit in ("K", "T") and math.isfinite(row.value) and math.isfinite(row.low)]
    panels: dict[str, list[_Line]] = {}
    for row in sorted(known, key=lambda line: bool(line.source)):  # all together stand on top
        line = _Line(row.by, ((row.value, row.low, row.high),), ("",))
        panels.setdefault(f"{row.quantity} ({row.unit})", []).append(line)
    if not panels:
        raise StudyError("no Tc and no Bc2 was estimated; give a lattice parameter, a site order or a tin content")
    return _figure(list(panels.items()), ("",), title, _REMARK, size)


def _lines(results: xr.Dataset, about: Quantity, rows: Sequence[int]) -> list[_Line]:
    """The joint estimate, then every relation asked; empty where none applies."""
    target, columns = about.name, [column_name(about, part) for part in ESTIMATE]
    joint = tuple(tuple(float(results[name].values[k]) for name in columns) for k in rows)
    if not any(math.isfinite(median) for median, _, _ in joint):
        return []
    lines = [_Line("joint estimate", joint, ("",) * len(rows))]
    for j in np.flatnonzero(results["relation_target"].values.astype(str) == target):
        numbers = tuple(
            tuple(float(results[f"relation_{key}"].values[k, j]) for key in ("median", "low", "high")) for k in rows
        )
        reasons = tuple(str(results["relation_reason"].values[k, j]) for k in rows)
        if all(reason == _NOT_ASKED for reason in reasons):
            continue  # asked of other wires only
        reasons = tuple("" if reason == _NOT_ASKED else reason for reason in reasons)
        name = str(results["relation"].values[j]).removeprefix(f"{target}: ")
        lines.append(_Line(name, numbers, reasons))
    return lines


def _words_in(lines: Sequence[str]) -> float:
    """Height of a few lines of words under the bars."""
    return _REASON_LINE_IN * len(lines) + _REASON_BELOW_IN if lines else 0.0


def _draw(
    axes: Axes, label: str, lines: Sequence[_Line], heights: Sequence[float], n: int, *, wordy: bool
) -> None:
    """One target: rows stand below each other, measured in inches from the top."""
    style(axes, x_label=label)
    tops = [sum(heights[:row]) for row in range(len(lines))]
    axes.set_ylim(sum(heights), 0.0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    for top, tall in list(zip(tops, heights, strict=True))[::2]:
        axes.axhspan(top, top + tall, color=MIST, linewidth=0.0, zorder=0.1)
    step = 0.6 * _ROW_IN / n
    across, left = axes.get_yaxis_transform(), 0.012 if wordy else 0.03
    room = axes.get_window_extent().width / axes.figure.get_dpi() - _REASON_LEFT_IN
    numbers = [x for line in lines for three in line.numbers for x in three if math.isfinite(x)]
    pad = 0.04 * (max(numbers) - min(numbers)) or 1.0
    axes.set_xlim(min(numbers) - pad, max(numbers) + pad)
    axes.xaxis.set_major_locator(MaxNLocator(6 if wordy else 4, steps=[1, 2, 5, 10]))
    for k in range(n):
        middle = lines[0].numbers[k][0]
        if math.isfinite(middle):
            axes.axvline(middle, color=lot_colour(k), linewidth=THIN, alpha=0.5, zorder=0.5)
    for row, (line, top) in enumerate(zip(lines, tops, strict=True)):
        name = fitted(line.name, _NAMES_IN[wordy] - 0.2, SMALL, bold=row == 0)
        write(
            axes, name, (0.0, top + 0.5 * _ROW_IN), SMALL, on="y", by=(-5.0, 0.0), ha="right", va="center",
            weight="bold" if row == 0 else "normal",
        )  # fmt: skip
        for k, (median, low, high) in enumerate(line.numbers):
            y = top + 0.5 * _ROW_IN + step * (k - 0.5 * (n - 1))
            if math.isfinite(median):
                axes.plot(
                    [low, high], [y, y], color=lot_colour(k), linewidth=BAR if row == 0 else STRONG,
                    alpha=0.45 if row == 0 else 0.9, solid_capstyle="butt", zorder=2,
                )  # fmt: skip
                axes.plot([median], [y], linestyle="none", zorder=3, **look(k))
            elif line.reasons[k]:
                axes.plot([left], [y], linestyle="none", transform=across, zorder=3, **look(k, open_mark=True))
        for i, words in enumerate(line.refusal(room)):
            write(
                axes, plain(words), (0.0, top + _ROW_IN + (i + 0.35) * _REASON_LINE_IN), _REASON, SLATE, on="y",
                by=(POINTS_PER_IN * _REASON_LEFT_IN, 0.0), va="center_baseline", zorder=3,
                bbox={"pad": 0.5, "edgecolor": "none", "facecolor": PAPER if row % 2 else MIST},
            )  # fmt: skip
    axes.axhline(heights[0], color=SLATE, linewidth=THIN, zorder=1)


def _brief(reason: str) -> str:
    """Say a reason in short.

    >>> _brief("rho = 13.57 with its uncertainty lies outside the validity 35 to 60 microohm cm")
    'rho = 13.57, valid 35 to 60 microohm cm'
    """
    return re.sub(r"( with its uncertainty)? lies outside the validity ", ", valid ", reason)
