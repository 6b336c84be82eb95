"""Did a file end before the scan did? An export that was broken off, or a copy that was.

Nothing tells it for certain but a number of points or an end of the range that the file declares. Where a file ends
without the end of a line, its last number may be one of which some digits are missing: that is believed where it has
fewer decimals than all before it, or is far below them.
"""

import math
from collections.abc import Sequence

import numpy as np

from xrdorder.exceptions import Flag

#: Numbers before the last one that it is held against, and how many are needed.
NEIGHBOURS, _FEWEST = 20, 5
# A digit less is a tenth of the number; lines rise and fall by less than this from one point to the next.
_FAR_BELOW = 0.3
_SIGMA = 6.0
# An end of the range is often written as the next round number.
_NEAR_END_DEG = 0.1


def flag(why: str) -> Flag:
    """Tell that a file ended early, and by what it is known."""
    return Flag("ended-early", f"the file ends before the scan does: {why}; copy or export it again")


def cut_number(last: str, before: Sequence[str]) -> bool:
    """Tell whether digits are missing at the end of a number.

    Parameters
    ----------
    last : str
        The last number of a file that does not end in the end of a line.
    before : sequence of str
        The numbers above it.

    Examples
    --------
    >>> cut_number("20.4", ["20.00", "20.10", "20.20", "20.30", "20.40"]), cut_number("11", ["1132"] * 9)
    (True, True)
    >>> cut_number("1080", ["1132"] * 9), cut_number("3", ["5", "9", "2", "7", "4"])
    (False, False)
    """
    near = before[-NEIGHBOURS:]
    if len(near) < _FEWEST:
        return False
    decimals = {len(text.partition(".")[2]) for text in near}
    if len(decimals) == 1 and len(last.partition(".")[2]) < min(decimals):
        return True
    try:
        values = np.array([float(text) for text in near])
        value = float(last)
    except ValueError:
        return False
    usual = float(np.median(values))
    scatter = max(math.sqrt(max(usual, 1.0)), 1.4826 * float(np.median(np.abs(values - usual))))
    return value < _FAR_BELOW * usual and usual - value > _SIGMA * scatter


def points(declared: int, held: int) -> list[Flag]:
    """Hold the number of points that a file declares against those in it."""
    return [flag(f"it says {declared} points and holds {held}")] if 0 < held < declared else []


def end(declared: float, last: float, step: float) -> list[Flag]:
    """Hold the end of the range (degree) that a file declares against its last angle and step."""
    short = declared - last > max(2.0 * step, _NEAR_END_DEG) and declared < 180.0
    return [flag(f"it says {declared:g} degrees and ends at {last:g}")] if short else []
