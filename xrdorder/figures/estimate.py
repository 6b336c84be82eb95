"""Tc and Bc2 estimated from numbers alone: by each published relation, and by all together."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.figure import Figure

from xrdorder.drawing.layout import BAR, LINE, SCREEN, Size, font, sheet, style
from xrdorder.drawing.palette import SLATE, TEXT
from xrdorder.drawing.text import NORMAL
from xrdorder.estimates.from_numbers_rows import Row
from xrdorder.exceptions import StudyError

_ROW_IN, _LEFT_IN, _RIGHT_IN, _TOP_IN, _BOTTOM_IN, _BETWEEN_IN = 0.2, 2.4, 0.3, 0.35, 0.5, 0.55


def estimate_figure(rows: Sequence[Row], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the 68 % interval of Tc and of Bc2 by each relation; what all say together is drawn heavier.

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
    panels = {name: [row for row in known if row.quantity == name] for name in dict.fromkeys(r.quantity for r in known)}
    if not panels:
        raise StudyError("no Tc and no Bc2 was estimated; give a lattice parameter, a site order or a tin content")
    heights = [_ROW_IN * len(lines) + 0.15 for lines in panels.values()]
    height = sum(heights) + _BETWEEN_IN * (len(panels) - 1) + _TOP_IN + _BOTTOM_IN
    figure = sheet(size.width_in, height)
    top = height - _TOP_IN
    for tall, (quantity, lines) in zip(heights, panels.items(), strict=True):
        wide = size.width_in - _LEFT_IN - _RIGHT_IN
        axes = figure.add_axes(
            (_LEFT_IN / size.width_in, (top - tall) / height, wide / size.width_in, tall / height)
        )
        style(axes, x_label=f"{quantity} ({lines[0].unit})")
        for k, row in enumerate(lines):
            together = not row.source
            axes.plot(
                [row.low, row.high], [k, k], color=TEXT if together else SLATE, linewidth=BAR if together else LINE
            )
            axes.plot([row.value], [k], "o", color=TEXT if together else SLATE, markersize=4)
        axes.set_yticks(range(len(lines)), [row.by for row in lines], **font(NORMAL))
        axes.set_ylim(len(lines) - 0.4, -0.6)
        top -= tall + _BETWEEN_IN
    if title and size.headed:
        figure.text(_LEFT_IN / size.width_in, 1.0 - 0.2 / height, title, **font())
    return figure
