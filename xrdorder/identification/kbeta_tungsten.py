"""Which unindexed lines come from the tube: K-beta, tungsten, and the absorption edge of a beta filter.

Every strong line of a pattern has a weak counterpart at another angle in each contaminating emission line of the tube,
all in the same ratio. A single coincidence therefore proves nothing: stronger lines must show theirs as well.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.identification.line_pattern import TOLERANCE_WIDTHS, LinePattern, bragg_angle
from xrdorder.xrays.contamination import contamination_lines, filter_edge

Array = NDArray[np.float64]

# Largest height relative to the parent line: unfiltered K-beta is 0.12 (Cu) to 0.2 (Ag) of K-alpha, and absorption may
# favour it a little; tungsten of an old tube some per cent (common practice, no source).
_MOST = {"K-beta": 0.25}
_MOST_TUNGSTEN = 0.10
_MOST_EDGE = 0.03  # step of the continuum under the foot of a line; common practice, no source
_EDGE_WIDTHS = (1.0, 4.0)  # how far below and above the edge its step may look like a line
_SAME_RATIO = 3.0  # factor by which ratios of one emission line may differ: overlaps, background, dead time
_MUST_SHOW = 2.0  # times the weakest height that is found; what is expected above it must be there


class TubeLine(NamedTuple):
    """Origin of an unindexed line in the tube, in words, and whether at least one more of its kind is there."""

    words: str
    sure: bool


class _Images(NamedTuple):
    """Where one emission line or edge puts the counterparts of all parents: angle, tolerances, largest ratio."""

    place: Array
    below: Array
    above: Array
    most: float


def _parents(pattern: LinePattern, parent_height: Array, images: _Images) -> dict[int, int]:
    """Which unindexed line belongs to which parent line, by number; empty if lines that must show do not."""
    off = pattern.angle[:, None] - images.place[None, :]
    height = pattern.height
    near = (off > -images.below) & (off < images.above) & (height[:, None] <= images.most * parent_height)
    pairs = {k: int(np.argmax(np.where(row, parent_height, -1.0))) for k, row in enumerate(near) if row.any()}
    if not pairs:
        return {}
    # The parent with most counts tells the ratio; what differs much from it is not of this kind.
    first = max(pairs, key=lambda k: parent_height[pairs[k]])
    ratio = height[first] / parent_height[pairs[first]]
    pairs = {
        k: parent
        for k, parent in pairs.items()
        if 1.0 / _SAME_RATIO <= height[k] / parent_height[parent] / ratio <= _SAME_RATIO
    }
    expected = pattern.visible(images.place) & (ratio * parent_height >= _MUST_SHOW * pattern.weakest_height)
    shown = near.any(axis=0)
    if np.count_nonzero(expected & shown) * 2 < np.count_nonzero(expected):
        return {}
    return pairs


def _images(pattern: LinePattern, d_nm: Array) -> list[tuple[str, _Images]]:
    """Counterparts of the lines of these spacings in each contaminating line and the edge of the filter, with words."""
    width = pattern.width_deg
    kinds: list[tuple[str, _Images]] = []
    for contamination in contamination_lines(pattern.radiation):
        bragg = bragg_angle(d_nm, contamination.wavelength_nm)
        spread = max(line.width_relative for line in contamination.lines)
        natural = np.degrees(2.0 * spread * np.tan(np.radians(np.minimum(0.5 * bragg, 89.0))))
        off = TOLERANCE_WIDTHS * width + natural
        most = _MOST.get(contamination.name, _MOST_TUNGSTEN)
        kinds.append((f"{contamination.name} of", _Images(bragg + pattern.shift(bragg), off, off, most)))
    edge = filter_edge(pattern.radiation)
    if edge is not None:
        bragg = bragg_angle(d_nm, edge.wavelength_nm)
        below, above = (np.full_like(bragg, widths * width) for widths in _EDGE_WIDTHS)
        words = f"edge of the {edge.metal} filter beside"
        kinds.append((words, _Images(bragg + pattern.shift(bragg), below, above, _MOST_EDGE)))
    return kinds


def tube_lines(pattern: LinePattern) -> list[TubeLine | None]:
    """Say which unindexed lines come from the tube and its filter.

    Returns
    -------
    list of TubeLine or None
        For each unindexed line; words are "K-beta of nb3sn 2 1 1" or "edge of the Ni filter beside nb3sn 2 1 0".
    """
    origins: list[TubeLine | None] = [None] * len(pattern.unindexed)
    if not pattern.unindexed or not pattern.present:
        return origins
    parent_height = np.concatenate([phase.height for phase in pattern.present])
    labels = [label for phase in pattern.present for label in phase.labels]
    for words, images in _images(pattern, np.concatenate([phase.d_nm for phase in pattern.present])):
        parents = _parents(pattern, parent_height, images)
        for k, parent in parents.items():
            origin, earlier = TubeLine(f"{words} {labels[parent]}", len(parents) > 1), origins[k]
            if earlier is None or (origin.sure and not earlier.sure):
                origins[k] = origin
    return origins
