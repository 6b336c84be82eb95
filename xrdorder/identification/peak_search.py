"""Where does the residual of a fit show lines that no phase explains?"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from xrdorder.patterns.angle_step import angle_step

Array = NDArray[np.float64]

UNINDEXED_SIGNIFICANCE = 8.0
"""Of the weakest unindexed line that is looked for.

Trials found false lines of 6 to 9 standard deviations where the background was warped by a true one.
"""


class UnindexedLine(NamedTuple):
    """A line that no phase explains."""

    two_theta: float
    d_nm: float
    height_counts: float
    significance: float


def search_peaks(
    two_theta: Array,
    residual: Array,
    variance: Array,
    width_deg: float,
    wavelength_nm: float,
    known: Array,
    reach_deg: Array,
) -> list[UnindexedLine]:
    """Find unindexed lines by filtering the residual with the shape of a line.

    Parameters
    ----------
    two_theta, residual, variance
        Angles, observed less calculated counts, and variance, shape (n,).
    width_deg
        Full width of a line.
    wavelength_nm
        To turn angles into spacings.
    known, reach_deg
        Angles of the lines of the phases and how far each reaches, degrees, shape (lines,): what the residual shows
        there is misfit or texture of a known line, not an unindexed one.
    """
    step = angle_step(two_theta)
    sigma = max(width_deg / 2.355 / max(step, 1e-9), 1.0)
    # matched filter: weighted least-squares height of a Gaussian line at every point
    score = gaussian_filter1d(residual / variance, sigma, mode="nearest")
    unit = np.zeros(8 * int(np.ceil(sigma)) + 1)
    unit[len(unit) // 2] = 1.0
    kernel = gaussian_filter1d(unit, sigma)
    weight = gaussian_filter1d(1.0 / variance, sigma / np.sqrt(2.0), mode="nearest") * float(kernel @ kernel)
    significance = score / np.sqrt(np.maximum(weight, 1e-300))
    peaks: list[UnindexedLine] = []
    blocked = np.zeros(len(two_theta), dtype=bool)
    ends = np.searchsorted(two_theta, known - reach_deg, "right"), np.searchsorted(two_theta, known + reach_deg)
    for first, last in zip(*ends, strict=True):
        blocked[first:last] = True
    while len(peaks) < 30:
        candidate = np.where(blocked, -np.inf, significance)
        k = int(np.argmax(candidate))
        if candidate[k] < UNINDEXED_SIGNIFICANCE:
            break
        angle = float(two_theta[k])
        height = float(score[k] / weight[k] * kernel.max())
        d_nm = wavelength_nm / (2.0 * np.sin(np.radians(angle / 2.0)))
        peaks.append(UnindexedLine(angle, float(d_nm), height, float(candidate[k])))
        blocked |= np.abs(two_theta - angle) < 3.0 * width_deg
    return sorted(peaks)
