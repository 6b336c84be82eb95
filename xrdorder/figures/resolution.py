"""The resolution of an instrument: how wide its lines are over the angle, with numbers at three angles."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from xrdorder.drawing import palette
from xrdorder.drawing.layout import (
    LINE,
    SCREEN,
    STRONG,
    THIN,
    Margins,
    Size,
    grid,
    minor_ticks,
    style,
    write,
)
from xrdorder.drawing.parts import DASHES, legend
from xrdorder.drawing.text import SMALL, fitted
from xrdorder.exceptions import StudyError
from xrdorder.profiles import Instrument

TOLD_DEG = (30.0, 70.0, 110.0)
"""Angles at which widths are told in numbers."""

MOST = len(DASHES)
_PANEL_IN, _SHAPE, _SPAN_DEG = 3.4, 0.62, (15.0, 140.0)


def resolution_figure(instruments: Mapping[str, Instrument], *, title: str = "", size: Size = SCREEN) -> Figure:
    """Show the full width at half maximum that instruments give a line, against the angle.

    Of one instrument thin lines show the Gaussian and the Lorentzian part; radiation and axial divergence come on top.

    Parameters
    ----------
    instruments : mapping of str to Instrument
        By name, up to `MOST`.
    title : str
    size : Size

    Raises
    ------
    StudyError
        There is none, or more than can be told apart.
    """
    if not instruments:
        raise StudyError("no instrument file of the study is at hand; run the study")
    if len(instruments) > MOST:
        raise StudyError(f"{len(instruments)} instruments in one figure; choose up to {MOST}")
    wide = size.width_in - 0.98
    remark = "Full width at half maximum that the instrument alone gives a line, without emission and axial divergence."
    figure, (axes,) = grid(
        size, 1, min(_PANEL_IN, _SHAPE * wide), title=title, remark=remark, margins=Margins(), columns=1
    )
    style(axes, x_label="diffraction angle 2θ (degrees)", y_label="FWHM (degrees)")
    angle = np.linspace(*_SPAN_DEG, 251)
    for k, (name, instrument) in enumerate(instruments.items()):
        colour = palette.lot_colour(k)
        words = _named(name, instrument)
        axes.plot(angle, instrument.fwhm(angle), color=colour, linewidth=STRONG, linestyle=DASHES[k], label=words)
        told = np.array(TOLD_DEG)
        axes.plot(told, instrument.fwhm(told), palette.lot_mark(k), color=colour, markersize=5.0, linestyle="none")
        for at, width in zip(told, instrument.fwhm(told), strict=True):
            off, va = (-5.0, "top") if k % 2 else (5.0, "bottom")
            write(axes, f"{width:.3f}°", (at, width), color=colour, by=(0.0, off), ha="center", va=va)
        if len(instruments) == 1:
            for part, dashes in (("Gaussian", (0, (4, 2))), ("Lorentzian", (0, (1, 1.5)))):
                axes.plot(
                    angle, instrument.fwhm(angle, part), color=palette.SLATE, linewidth=LINE, linestyle=dashes,
                    label=f"{part} part",
                )  # fmt: skip
    axes.set_xlim(*_SPAN_DEG)
    axes.set_ylim(bottom=0.0)
    axes.grid(color=palette.FOG, linewidth=THIN, alpha=0.5)
    minor_ticks(axes, x=4, y=2)
    legend(axes)
    return figure


def _named(name: str, instrument: Instrument) -> str:
    return fitted(name or instrument.standard or "instrument", 1.8, SMALL)
