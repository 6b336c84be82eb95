"""Draws of shared unknowns: many walkers, brought from the prior to the posterior by annealing.

All latents are standard normal before anything was measured. Walkers start there and the evidence is let in by steps; at
each step lots move on their own (all lots at once, given the study), then the study moves and every lot follows along
the line by which lots hang on the study among the walkers. Proposals take their shape from the walkers, their length from
how many are accepted.

Tried and rejected: Laplace's method for everything (tin off by half a standard uncertainty: widening times order is
curved); one Laplace proposal for everything with Metropolis (still drifting after 400 sweeps); sequential Monte Carlo with
resampling (hundreds of steps for hundreds of lots, as the evidence grows with their number).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from xrdorder.uncertainty import Array

LogLikelihood = Callable[[Array, Array], Array]

STEPS = 12
"""Steps of annealing, from `COLDEST` of the evidence to all of it."""
COLDEST = 1e-3
MOVES = 4
"""Moves of lots and of the study at each step."""
SETTLING = 12
"""Moves after the last step, before the first draw."""
BETWEEN = 6
"""Moves between draws of the same walker, where a study is too large for one walker a draw."""

_ACCEPTED = 0.27


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
        self.lot_step = 2.38 / np.sqrt(np.maximum(self.active.sum(axis=1), 1))
        self.study_step = 2.38 / np.sqrt(self.study.shape[1])


def sample(
    likelihood: LogLikelihood, study: Array, lots: Array, active: np.ndarray, n: int, random: np.random.Generator
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
    for share in np.geomspace(COLDEST, 1.0, STEPS):
        for _ in range(MOVES):
            _move(walkers, likelihood, float(share), random, adapt=True)
    for _ in range(SETTLING):
        _move(walkers, likelihood, 1.0, random, adapt=True)
    drawn = [(walkers.study.copy(), walkers.lots.copy())]
    while len(drawn) * len(study) < n:
        for _ in range(BETWEEN):
            _move(walkers, likelihood, 1.0, random, adapt=False)
        drawn.append((walkers.study.copy(), walkers.lots.copy()))
    return np.concatenate([s for s, _ in drawn]), np.concatenate([z for _, z in drawn])


def _move(
    walkers: Walkers, likelihood: LogLikelihood, share: float, random: np.random.Generator, *, adapt: bool
) -> None:
    follow, lot_roots, study_root = _shapes(walkers)
    accepted = _move_lots(walkers, likelihood, share, random, lot_roots)
    if adapt:
        walkers.lot_step = np.clip(walkers.lot_step * np.exp(accepted - _ACCEPTED), 0.02, 4.0)
    rate = _move_study(walkers, likelihood, share, random, study_root, follow)
    if adapt:
        walkers.study_step = float(np.clip(walkers.study_step * np.exp(rate - _ACCEPTED), 0.02, 4.0))


def _shapes(walkers: Walkers) -> tuple[Array, Array, Array]:
    """How lots follow the study, (p, lots, q); roots of the covariance of lots about that, and of the study."""
    n, p = walkers.study.shape
    study = walkers.study - walkers.study.mean(axis=0)
    lots = (walkers.lots - walkers.lots.mean(axis=0)) * walkers.active
    covariance = study.T @ study / n + 1e-9 * np.eye(p)
    follow = np.linalg.solve(covariance, study.T @ lots.reshape(n, -1) / n).reshape(p, *lots.shape[1:])
    rest = lots - np.tensordot(study, follow, 1)
    q = lots.shape[2]
    by_lot = np.einsum("wlq,wlr->lqr", rest, rest, optimize=True) / n + 1e-9 * np.eye(q)
    return follow, np.linalg.cholesky(by_lot), np.linalg.cholesky(covariance)


def _move_lots(
    walkers: Walkers, likelihood: LogLikelihood, share: float, random: np.random.Generator, roots: Array
) -> Array:
    """Move every lot on its own; give the share accepted, (lots,)."""
    noise = random.standard_normal(walkers.lots.shape)
    step = np.einsum("lqr,wlr->wlq", roots, noise, optimize=True) * walkers.active
    proposed = walkers.lots + walkers.lot_step[:, None] * step
    evidence = likelihood(walkers.study, proposed)
    gain = share * (evidence - walkers.evidence)
    gain += 0.5 * (np.sum(walkers.lots**2, axis=2) - np.sum(proposed**2, axis=2))
    yes = np.log(random.random(gain.shape)) < gain
    walkers.lots = np.where(yes[:, :, None], proposed, walkers.lots)
    walkers.evidence = np.where(yes, evidence, walkers.evidence)
    return np.asarray(yes.mean(axis=0))


def _move_study(
    walkers: Walkers, likelihood: LogLikelihood, share: float, random: np.random.Generator, root: Array, follow: Array
) -> float:
    """Move the study and let the lots follow; give the share accepted."""
    step = walkers.study_step * random.standard_normal(walkers.study.shape) @ root.T
    study, lots = walkers.study + step, walkers.lots + np.tensordot(step, follow, 1)
    evidence = likelihood(study, lots)
    gain = share * (evidence - walkers.evidence).sum(axis=1)
    gain += 0.5 * (np.sum(walkers.study**2, axis=1) - np.sum(study**2, axis=1))
    gain += 0.5 * (np.sum(walkers.lots**2, axis=(1, 2)) - np.sum(lots**2, axis=(1, 2)))
    yes = np.log(random.random(gain.shape)) < gain
    walkers.study = np.where(yes[:, None], study, walkers.study)
    walkers.lots = np.where(yes[:, None, None], lots, walkers.lots)
    walkers.evidence = np.where(yes[:, None], evidence, walkers.evidence)
    return float(yes.mean())
