"""Draws of shared unknowns against posteriors that linear algebra and quadrature give."""

import numpy as np
import pytest

from xrdorder.estimates import sampler
from xrdorder.uncertainty import Array

P, LOTS, Q, SEEN = 4, 6, 3, 5
NOISE = 0.05


class Linear:
    """Evidence of each lot: `SEEN` numbers that hang on study and lot by straight lines, known to `NOISE`."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.by_study, self.by_lot = rng.standard_normal((LOTS, SEEN, P)), rng.standard_normal((LOTS, SEEN, Q))
        self.by_study[:, :, 3] = self.by_study[:, :, 2] + 0.01 * self.by_study[:, :, 3]  # two that only their sum tells
        truth = rng.standard_normal(P), rng.standard_normal((LOTS, Q))
        self.seen = self._of(truth[0][None], truth[1][None])[0] + NOISE * rng.standard_normal((LOTS, SEEN))

    def _of(self, study: Array, lots: Array) -> Array:
        return np.einsum("lsp,wp->wls", self.by_study, study) + np.einsum("lsq,wlq->wls", self.by_lot, lots)

    def __call__(self, study: Array, lots: Array) -> Array:
        return -0.5 * np.sum(((self._of(study, lots) - self.seen) / NOISE) ** 2, axis=2)

    def posterior(self) -> tuple[Array, Array]:
        """Mean and standard deviation of all unknowns, those of the study first."""
        design = np.zeros((LOTS * SEEN, P + LOTS * Q))
        for lot in range(LOTS):
            rows = slice(lot * SEEN, (lot + 1) * SEEN)
            design[rows, :P] = self.by_study[lot]
            design[rows, P + lot * Q : P + (lot + 1) * Q] = self.by_lot[lot]
        covariance = np.linalg.inv(np.eye(design.shape[1]) + design.T @ design / NOISE**2)
        return covariance @ design.T @ self.seen.ravel() / NOISE**2, np.sqrt(np.diag(covariance))


@pytest.mark.parametrize("seed", [0, 1])
def test_draws_are_those_of_the_posterior(seed: int) -> None:
    """1000 walkers worth some 400 draws know a mean to 0.05 u and u to 4 %: three times that for the worst of 22."""
    evidence, rng, n = Linear(seed), np.random.default_rng(seed), 1000
    start = rng.standard_normal((n, P)), rng.standard_normal((n, LOTS, Q))
    study, lots = sampler.sample(evidence, *start, np.ones((LOTS, Q), dtype=bool), n, rng)
    drawn = np.concatenate([study, lots.reshape(n, -1)], axis=1)
    mean, u = evidence.posterior()
    assert np.abs((drawn.mean(axis=0) - mean) / u).max() < 0.15
    assert np.abs(drawn.std(axis=0) / u - 1.0).max() < 0.12


class Spread:
    """How far lots are spread, exp(1.5 s), is an unknown of the study, by which no lot follows in a straight line."""

    WIDER, LOTS = 1.5, 16

    def __init__(self, spread: float) -> None:
        self.seen = spread * np.random.default_rng(0).standard_normal(self.LOTS)

    def __call__(self, study: Array, lots: Array) -> Array:
        return -0.5 * ((np.exp(self.WIDER * study[:, :1]) * lots[:, :, 0] - self.seen) / NOISE) ** 2

    def posterior(self) -> tuple[float, float]:
        """Mean and standard deviation of s, lots integrated out."""
        s = np.linspace(-6.0, 6.0, 4001)
        variance = np.exp(2.0 * self.WIDER * s) + NOISE**2
        log = -0.5 * s**2 - 0.5 * self.LOTS * np.log(variance) - 0.5 * np.sum(self.seen**2) / variance
        density = np.exp(log - log.max())
        mean = float(np.average(s, weights=density))
        return mean, float(np.sqrt(np.average((s - mean) ** 2, weights=density)))


@pytest.mark.parametrize("spread", [0.2, 1.0, 5.0])
def test_a_spread_of_lots_is_found(spread: float) -> None:
    """Within what 100 independent draws leave open, 0.1 u, twice: walkers that were drawn anew are alike."""
    evidence, rng, n = Spread(spread), np.random.default_rng(1), 1000
    start = rng.standard_normal((n, 1)), rng.standard_normal((n, evidence.LOTS, 1))
    study, _ = sampler.sample(evidence, *start, np.ones((evidence.LOTS, 1), dtype=bool), n, rng)
    mean, u = evidence.posterior()
    assert abs(study.mean() - mean) < 0.2 * u
    assert study.std() == pytest.approx(u, rel=0.15)


def test_what_no_evidence_hangs_on_stays_as_it_was_drawn() -> None:
    evidence, rng, n = Linear(0), np.random.default_rng(0), 200
    evidence.by_lot[:, :, 2] = 0.0
    lots = rng.standard_normal((n, LOTS, Q))
    active = np.ones((LOTS, Q), dtype=bool)
    active[:, 2] = False
    _, drawn = sampler.sample(evidence, rng.standard_normal((n, P)), lots, active, n, rng)
    assert set(np.unique(drawn[:, :, 2])) <= set(np.unique(lots[:, :, 2]))
