"""Which words of a figure are cut or lie over each other, which axes say nothing, which data are off them?"""

from itertools import combinations, pairwise
from unittest.mock import patch

import numpy as np
import pytest
from matplotlib.collections import LineCollection, PathCollection, PolyCollection
from matplotlib.colors import to_hex
from matplotlib.contour import ContourSet
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
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
    """Say which axes of a figure that was laid out have numbers at a single tick, and where data lie off their axes."""
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


def widths(figure):
    """Widths of all lines that are drawn (points): curves, bars, contours, edges of marks and patches, frames, ticks.

    The figure was laid out. Grounds of rows, drawn as lines as wide as a row, and hatches are no lines.
    """
    found = set()
    for line in figure.findobj(Line2D):
        off = line.axes is None or (not line.axes.axison and line not in line.axes.lines)  # ticks of no axis
        if off or not line.get_visible() or not np.size(line.get_xdata()):
            continue
        found |= {line.get_linewidth()} if line.get_linestyle() != "None" else set()
        if line.get_marker() not in ("None", "", " ", None):
            found.add(line.get_markeredgewidth())
    for one in figure.findobj(LineCollection):
        found |= {width for width in one.get_linewidths() if width < ROW_PT}
    for one in figure.findobj(ContourSet):
        found |= set() if one.filled else set(np.ravel(one.get_linewidth()))
    for patch_ in figure.findobj(Patch):
        off = patch_.axes is not None and not patch_.axes.axison and patch_ not in patch_.axes.patches  # frame of none
        edge = patch_.get_visible() and patch_.get_edgecolor()[3] > 0.0 and patch_.get_hatch() is None
        if edge and not off:
            found.add(patch_.get_linewidth())
    return {round(float(width), 6) for width in found} - {0.0}


def line_colours(figure):
    """Colours of curves and bars, as `#rrggbb`."""
    lines = [line for axes in figure.axes for line in axes.lines if line.get_linestyle() != "None"]
    found = {to_hex(line.get_color()) for line in lines}
    return found.union(*({to_hex(colour) for colour in one.get_colors()} for one in figure.findobj(LineCollection)))


ROW_PT = 8.0
"""Lines wider than this are grounds of rows."""


def covered(figure):
    """Say which legends, and which words placed by the frame of an axes, lie on data; the figure was laid out."""
    renderer = figure.canvas.get_renderer()
    boxes = [("legend", one.get_window_extent(renderer), figure.axes) for one in figure.legends]
    for axes in figure.axes:
        if axes.get_legend() is not None:
            boxes.append(("legend", axes.get_legend().get_window_extent(renderer), figure.axes))
        for text in axes.texts:
            on = text.get_transform()
            by_frame = on.contains_branch(axes.transAxes) and not on.contains_branch(axes.transData)
            if by_frame and text.get_text().strip():
                boxes.append((text.get_text(), text.get_window_extent(renderer), [axes]))
    found = []
    for words, box, of in boxes:
        for axes in of:
            places = _places(axes)
            # a pixel of the edge may be shared
            inside = (places > (box.x0 + 1, box.y0 + 1)).all(axis=1) & (places < (box.x1 - 1, box.y1 - 1)).all(axis=1)
            if inside.any():
                at = axes.transData.inverted().transform(places[inside][0])
                found.append(f"{words!r} lies on data at {at.round(4)} of {axes.get_ylabel()!r}")
    return found


def _places(axes):
    """Where data are drawn (pixels): marks, points along lines no farther apart than two pixels, edges of bands."""
    frame, found = axes.get_window_extent(), []
    for line in axes.lines:
        if line.get_transform() == axes.transData and line.get_visible():
            places = axes.transData.transform(np.column_stack(line.get_data(orig=False)).astype(float))
            found += [places] if line.get_linestyle() == "None" else [_along(places)]
    for one in axes.collections:
        if one.get_transform() != axes.transData or one.get_zorder() < 1.0 or isinstance(one, PathCollection):
            continue
        for path in one.get_paths():
            places = axes.transData.transform(path.vertices)
            found.append(places if isinstance(one, PolyCollection) else _along(places))
    if not found:
        return np.empty((0, 2))
    places = np.concatenate(found)
    places = places[np.isfinite(places).all(axis=1)]
    return places[frame.padded(1.0).x0 <= places[:, 0]]


def _along(places):
    """Points along a line no farther apart than two pixels; gaps stay gaps."""
    pieces = [places]
    for a, b in pairwise(places):
        if np.isfinite(a).all() and np.isfinite(b).all():
            steps = int(min(np.hypot(*(b - a)) // 2.0, 2000))
            if steps > 1:
                pieces.append(a + np.linspace(0.0, 1.0, steps)[:, None] * (b - a))
    return np.concatenate(pieces)
