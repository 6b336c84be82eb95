"""What goes wrong between the diffractometer and the file? Each defect by itself, to be put one after another.

Functions of the first group change expected counts and belong before `counted` (or `counted_with_dead_time`),
those of the second change counts and belong after it. None changes what is handed in. Heights are in shares of
the highest point. What is merely described wrongly (slit, specimen length, dopant, mount) needs no defect:
simulate one thing, declare another.
"""

from collections.abc import Sequence

import numpy as np
from scipy.signal import savgol_filter
from scipy.special import gammainc, voigt_profile

from .cells import HC_EV_NM, Array

# --- before counting -------------------------------------------------------------------------------------


def fewer(expected: Array, factor: float = 10.0) -> Array:
    """A scan that took a `factor` less time."""
    return expected / factor


def beam_trip(two_theta: Array, expected: Array, start_deg: float, stop_deg: float, left: float = 0.0) -> Array:
    """The beam fails from `start_deg` to `stop_deg` and leaves the share `left` of all counts."""
    lost = (two_theta >= start_deg) & (two_theta < stop_deg)
    return np.where(lost, left * expected, expected)


def drift(two_theta: Array, expected: Array, change: float) -> Array:
    """A tube that loses the share `change` of its power steadily over the scan."""
    return expected * (1.0 - change * (two_theta - two_theta[0]) / (two_theta[-1] - two_theta[0]))


def amorphous_hump(
    two_theta: Array, expected: Array, height: float, centre_deg: float = 26.0, fwhm_deg: float = 9.0
) -> Array:
    """Glass, resin or grease: a broad hump, with the second one of half its height at 1.75 of its s."""
    top = height * expected.max()
    second_deg = 2.0 * np.degrees(np.arcsin(1.75 * np.sin(np.radians(centre_deg) / 2.0)))
    shape = 0.0
    for centre, share, width in ((centre_deg, 1.0, fwhm_deg), (second_deg, 0.5, 2.0 * fwhm_deg)):
        shape = shape + share * np.exp(-4.0 * np.log(2.0) * ((two_theta - centre) / width) ** 2)
    return expected + top * shape


def foreign_lines(
    two_theta: Array, expected: Array, positions_deg: Sequence[float], heights: Sequence[float],
    fwhm_deg: float = 0.12,
) -> Array:  # fmt: skip
    """Lines of something nobody knows: Voigt functions, Gauss and Lorentz parts alike."""
    sigma, gamma = 0.61 * fwhm_deg / 2.3548, 0.61 * fwhm_deg / 2.0  # equal parts make 1.637 of one of them
    total = expected.copy()
    for position, height in zip(positions_deg, heights, strict=True):
        shape = voigt_profile(two_theta - position, sigma, gamma)
        total = total + height * expected.max() * shape / voigt_profile(0.0, sigma, gamma)
    return total


def mounting_clay(two_theta: Array, expected: Array, height: float, fwhm_deg: float = 0.7, halo: float = 0.3) -> Array:
    """Modelling clay or wax beside the specimen, copper radiation: two broad lines and a halo at low angle.

    Chains of paraffin pack as those of polyethylene, orthorhombic with 0.742 nm and 0.495 nm (C. W. Bunn, Trans.
    Faraday Soc. 35 (1939) 482, from memory): (110) of them at 21.6 degrees, (200) at 24.0 just beside (110) of the
    A15, with a third of its height; the liquid-like halo of `halo` of it at 19.5 degrees (both from memory of
    patterns). Mineral fillers have lines of their own and show themselves: they are left out.
    """
    top = height * expected.max()
    total = expected.copy()
    for d_nm, share in ((1.0 / np.hypot(1.0 / 0.742, 1.0 / 0.495), 1.0), (0.742 / 2.0, 0.35)):
        centre = 2.0 * np.degrees(np.arcsin(HC_EV_NM / 8047.8227 / (2.0 * d_nm)))
        total = total + share * top * np.exp(-4.0 * np.log(2.0) * ((two_theta - centre) / fwhm_deg) ** 2)
    return total + halo * top * np.exp(-4.0 * np.log(2.0) * ((two_theta - 19.5) / 5.0) ** 2)


def counted(expected: Array, seed: int) -> Array:
    """Poisson counts of these means."""
    return np.random.default_rng(seed).poisson(expected).astype(float)


def counted_with_dead_time(arriving: Array, dead: float, seed: int) -> Array:
    """Counts of a detector that is blind for the share `dead` of the time at a point after each count.

    In the mean n / (1 + n `dead`) of n arriving, with less scatter than Poisson's (J. W. Müller, Nucl. Instrum. Methods
    112 (1973) 47, from memory). Drawn from the exact law: m counts or more where the sum of m waiting times is shorter
    than the time that m - 1 counts leave.
    """
    lot = np.random.default_rng(seed).uniform(size=np.shape(arriving))
    low = np.zeros(np.shape(arriving))
    high = np.ceil(arriving + 12.0 * np.sqrt(arriving) + 30.0)
    while np.any(high - low > 1.0):
        middle = np.floor((low + high) / 2.0)
        alive = np.maximum(arriving * (1.0 - (middle - 1.0) * dead), 0.0)
        enough = gammainc(np.maximum(middle, 1.0), alive) > lot
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    return low


