"""How far apart are the points of a scan?"""

import numpy as np
from numpy.typing import NDArray

_GAP = 3.0  # times the usual distance; rounding a step to a digit below it at most doubles it


def angle_step(angles: NDArray[np.float64]) -> float:
    """Step of a rising scale of angles, in its unit; zero for fewer than two points.

    Angles are often written with fewer digits than their step needs: 0.0131 degrees become steps of 0.01 and 0.02,
    whose median is off by a third. The range tells the step, less the gaps between ranges measured apart.

    Examples
    --------
    >>> scan = np.arange(20.0, 30.0, 0.0131).round(2)
    >>> round(angle_step(scan), 4), round(float(np.median(np.diff(scan))), 4)
    (0.0131, 0.01)
    >>> round(angle_step(np.concatenate([scan, scan + 40.0])), 4)
    0.0131
    """
    steps = np.diff(angles)
    if not len(steps):
        return 0.0
    return float(np.mean(steps[steps <= _GAP * np.median(steps)]))
