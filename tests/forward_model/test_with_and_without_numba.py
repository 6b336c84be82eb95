"""A pattern drawn by the compiled sums is that of the plain ones, as far as any result can tell."""

import numpy as np
import pytest

from tests.simulation.made import COARSE, instrument_of
from xrdorder.profiles import INSTRUMENT_NAMES, summation
from xrdorder.simulation import expected_pattern

pytest.importorskip("numba")


@pytest.mark.slow
def test_counts_and_derivatives_are_the_same_with_numba_hidden(monkeypatch):
    """In units of what counting leaves open: 1e-10 of sigma in the counts, 1e-8 in derivatives times u over sigma."""
    _, job = expected_pattern(COARSE, instrument_of())
    solution, _ = job.fit.solution()
    values, sigma = job.fit.values(), np.sqrt(job.fit.variance)
    names = (*solution.free, *(name for name in INSTRUMENT_NAMES if name not in solution.free))
    counts, slopes = job.model.counts_with_jacobian(values, names)
    monkeypatch.setattr(summation, "compiled", lambda: None)
    plain, plain_slopes = job.model.counts_with_jacobian(values, names)
    assert np.abs((counts - plain) / sigma).max() < 1e-10
    free = len(solution.free)
    u = np.array([solution.u(name) for name in solution.free])
    assert np.abs((slopes - plain_slopes)[:, :free] * u / sigma[:, None]).max() < 1e-8
    assert np.all(np.abs(slopes - plain_slopes).max(axis=0) <= 1e-8 * np.abs(plain_slopes).max(axis=0))
