"""Which words of a figure are cut by its edge or lie over each other? By the boxes of what is really drawn."""

from itertools import combinations
from unittest.mock import patch

import pytest
from matplotlib.text import Text

from xrdorder.figures.layout import SIZES

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
