r"""Do repeated scans show the same specimen? Each scan is held against the sum of the others.

Given the sum n of the counts at an angle, the counts a of one of two scans of the same thing are binomial with
p = s w / (1 + s w): w is the ratio of the counting times there, s one factor for the whole scan, so that a tube that
has aged or a longer count does not tell. Then

.. math:: \chi^2 = \sum_k (a_k - p_k n_k)^2 / (p_k (1 - p_k) n_k)

has the mean N - 1 over N angles, and each term the variance 2 + (1 - 6 p (1 - p)) / (n p (1 - p)), which also holds for
few counts (moments of the binomial distribution, from memory; a test draws them); far below one count the fitted s
leaves less of it, which errs on the side of silence. Intensities with variances of their own are held against each
other in the same way, with terms of variance 2.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.patterns.angle_step import angle_step

Array = NDArray[np.float64]

BEYOND_COUNTING = 4.0
"""Standard deviations of chi square above its mean that counting is not believed to give: once in 30 000 scans by the
normal distribution."""

LEAST_EXCESS = 1.0
"""Excess of the reduced chi square that is wanted on top where variances are estimated from the scatter of the points:
they may be off by half, and neighbouring points may hang together (judged)."""

SAME_ANGLE = 0.01
"""Share of a step within which two angles are one: encoders repeat an angle to a fraction of a step, and a hundredth of
it moves no line."""

MOST_TOLD = 10
"""Scans that are told to differ; where there are more, the specimen is not one at all."""

FEWEST_ANGLES = 30
"""Common angles below which chi square is too far from a normal distribution to be judged so."""


class Repeat(NamedTuple):
    """One of several scans.

    Attributes
    ----------
    name : str
        For people.
    two_theta, values, variance, counting_time : (n,) array
        Degrees, counts, their variance, seconds.
    poisson : bool
        The values are counts, and nothing else is known of their variance.
    """

    name: str
    two_theta: Array
    values: Array
    variance: Array
    counting_time: Array
    poisson: bool


class Difference(NamedTuple):
    """How much a scan differs from the rest: chi square by degree of freedom, what counting leaves, angles."""

    chi2_reduced: float
    spread: float
    angles: int

    @property
    def significance(self) -> float:
        """Excess in standard deviations of chi square."""
        return (self.chi2_reduced - 1.0) / self.spread


def same_angles(scales: Sequence[Array]) -> list[NDArray[np.intp]]:
    """Number the angles of several scans, so that angles that are one have one number.

    Parameters
    ----------
    scales : sequence of (n,) array
        Rising angles of each scan.

    Returns
    -------
    list of (n,) int array
        Numbers from zero, rising with the angle.
    """
    angles = np.concatenate(scales)
    near = np.concatenate([np.full(len(scale), SAME_ANGLE * angle_step(scale)) for scale in scales])
    order = np.argsort(angles, kind="stable")
    apart = np.diff(angles[order]) > np.minimum(near[order][1:], near[order][:-1])
    numbers = np.empty(len(angles), dtype=np.intp)
    numbers[order] = np.concatenate([[0], np.cumsum(apart)])
    return np.split(numbers, np.cumsum([len(scale) for scale in scales])[:-1])


class _Sum:
    """Scans and, at each of their angles, the sum of all, so that each can be held against the rest in one step."""

    def __init__(self, scans: Sequence[Repeat]) -> None:
        self.scans = list(scans)
        self.places = same_angles([scan.two_theta for scan in scans])
        self.totals = np.zeros((4, max(int(place[-1]) for place in self.places) + 1))  # values, variance, time, scans
        for scan, place in zip(self.scans, self.places, strict=True):
            self._add(scan, place, 1.0)

    def _add(self, scan: Repeat, place: NDArray[np.intp], sign: float) -> None:
        for total, column in zip(self.totals, _columns(scan), strict=True):
            np.add.at(total, place, sign * column)

    def remove(self, index: int) -> Repeat:
        """Take a scan out."""
        scan = self.scans.pop(index)
        self._add(scan, self.places.pop(index), -1.0)
        return scan

    def difference(self, index: int) -> Difference | None:
        """Hold a scan against the sum of the others on the angles that they have in common."""
        scan = self.scans[index]
        rest = self.totals[:, self.places[index]] - _columns(scan)
        common = rest[3] > 0.5
        own = scan.values[common]
        others, variance, time, _ = rest[:, common]
        if not (own.sum() > 0.0 and others.sum() > 0.0):
            return None
        ratio = scan.counting_time[common] / time
        ratio = ratio * (own.sum() / float(ratio @ others))
        if all(scan.poisson for scan in self.scans):
            counted = own + others > 0.0
            n, share = (own + others)[counted], (ratio / (1.0 + ratio))[counted]
            expected = n * share * (1.0 - share)
            terms = (own[counted] - share * n) ** 2 / expected
            spread = 2.0 + (1.0 - 6.0 * share * (1.0 - share)) / expected
        else:
            terms = (own - ratio * others) ** 2 / (scan.variance[common] + ratio**2 * variance)
            spread = np.full(len(terms), 2.0)
        if len(terms) < FEWEST_ANGLES:
            return None
        degrees = len(terms) - 1
        return Difference(float(terms.sum()) / degrees, float(np.sqrt(spread.sum())) / degrees, len(terms))


def _columns(scan: Repeat) -> Array:
    return np.stack([scan.values, scan.variance, scan.counting_time, np.ones(len(scan.values))])


def difference(scan: Repeat, others: Sequence[Repeat]) -> Difference | None:
    """Hold a scan against the sum of others on the angles that they have in common.

    Parameters
    ----------
    scan : Repeat
    others : sequence of Repeat

    Returns
    -------
    Difference or None
        None where there is too little in common to tell.
    """
    return _Sum([scan, *others]).difference(0)


def scans_that_differ(scans: Sequence[Repeat]) -> list[tuple[tuple[str, ...], Difference]]:
    """Find scans that differ from the rest by more than counting, the worst first and not more than `MOST_TOLD`.

    The worst is taken out before the others are judged, since it stands in the sum that they are held against. Of two
    scans nobody can say which is the odd one: both are named.
    """
    if len(scans) < 2:
        return []
    left = _Sum(scans)
    differing: list[tuple[tuple[str, ...], Difference]] = []
    while len(left.scans) > 1 and len(differing) < MOST_TOLD:
        judged = [(k, left.difference(k)) for k in range(len(left.scans))]
        doubtful = [(d.significance, k, d) for k, d in judged if d is not None and _beyond(d, left.scans)]
        if not doubtful:
            break
        _, worst, by = max(doubtful)
        if len(left.scans) == 2:
            differing.append(((left.scans[0].name, left.scans[1].name), by))
            break
        differing.append(((left.remove(worst).name,), by))
    return differing


def _beyond(difference: Difference, scans: Sequence[Repeat]) -> bool:
    estimated = not all(scan.poisson for scan in scans)
    return difference.significance > BEYOND_COUNTING and (not estimated or difference.chi2_reduced > 1.0 + LEAST_EXCESS)
