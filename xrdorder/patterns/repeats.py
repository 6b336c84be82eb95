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

from xrdorder.patterns.steps import angle_step

Array = NDArray[np.float64]

BEYOND_COUNTING = 4.0
"""Standard deviations of chi square above its mean that counting is not believed to give: once in 30 000 scans by the
normal distribution."""

LEAST_EXCESS = 1.0
"""Excess of the reduced chi square that is wanted on top where variances are estimated from the scatter of the points:
they may be off by half, and neighbouring points may hang together (judged)."""

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


def difference(scan: Repeat, others: Sequence[Repeat], step_share: float = 0.01) -> Difference | None:
    """Hold a scan against the sum of others on the angles that they have in common.

    Parameters
    ----------
    scan : Repeat
    others : sequence of Repeat
    step_share : float
        Share of the step within which two angles are one.

    Returns
    -------
    Difference or None
        None where there is too little in common to tell.
    """
    rest, variance, time = (np.zeros(len(scan.two_theta)) for _ in range(3))
    for other in others:
        here, there = _common(scan.two_theta, other.two_theta, step_share)
        rest[here] += other.values[there]
        variance[here] += other.variance[there]
        time[here] += other.counting_time[there]
    common = time > 0.0
    own, rest = scan.values[common], rest[common]
    ratio = scan.counting_time[common] / time[common]
    if not (own.sum() > 0.0 and rest.sum() > 0.0):
        return None
    ratio = ratio * (own.sum() / float(ratio @ rest))
    if scan.poisson and all(other.poisson for other in others):
        counted = own + rest > 0.0
        n, share = (own + rest)[counted], (ratio / (1.0 + ratio))[counted]
        expected = n * share * (1.0 - share)
        terms = (own[counted] - share * n) ** 2 / expected
        spread = 2.0 + (1.0 - 6.0 * share * (1.0 - share)) / expected
    else:
        terms = (own - ratio * rest) ** 2 / (scan.variance[common] + ratio**2 * variance[common])
        spread = np.full(len(terms), 2.0)
    if len(terms) < FEWEST_ANGLES:
        return None
    degrees = len(terms) - 1
    return Difference(float(terms.sum()) / degrees, float(np.sqrt(spread.sum())) / degrees, len(terms))


def _common(a: Array, b: Array, step_share: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices into two rising series of angles that are the same."""
    near = step_share * angle_step(a)
    at = np.clip(np.searchsorted(b, a - near), 0, len(b) - 1)
    here = np.flatnonzero(np.abs(b[at] - a) <= near)
    return here, at[here]


def scans_that_differ(scans: Sequence[Repeat]) -> list[tuple[tuple[str, ...], Difference]]:
    """Find scans that differ from the rest by more than counting, the worst first.

    The worst is taken out before the others are judged, since it stands in the sum that they are held against. Of two
    scans nobody can say which is the odd one: both are named.
    """
    left = list(scans)
    found: list[tuple[tuple[str, ...], Difference]] = []
    while len(left) > 1:
        judged = [(k, difference(scan, left[:k] + left[k + 1 :])) for k, scan in enumerate(left)]
        doubtful = [(d.significance, k, d) for k, d in judged if d is not None and _beyond(d, left)]
        if not doubtful:
            break
        _, worst, by = max(doubtful)
        if len(left) == 2:
            found.append(((left[0].name, left[1].name), by))
            break
        found.append(((left.pop(worst).name,), by))
    return found


def _beyond(found: Difference, scans: Sequence[Repeat]) -> bool:
    estimated = not all(scan.poisson for scan in scans)
    return found.significance > BEYOND_COUNTING and (not estimated or found.chi2_reduced > 1.0 + LEAST_EXCESS)