# --- after counting --------------------------------------------------------------------------------------


def hot_pixels(counts: Array, rng: np.random.Generator, number: int = 3, height: float = 0.5) -> Array:
    """Single points at random with about `height` of the highest point on top (half to one and a half of it)."""
    spoiled = counts.copy()
    where = rng.choice(len(counts), number, replace=False)
    spoiled[where] += np.round(height * counts.max() * rng.uniform(0.5, 1.5, number))
    return spoiled


def dead_pixels(counts: Array, rng: np.random.Generator, number: int = 3) -> Array:
    """Single points at random without counts."""
    spoiled = counts.copy()
    spoiled[rng.choice(len(counts), number, replace=False)] = 0.0
    return spoiled


def missing_range(two_theta: Array, counts: Array, start_deg: float, stop_deg: float) -> tuple[Array, Array]:
    """A range that is not in the file."""
    kept = (two_theta < start_deg) | (two_theta >= stop_deg)
    return two_theta[kept], counts[kept]


def moving_average(counts: Array, points: int = 5) -> Array:
    """Smoothed by the mean of so many points; fewer at the ends."""
    window = np.ones(points)
    return np.convolve(counts, window, "same") / np.convolve(np.ones_like(counts), window, "same")


def savitzky_golay(counts: Array, points: int = 9, order: int = 2) -> Array:
    """Smoothed by a polynomial through so many points."""
    return np.asarray(savgol_filter(counts, points, order, mode="interp"))


def per_second(counts: Array, seconds: float, decimals: int | None = 3) -> Array:
    """Written as counts per second, rounded as files are."""
    rate = counts / seconds
    return rate if decimals is None else np.round(rate, decimals)


def multiplied(counts: Array, factor: float, decimals: int | None = None) -> Array:
    """Counts times a factor, as normalised data are, rounded as files are."""
    return counts * factor if decimals is None else np.round(counts * factor, decimals)


def rooted(counts: Array, decimals: int | None = 3) -> Array:
    """Square roots of counts, as programs draw them."""
    return np.sqrt(counts) if decimals is None else np.round(np.sqrt(counts), decimals)


def rounded_angles(two_theta: Array, decimals: int = 2) -> Array:
    """Angles written with so few decimals that the step seems to change."""
    return np.round(two_theta, decimals)


def resampled(two_theta: Array, counts: Array, step_deg: float) -> tuple[Array, Array]:
    """Interpolated on another step: neighbours are then no longer independent."""
    grid = np.arange(two_theta[0], two_theta[-1] + 1e-9, step_deg)
    return grid, np.interp(grid, two_theta, counts)


def background_taken_off(counts: Array, share: float = 0.9, window: int = 101) -> Array:
    """Most of the lowest counts around subtracted, as programs do; never below zero."""
    half = window // 2
    padded = np.pad(counts, half, mode="edge")
    low = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1).min(axis=1)
    return np.maximum(counts - share * low, 0.0)


def alpha2_stripped(
    two_theta: Array, counts: Array, ratio: float = 0.5, energies_ev: tuple[float, float] = (8047.8227, 8027.8416)
) -> Array:
    """K-alpha2 taken off from low to high angle, W. A. Rachinger, J. Sci. Instrum. 25 (1948) 254 (from memory).

    What K-alpha1 shows at sinθ, K-alpha2 shows `ratio` of at sinθ λ2/λ1; at the start all is taken for
    K-alpha1 and K-alpha2 in proportion.
    """
    first, second = (HC_EV_NM / energy for energy in energies_ev)
    earlier = 2.0 * np.degrees(np.arcsin(np.sin(np.radians(two_theta) / 2.0) * first / second))
    # intensity per angle: a stretched pattern is lower
    stretch = np.tan(np.radians(earlier) / 2.0) / np.tan(np.radians(two_theta) / 2.0)
    stripped = counts.copy()
    start = two_theta[0]
    for i, angle in enumerate(earlier):
        if angle < start:
            stripped[i] = counts[i] / (1.0 + ratio)
            continue
        j = max(int(np.searchsorted(two_theta[: i + 1], angle)), 1)
        left, right = two_theta[j - 1], two_theta[j]
        # where the step is longer than the doublet is wide the point itself is part of what is sought
        part = (angle - left) / (right - left)
        scale = ratio * stretch[i]
        if j == i:
            stripped[i] = (counts[i] - scale * (1.0 - part) * stripped[j - 1]) / (1.0 + scale * part)
        else:
            stripped[i] = counts[i] - scale * ((1.0 - part) * stripped[j - 1] + part * stripped[j])
    return stripped
