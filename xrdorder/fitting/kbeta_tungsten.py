"""Which foreign lines are no phase but the tube's: stray radiation and the mark of a beta filter.

Every strong line of a pattern has, at other angles, a weak image of itself in each stray line of the tube, all in the
same ratio. A single coincidence therefore does not make a ghost: stronger lines must show theirs as well.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.fitting.quality import FOREIGN_SIGNIFICANCE, UnexplainedLine
from xrdorder.xrays import Radiation
from xrdorder.xrays.contamination import filter_edge, stray_lines

Array = NDArray[np.float64]

TOLERANCE_WIDTHS = 0.7  # a foreign line is placed to a fraction of its width; own choice
REACH_WIDTHS = 2.5  # nearer to a line of a phase no foreign one is seen; `remarks` looks from two widths on
# A ghost is at most so strong, of its parent: unfiltered K-beta is 0.12 (Cu) to 0.2 (Ag) of K-alpha, and absorption
# may favour it a little; tungsten of an old tube some per cent (common practice, no source).
_MOST = {"K-beta": 0.25}
_MOST_TUNGSTEN = 0.10
_MOST_EDGE = 0.03  # step of the continuum under the foot of a line; common practice, no source
_EDGE_WIDTHS = (1.0, 4.0)  # how far below and above the edge its step may look like a line
_SAME_RATIO = 3.0  # factor by which ratios of one stray line may differ: overlaps, background, dead time
_MUST_SHOW = 2.0  # times the weakest height that is found; what is expected above it must be there


class PresentLines(NamedTuple):
    """Lines of a phase that was found, as the fit has them.

    Attributes
    ----------
    name : str
        Of the phase, as in the catalogue.
    hkl : ndarray of int, shape (n, 3)
        Miller indices.
    d_nm : ndarray, shape (n,)
        Spacings, nm.
    two_theta : ndarray, shape (n,)
        Where the pattern has them with the reference wavelength, all shifts included, degrees.
    height : ndarray, shape (n,)
        Height over background, counts.
    """

    name: str
    hkl: NDArray[np.int64]
    d_nm: Array
    two_theta: Array
    height: Array


class Ghost(NamedTuple):
    """What a foreign line is the ghost of, in words, and whether at least one more of its kind is there."""

    words: str
    sure: bool


class Shift:
    """How far lines of a pattern stand from their Bragg angles: offset, displacement and the rest, as found.

    Parameters
    ----------
    present
        Phases that were found; none of them means no shift.
    wavelength_nm
        Reference wavelength.
    """

    def __init__(self, present: Sequence[PresentLines], wavelength_nm: float) -> None:
        angle = np.concatenate([lines.two_theta for lines in present] or [np.zeros(0)])
        d_nm = np.concatenate([lines.d_nm for lines in present] or [np.zeros(0)])
        order = np.argsort(angle)
        self._bragg = bragg_angle(d_nm[order], wavelength_nm)
        self._shift = angle[order] - self._bragg

    def __call__(self, two_theta: Array) -> Array:
        """Shift at these Bragg angles, degrees."""
        if not len(self._bragg):
            return np.zeros_like(two_theta)
        return np.asarray(np.interp(two_theta, self._bragg, self._shift))


def bragg_angle(d_nm: Array, wavelength_nm: float) -> Array:
    """Bragg angles 2 theta in degrees; 180 for spacings too small to reflect.

    >>> print(f"{bragg_angle(np.array([0.216]), 0.154059)[0]:.2f}")
    41.79
    """
    return np.asarray(2.0 * np.degrees(np.arcsin(np.minimum(0.5 * wavelength_nm / d_nm, 1.0))))


def weakest_height(lines: Sequence[UnexplainedLine]) -> float:
    """Height that a foreign line typically needs to be found, counts; heights of lines of that significance."""
    return FOREIGN_SIGNIFICANCE * float(np.median([line.height_counts / line.significance for line in lines]))


def hidden(two_theta: Array, present: Sequence[PresentLines], width_deg: float) -> NDArray[np.bool_]:
    """Tell at which angles a line of a phase that is there would hide a foreign one."""
    known = np.concatenate([lines.two_theta for lines in present] or [np.zeros(0)])
    return np.asarray((np.abs(two_theta[:, None] - known[None, :]) < REACH_WIDTHS * width_deg).any(axis=1))


class _Images(NamedTuple):
    """Where one kind of ghost puts the images of all parents, how far a find may lie off, and its greatest share."""

    place: Array
    below: Array
    above: Array
    most: float


def _family(
    lines: Sequence[UnexplainedLine],
    parent_height: Array,
    images: _Images,
    can_show: NDArray[np.bool_],
    weakest: float,
) -> dict[int, int]:
    """Which line is the ghost of which parent: line number to parent number. Empty if ghosts that must show do not."""
    angle = np.array([line.two_theta for line in lines])
    height = np.array([line.height_counts for line in lines])
    off = angle[:, None] - images.place[None, :]
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
    expected = can_show & (ratio * parent_height >= _MUST_SHOW * weakest)
    shown = near.any(axis=0)
    if np.count_nonzero(expected & shown) * 2 < np.count_nonzero(expected):
        return {}
    return pairs


def ghosts(
    lines: Sequence[UnexplainedLine],
    present: Sequence[PresentLines],
    radiation: Radiation,
    two_theta_range: tuple[float, float],
    width_deg: float,
) -> list[Ghost | None]:
    """Say which foreign lines come from the tube and its filter.

    Parameters
    ----------
    lines
        Foreign lines.
    present
        Lines of the phases that were found, the possible parents.
    radiation
        Main radiation; its anode says which stray lines there may be.
    two_theta_range
        First and last angle of the pattern, degrees.
    width_deg
        Full width of a typical line.

    Returns
    -------
    list of Ghost or None
        For each line; words are "K-beta of nb3sn 2 1 1" or "edge of the Ni filter beside nb3sn 2 1 0".
    """
    named: list[Ghost | None] = [None] * len(lines)
    if not lines or not present:
        return named
    d_nm = np.concatenate([phase.d_nm for phase in present])
    parent_height = np.concatenate([phase.height for phase in present])
    parents = [f"{phase.name} {' '.join(str(i) for i in hkl)}" for phase in present for hkl in phase.hkl]
    shift = Shift(present, radiation.wavelength_nm)
    weakest = weakest_height(lines)
    kinds: list[tuple[str, _Images]] = []
    for stray in stray_lines(radiation):
        place = bragg_angle(d_nm, stray.wavelength_nm)
        spread = max(line.width_relative for line in stray.lines)
        natural = np.degrees(2.0 * spread * np.tan(np.radians(np.minimum(0.5 * place, 89.0))))
        off = TOLERANCE_WIDTHS * width_deg + natural
        most = _MOST.get(stray.name, _MOST_TUNGSTEN)
        kinds.append((f"{stray.name} of", _Images(place + shift(place), off, off, most)))
    edge = filter_edge(radiation)
    if edge is not None:
        place = bragg_angle(d_nm, edge.wavelength_nm)
        below, above = (np.full_like(place, widths * width_deg) for widths in _EDGE_WIDTHS)
        words = f"edge of the {edge.metal} filter beside"
        kinds.append((words, _Images(place + shift(place), below, above, _MOST_EDGE)))
    for words, images in kinds:
        can_show = (images.place > two_theta_range[0]) & (images.place < two_theta_range[1])
        can_show &= ~hidden(images.place, present, width_deg)
        family = _family(lines, parent_height, images, can_show, weakest)
        for k, parent in family.items():
            ghost, old = Ghost(f"{words} {parents[parent]}", len(family) > 1), named[k]
            if old is None or (ghost.sure and not old.sure):
                named[k] = ghost
    return named
