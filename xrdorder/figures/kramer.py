"""Kramer plot of measured critical currents: straight lines to the field at which the pinning force vanishes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from xrdorder.drawing import palette
from xrdorder.drawing.layout import LINE, SCREEN, THIN, Margins, Size, evenly, font, grid, minor_ticks, style
from xrdorder.drawing.parts import legend
from xrdorder.drawing.text import SMALL, fitted
from xrdorder.exceptions import StudyError
from xrdorder.measured.kramer import KramerSeries
from xrdorder.quantities.formatting import rounded

MOST = 6
"""Series that can be told apart."""

_PANEL_IN, _SHAPE, _NAME_IN = 4.0, 0.8, 1.6


def kramer_figure(series: Sequence[KramerSeries], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show measured critical currents as Ic^0.5 B^0.25 against field.

    Parameters
    ----------
    series : sequence of KramerSeries
        Up to `MOST` are shown, evenly.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There is none.
    """
    if not series:
        raise StudyError("no sample has critical currents at two fields of one temperature (critical_current_a)")
    shown = evenly(series, MOST)
    wide = size.width_in - 0.98
    remark = (
        "Measured; bars: standard uncertainty. Lines: weighted least squares, drawn where they are not rejected, to "
        "the Kramer field, which is no Bc2: how much lower depends on the layer."
    )
    figure, (axes,) = grid(
        size, 1, min(_PANEL_IN, _SHAPE * wide), title=title, remark=remark, margins=Margins(), columns=1
    )
    style(axes, x_label="field (T)")
    axes.set_ylabel(r"$I_\mathrm{c}^{1/2}\,B^{\,1/4}$ (A$^{1/2}$ T$^{1/4}$)", **font())
    for k, entry in enumerate(shown):
        colour, drawn = palette.lot_colour(k), np.isfinite(entry.kramer_field_t) and not entry.rejected
        said = f"{fitted(entry.sample, _NAME_IN, SMALL)}, {entry.temperature_k:g} K"
        if drawn:
            ends = np.array([entry.field_t[0], entry.kramer_field_t])
            axes.plot(ends, entry.at_zero + entry.slope * ends, color=colour, linewidth=LINE, zorder=1.5)
            said += f": {rounded(entry.kramer_field_t, entry.u_kramer_field_t, 'T')}"
        elif entry.rejected:
            said += ": a line is rejected"
        axes.errorbar(
            entry.field_t, entry.ordinate, yerr=entry.u, fmt=palette.lot_mark(k), color=colour, markersize=4.6,
            elinewidth=THIN, label=said, zorder=3,
        )  # fmt: skip
    axes.set_ylim(bottom=0.0)
    axes.margins(x=0.06)
    minor_ticks(axes, x=2, y=2)
    legend(axes, loc="upper right")
    return figure
