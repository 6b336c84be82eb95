"""Draws of many samples at once."""

import numpy as np
import pytest

from tests.superconductivity.test_currents import N, exact, wire
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.superconductivity.currents import Conditions, bc2_curve, relative_current
from xrdorder.superconductivity.ratios import bc2_draws, relative_draws

FREE = Conditions(strain=0.0, design="none")


def whole(name, bc2):
    """A conductor of known Bc2 and grains."""
    return exact(name, bc2, 100.0)


def test_ratios_to_a_sample_are_those_of_pairs():
    samples = [wire("one"), wire("two", 0.244, 120.0), wire("three", 0.236, 80.0)]
    draws = relative_draws(samples, 12.0, FREE, reference="one")
    assert draws.shape == (3, N)
    np.testing.assert_allclose(draws[0][np.isfinite(draws[0])], 1.0)
    for k in (1, 2):
        pair = relative_current(samples[k], samples[0], [12.0], FREE)
        # a pair takes one relation of pinning force that holds for two, the whole one that holds for all
        assert np.nanmedian(draws[k]) == pytest.approx(float(pair.ratio.median[0]), rel=0.01)


def test_shares_of_the_mean_have_lost_what_all_share():
    np.testing.assert_allclose(relative_draws([whole("one", 28.0), whole("two", 28.0)], 12.0, FREE), 1.0)
    samples = [wire("one"), wire("two", 0.244)]
    draws = relative_draws(samples, 12.0, FREE)
    known = np.all(np.isfinite(draws), axis=0)
    np.testing.assert_allclose(np.mean(draws[:, known], axis=0), 1.0)
    bc2 = bc2_draws(samples, FREE)
    difference = np.nanstd(bc2[1] - bc2[0])
    assert difference < 0.7 * np.hypot(*np.nanstd(bc2, axis=1))


def test_a_sample_that_is_normal_carries_nothing():
    draws = relative_draws([whole("good", 28.0), whole("bad", 12.0)], 15.0, FREE)
    np.testing.assert_allclose(draws[1], 0.0)
    np.testing.assert_allclose(draws[0], 2.0)  # of a mean of the two
    with pytest.raises(ValidityError, match=r"at 15 T, at 4\.2 K, free of strain, 'bad' may be normal"):
        relative_draws([whole("good", 28.0), whole("bad", 12.0)], 15.0, FREE, reference="bad")


def test_bc2_is_that_of_each_sample():
    one = wire("one")
    draws = bc2_draws([one, wire("some", 0.244)], FREE)
    assert draws.shape == (2, N) and np.all(np.isfinite(draws))
    assert np.median(draws[0]) == pytest.approx(float(bc2_curve(one, [4.2], FREE).median[0]))


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(UnknownNameError, match="no sample 'moon' to refer to"):
        relative_draws([wire()], 12.0, FREE, reference="moon")
    with pytest.raises(ValidityError, match="different seeds"):
        relative_draws([wire("one"), wire("two", seed=1)], 12.0, FREE)
    with pytest.raises(ValidityError, match="not positive"):
        relative_draws([wire()], 0.0, FREE)
    with pytest.raises(ValidityError, match="every sample may be normal"):
        relative_draws([whole("one", 28.0)], 40.0, FREE)
