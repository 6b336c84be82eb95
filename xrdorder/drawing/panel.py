"""Axes that draw all ticks of an axis as one line.

An axis of matplotlib makes five artists for each tick, which took half of the time of a figure. Here the first tick of
each kind is drawn for all: its line at all places at once, its number at one place after the other.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis, Tick, XAxis, YAxis
from matplotlib.ticker import NullLocator
from matplotlib.transforms import Bbox

_ROUNDING = 1e-8  # of the length of an axis: a tick at its end lies on it


class _Stamped(Axis):
    """What both axes share. One with a grid is drawn by matplotlib."""

    axis_name: str
    _update_label_position: Any
    _update_offset_text_position: Any
    _boxes: tuple[list[Bbox], list[Bbox]] | None = None

    def draw(self, renderer: Any) -> None:
        """Draw ticks, numbers and label."""
        if not self.get_visible() or self.majorTicks[0].gridline.get_visible():
            super().draw(renderer)
            return
        boxes = self._boxes = [], []
        for minor, locator in enumerate((self.get_major_locator(), self.get_minor_locator())):
            if not isinstance(locator, NullLocator):
                tick = (self.minorTicks if minor else self.majorTicks)[0]
                formatter = self.get_minor_formatter() if minor else self.get_major_formatter()
                places = self._inside(self.get_ticklocs(minor=bool(minor)))
                self._stamp(tick, places, formatter.format_ticks(places), renderer)
        self._update_label_position(renderer)
        self.label.draw(renderer)
        self._update_offset_text_position(*boxes)
        self.offsetText.set_text(self.get_major_formatter().get_offset())
        self.offsetText.draw(renderer)
        self._boxes, self.stale = None, False

    def _inside(self, places: Any) -> Any:
        scale = self.get_transform()
        low, high = np.sort(scale.transform(np.array(self.get_view_interval(), dtype=float)))
        at, room = scale.transform(np.asarray(places, dtype=float)), _ROUNDING * (high - low)
        return np.asarray(places)[(at >= low - room) & (at <= high + room)]

    def _stamp(self, tick: Tick, places: Any, words: list[str], renderer: Any) -> None:
        """Draw a tick at all places, and note the boxes of its numbers, where something must keep clear of them."""
        across = self.axis_name == "x"
        needed = self.label.get_text() or self.get_major_formatter().get_offset()
        for side, line in enumerate((tick.tick1line, tick.tick2line)):
            if line.get_visible():
                edge = np.full(len(places), side)
                line.set_data(*((places, edge) if across else (edge, places)))
                line.draw(renderer)
        for label, boxes in zip((tick.label1, tick.label2), self._boxes or (), strict=True):
            for place, word in zip(places, words, strict=True) if label.get_visible() else ():
                label.set(text=word, **{self.axis_name: place})
                label.draw(renderer)
                if needed and not (across and boxes):  # abreast they are equally high
                    boxes.append(label.get_window_extent(renderer))

    def _update_ticks(self) -> list[Tick]:
        """Ticks one by one, for whoever asks for them; while drawn, there are none for the frame to ask for."""
        return super()._update_ticks() if self._boxes is None else []  # type: ignore[misc]

    def _get_tick_boxes_siblings(self, renderer: Any) -> tuple[list[Bbox], list[Bbox]]:
        """Boxes of the numbers, which the label keeps clear of: while drawn, those just drawn."""
        return self._boxes or super()._get_tick_boxes_siblings(renderer)  # type: ignore[misc]


class _Across(_Stamped, XAxis):
    """The horizontal axis."""


class _Upright(_Stamped, YAxis):
    """The upright axis."""


class Panel(Axes):
    """Axes whose ticks are drawn so."""

    def _init_axis(self) -> None:
        self.xaxis, self.yaxis = _Across(self, clear=False), _Upright(self, clear=False)
        for axis, sides in ((self.xaxis, ("bottom", "top")), (self.yaxis, ("left", "right"))):
            for side in sides:
                self.spines[side].register_axis(axis)
