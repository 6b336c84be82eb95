"""Decisions on draws that are known: null test, claims, worth, what is as good."""

import numpy as np
import pytest
from scipy.stats import binom, norm

from xrdorder.planning.choice import NOTHING, Direct, Futures, as_good, better, resampled, with_replicates

CHANCE = 1e-3


def direct(values, u=0.025, freedom=8.0):
    n = len(values)
    return Direct(np.arange(n), np.asarray(values, dtype=float), u**2 * np.eye(n), freedom)


@pytest.mark.parametrize("ratio", [1.0, 2.0])
def test_alike_wires_are_called_alike(ratio):
    """At the published scatter 1 in 100 at most; at twice that still few, as its doubt is known."""
    rng = np.random.default_rng(1)
    false = sum(direct(ratio * 0.025 * rng.standard_normal(5)).p_alike < 0.01 for _ in range(2000))
    allowed = binom.ppf(1.0 - CHANCE, 2000, 0.011 if ratio == 1.0 else 0.25)
    assert false <= allowed


def test_replicates_take_over_the_published_scatter():
    value = 0.1 * np.random.default_rng(2).standard_normal(200)
    u, freedom = with_replicates(0.022, 8.0, value, np.repeat(np.arange(100), 2))
    # 100 degrees of freedom know a standard deviation to 7 %
    assert u == pytest.approx(0.1, rel=0.25) and freedom == 108.0
    assert with_replicates(0.022, 8.0, value[:3], np.arange(3)) == (pytest.approx(0.022), 8.0)
    assert direct([0.0, 1.0], u=0.022).visible == pytest.approx(1.96 * np.sqrt(2.0) * 0.022)


def test_better_needs_the_process_and_a_measured_difference():
    rng = np.random.default_rng(3)
    draws = rng.normal([0.0, 0.2], 0.02, (400, 2))
    assert better(draws, direct([0.0, 0.2]), 1, 0)
    assert not better(draws, NOTHING, 1, 0)  # never measured
    assert not better(draws, direct([0.0, 0.05]), 1, 0)  # measured, but within 1.96 u of 0.035
    assert not better(rng.normal(0.0, 0.2, (400, 2)), direct([0.0, 0.2]), 1, 0)  # the process does not say so
    assert np.isnan(NOTHING.difference(0, 1)).all()
    assert NOTHING.p_alike == 1.0 and direct([1.0]).p_alike == 1.0


def test_worth_is_the_expected_rise_of_the_largest_mean():
    """One candidate, a Gaussian that is measured without error: E[max(0, x)] in closed form."""
    rng = np.random.default_rng(4)
    mean, sd = -0.02, 0.05
    x = mean + sd * rng.standard_normal(20000)
    reacted = np.zeros((20000, 1))
    found = Futures(x[:, None, None], np.array([[1e-8]])).worth(reacted, x[:, None], np.random.default_rng(0))
    expected = mean * norm.cdf(mean / sd) + sd * norm.pdf(mean / sd)
    # 128 futures in pairs: a standard error of a tenth of it
    assert found[0] == pytest.approx(expected, rel=0.3)
    nothing = Futures(x[:, None, None], np.array([[1e6]])).worth(reacted, x[:, None], np.random.default_rng(0))
    assert nothing[0] == pytest.approx(0.0, abs=1e-5)


def test_what_was_proposed_already_is_known_better_for_the_next():
    rng = np.random.default_rng(5)
    x = rng.standard_normal((5000, 2)) @ np.array([[1.0, 0.9], [0.0, 0.4]])
    future = Futures(x[:, :, None], np.array([[0.01]]))
    (after,) = future.after(0, x)
    # measured to 0.1 of a standard deviation of one: so much is left, and of the other what does not go with it
    assert after[:, 0].std() == pytest.approx(0.1, rel=0.1)
    assert after[:, 1].std() == pytest.approx(0.41, rel=0.1)
    assert after.mean(axis=0) == pytest.approx(x.mean(axis=0), abs=0.02)


def test_within_one_per_cent():
    allowed = np.array([True, True, True, False])
    assert as_good(np.log([1.0, 0.992, 0.98, 2.0]), allowed, True).tolist() == [True, True, False, False]
    assert as_good(np.array([17.0, 16.9, 16.0, 30.0]), allowed, False).tolist() == [True, True, False, False]
    assert not as_good(np.zeros(4), np.zeros(4, dtype=bool), True).any()


def test_draws_are_taken_by_their_weight():
    counts = np.bincount(resampled(np.array([1.0, 3.0, 0.0]), 400, np.random.default_rng(0)), minlength=3)
    np.testing.assert_allclose(counts, [100, 300, 0], atol=1)
