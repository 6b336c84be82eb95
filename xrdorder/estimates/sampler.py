"""Draws of shared unknowns: many walkers, brought from the prior to the posterior by letting in the evidence stepwise.

All latents are standard normal before anything was measured. Walkers start there and the evidence is let in by steps.
At each step the walkers are drawn anew by what the new evidence says of them (sequential Monte Carlo; P. Del Moral,
A. Doucet, A. Jasra, J. R. Stat. Soc. B 68 (2006) 411, from memory), then they move: lots on their own (all lots at
once, given the study), then the study, and every lot follows along the line by which lots hang on the study among the
walkers.

A move forgets part of where the walker was and draws it anew from the normal distribution of the walkers
(autoregressive; S. L. Cotter et al., Stat. Sci. 28 (2013) 424, from memory, with the walkers in place of the prior);
Metropolis' test puts right what that distribution has wrong. How much is forgotten follows from how many moves are
accepted. Every third move is a plain random step, for walkers in tails that the normal distribution does not know.

Against 8000 draws of two long runs, 1000 walkers of 5 lots of 10 wires (three kinds of studies): means of the unknowns
are off by 0.05 of u (root mean square; 0.03 would be chance), the worst by 0.15, u by 9 % at most; they are
worth 550 to 900 independent draws. Single lots: 0.04, which is chance.

Tried and rejected: annealing without drawing anew (after 40 moves at the end means of 5 x 10 wires were off by up to a
whole u, after 150 by 0.2); random steps alone (after 30 of them intervals are still a tenth too wide); in a prototype,
Laplace's method for everything (tin off by half a standard uncertainty: widening times order is curved), and one
Laplace proposal for everything with Metropolis (still drifting after 400 sweeps).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from xrdorder.uncertainty import Array

LogLikelihood = Callable[[Array, Array], Array]

KEPT = 0.7
"""Each step lets in so much evidence that the weights of the walkers are worth this share of their number."""
MOVES = 4
"""Moves of lots and of the study at each step."""
SETTLING = 12
"""Moves after the last step, before the first draw."""
BETWEEN = 6
"""Moves between draws of the same walker, where a study is too large for one walker a draw."""

_ACCEPTED = 0.35
_WIDER = 1.1
"""The normal distribution of the walkers is taken so much wider, for their tails."""
_RANDOM_STEP = 3
_HALVINGS = 40


@dataclass
class Walkers:
    """Where the walkers are, and how far they step.

    Attributes
    ----------
    study : array, (walkers, p)
    lots : array, (walkers, lots, q)
    active : array of bool, (lots, q)
        Latents on which the evidence depends; the others stay as they were drawn.
    evidence : array, (walkers, lots)
    lot_step : array, lots
    study_step : float
    """

    study: Array
    lots: Array
    active: np.ndarray
    evidence: Array
    lot_step: Array = field(init=False)
    study_step: float = field(init=False)

    def __post_init__(self) -> None:
        self.lot_step = np.full(len(self.active), 0.7)
        self.study_step = 0.7


class Shape(NamedTuple):
    """Normal distribution of the walkers.

    Attributes
    ----------
    study, lots : array
        Means.
    follow : array, (p, lots, q)
        How lots hang on the study.
    lot_root, lot_inverse : array, (lots, q, q)
        Root of the covariance of lots about that, and its inverse.
    study_root, study_inverse : array, (p, p)
    """

    study: Array
    lots: Array
    follow: Array
    lot_root: Array
    lot_inverse: Array
    study_root: Array
    study_inverse: Array


def sample(
    likelihood: LogLikelihood,
    study: Array,
    lots: Array,
    active: np.ndarray,
    n: int,
    random: np.random.Generator,
) -> tuple[Array, Array]:
    """Draw `n` times from the posterior.

    Parameters
    ----------
    likelihood : callable
        Log evidence by lot, (walkers, lots), of latents of the study and of the lots.
    study, lots : array, (walkers, p) and (walkers, lots, q)
        Draws from the prior: where the walkers start. `n` is a multiple of their number.
    active : array of bool, (lots, q)
    n : int
    random : Generator

    Returns
    -------
    study, lots : array, (n, p) and (n, lots, q)
    """
    walkers = Walkers(study.copy(), lots.copy(), active, likelihood(study, lots))
    share, count = 0.0, 0
    while share < 1.0:
        share = _let_in(walkers, share, random)
        for _ in range(MOVES if share < 1.0 else SETTLING):
            _move(walkers, likelihood, share, random, plain=count % _RANDOM_STEP == 2)
            count += 1
    drawn = [(walkers.study.copy(), walkers.lots.copy())]
    while len(drawn) * len(study) < n:
        for k in range(BETWEEN):
            _move(walkers, likelihood, 1.0, random, plain=k % _RANDOM_STEP == 2)
        drawn.append((walkers.study.copy(), walkers.lots.copy()))
    return np.concatenate([s for s, _ in drawn]), np.concatenate([z for _, z in drawn])


def _let_in(walkers: Walkers, share: float, random: np.random.Generator) -> float:
    """Let in more evidence: walkers are drawn anew by what it says of them; give the share that is in then."""
    total = walkers.evidence.sum(axis=1)
    total = total - total.max()

    def worth(more: float) -> float:
        weights = np.exp(more * total)
        return float(weights.sum() ** 2 / np.sum(weights**2) / len(weights))

    more, least = 1.0 - share, 0.0
    if worth(more) < KEPT:
        for _ in range(_HALVINGS):
            middle = 0.5 * (least + more)
            least, more = (middle, more) if worth(middle) > KEPT else (least, middle)
        more = least
    weights = np.exp(more * total)
    places = (np.arange(len(total)) + random.random()) / len(total)
    chosen = np.minimum(np.searchsorted(np.cumsum(weights) / weights.sum(), places), len(total) - 1)
    walkers.study, walkers.lots, walkers.evidence = (
        part[chosen] for part in (walkers.study, walkers.lots, walkers.evidence)
    )
    return 1.0 if more == 1.0 - share else share + more


def _move(
    walkers: Walkers, likelihood: LogLikelihood, share: float, random: np.random.Generator, *, plain: bool
) -> None:
    shape = _shape(walkers)
    by_lot = _move_lots(walkers, likelihood, share, random, shape, plain=plain)
    of_study = _move_study(walkers, likelihood, share, random, shape, plain=plain)
    if not plain:
        walkers.lot_step = np.clip(walkers.lot_step * np.exp(by_lot - _ACCEPTED), 0.05, 1.0)
        walkers.study_step = float(np.clip(walkers.study_step * np.exp(of_study - _ACCEPTED), 0.05, 1.0))


def _shape(walkers: Walkers) -> Shape:
    n, p = walkers.study.shape
    means = walkers.study.mean(axis=0), walkers.lots.mean(axis=0)
    study = walkers.study - means[0]
    lots = (walkers.lots - means[1]) * walkers.active
    covariance = study.T @ study / n + 1e-9 * np.eye(p)
    follow = np.linalg.solve(covariance, study.T @ lots.reshape(n, -1) / n).reshape(p, *lots.shape[1:])
    rest = lots - np.tensordot(study, follow, 1)
    by_lot = np.einsum("wlq,wlr->lqr", rest, rest, optimize=True) / n + 1e-9 * np.eye(lots.shape[2])
    lot_root, study_root = (
        np.asarray(_WIDER * np.linalg.cholesky(matrix)) for matrix in (by_lot, covariance)
    )
    inverses = np.asarray(np.linalg.inv(lot_root)), np.asarray(np.linalg.inv(study_root))
    return Shape(*means, follow, lot_root, inverses[0], study_root, inverses[1])


def _proposed(whitened: Array, noise: Array, step: Array | float, *, plain: bool) -> tuple[Array, Array]:
    """New place where the walkers are standard normal, and the log of what the proposal favours it by."""
    if plain:
        return whitened + 2.38 / np.sqrt(whitened.shape[-1]) * noise, np.zeros(whitened.shape[:-1])
    new = np.sqrt(1.0 - step**2) * whitened + step * noise
    return new, 0.5 * (np.sum(whitened**2, axis=-1) - np.sum(new**2, axis=-1))


def _move_lots(
    walkers: Walkers,
    likelihood: LogLikelihood,
    share: float,
    random: np.random.Generator,
    shape: Shape,
    *,
    plain: bool,
) -> Array:
    """Move every lot on its own; give the share accepted, (lots,)."""
    middle = shape.lots + np.tensordot(walkers.study - shape.study, shape.follow, 1)
    whitened = np.einsum(
        "lqr,wlr->wlq", shape.lot_inverse, (walkers.lots - middle) * walkers.active, optimize=True
    )
    noise = random.standard_normal(walkers.lots.shape) * walkers.active
    new, favoured = _proposed(whitened, noise, walkers.lot_step[:, None], plain=plain)
    step = np.einsum("lqr,wlr->wlq", shape.lot_root, new - whitened, optimize=True) * walkers.active
    proposed = walkers.lots + step
    evidence = likelihood(walkers.study, proposed)
    gain = share * (evidence - walkers.evidence) - favoured
    gain += 0.5 * (np.sum(walkers.lots**2, axis=2) - np.sum(proposed**2, axis=2))
    yes = np.log(random.random(gain.shape)) < gain
    walkers.lots = np.where(yes[:, :, None], proposed, walkers.lots)
    walkers.evidence = np.where(yes, evidence, walkers.evidence)
    return np.asarray(yes.mean(axis=0))


def _move_study(
    walkers: Walkers,
    likelihood: LogLikelihood,
    share: float,
    random: np.random.Generator,
    shape: Shape,
    *,
    plain: bool,
) -> float:
    """Move the study and let the lots follow; give the share accepted."""
    whitened = (walkers.study - shape.study) @ shape.study_inverse.T
    new, favoured = _proposed(
        whitened, random.standard_normal(whitened.shape), walkers.study_step, plain=plain
    )
    step = (new - whitened) @ shape.study_root.T
    study, lots = walkers.study + step, walkers.lots + np.tensordot(step, shape.follow, 1)
    evidence = likelihood(study, lots)
    gain = share * (evidence - walkers.evidence).sum(axis=1) - favoured
    gain += 0.5 * (np.sum(walkers.study**2, axis=1) - np.sum(study**2, axis=1))
    gain += 0.5 * (np.sum(walkers.lots**2, axis=(1, 2)) - np.sum(lots**2, axis=(1, 2)))
    yes = np.log(random.random(gain.shape)) < gain
    walkers.study = np.where(yes[:, None], study, walkers.study)
    walkers.lots = np.where(yes[:, None, None], lots, walkers.lots)
    walkers.evidence = np.where(yes[:, None], evidence, walkers.evidence)
    return float(yes.mean())
