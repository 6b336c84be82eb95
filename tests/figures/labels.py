"""Which words of a figure are cut or lie over each other, which axes say nothing, which data are off them?"""

from itertools import combinations
from unittest.mock import patch

import numpy as np
import pytest
from matplotlib.text import Text

from xrdorder.drawing.layout import SIZES

TOUCH_PX = 1.0
"""Boxes hold a line's full height, with room for letters that rise and fall; a pixel of it may be shared."""

EVERY_SIZE = [
    pytest.param(size, id=name, marks=() if name == "one-column" else pytest.mark.slow) for name, size in SIZES.items()
]
"""For tests of words: quick for the narrowest, where room is least."""


def drawn_words(figure):
    """Lay a figure out and give the words in it, each with its box in pixels."""
    found = []
    plain = Text.draw

    def draw(self, renderer):
        plain(self, renderer)
        if self.get_visible() and self.get_text().strip():
            found.append((self.get_text(), self.get_window_extent(renderer)))

    with patch.object(Text, "draw", draw):
        figure.draw_without_rendering()
    return found


def troubles(figure):
    """Say what is cut and what overlaps; empty where all can be read."""
    words = drawn_words(figure)
    width, height = figure.bbox.size
    found = [
        f"cut: {text!r} ({box.x0:.0f}, {box.y0:.0f}, {box.x1:.0f}, {box.y1:.0f}) of {width:.0f} by {height:.0f}"
        for text, box in words
        if box.x0 < -TOUCH_PX or box.y0 < -TOUCH_PX or box.x1 > width + TOUCH_PX or box.y1 > height + TOUCH_PX
    ]
    for (one, a), (other, b) in combinations(words, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        along = min(a.y1, b.y1) - max(a.y0, b.y0)
        if across > TOUCH_PX and along > TOUCH_PX:
            found.append(f"overlap of {across:.0f} by {along:.0f}: {one!r} and {other!r}")
    return found


def axis_troubles(figure):
    """Say which axes have numbers at fewer than two ticks, and where marks or bars lie off their axes."""
    figure.draw_without_rendering()
    found = []
    for k, axes in enumerate(figure.axes):
        if not axes.axison:
            continue
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            inside = [at for at in axis.get_majorticklocs() if low - 1e-9 <= at <= high + 1e-9]
            written = [text for text in axis.get_ticklabels() if text.get_visible() and text.get_text()]
            if len(inside) == 1 and written:
                found.append(f"axes {k} ({axis.get_label_text()!r}): a single tick at {inside[0]:g}")
        found += [f"axes {k} ({axes.get_ylabel()!r}): data off the axis at {at}" for at in _off(axes)]
    return found


def _off(axes):
    """Marks whose middle lies outside the frame, and lines that lie outside altogether."""
    frame = axes.patch.get_window_extent()
    room = 1.0  # pixels: limits are rounded
    for line in axes.lines:
        if line.get_transform() is not axes.transData and not line.get_transform().contains_branch(axes.transData):
            continue
        if line.get_transform() != axes.transData:
            continue  # placed by the frame, not by data
        places = axes.transData.transform(np.column_stack(line.get_data()).astype(float))
        places = places[np.isfinite(places).all(axis=1)]
        x, y = places.T if len(places) else ([], [])
        outside = [
            not (frame.x0 - room <= a <= frame.x1 + room and frame.y0 - room <= b <= frame.y1 + room)
            for a, b in zip(x, y, strict=True)
        ]
        marked = line.get_marker() not in ("None", "", " ", None)
        if outside and (any(outside) if marked else all(outside)):
            first = outside.index(True)
            yield tuple(np.round(axes.transData.inverted().transform((x[first], y[first])), 4))
