"""Draws of many samples at once."""

import dataclasses

import numpy as np
import pytest

from tests.superconductivity.test_currents import N, exact, wire
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.superconductivity.asking import REPLACED
from xrdorder.superconductivity.currents import Conditions, bc2_curve, relative_current
from xrdorder.superconductivity.ratios import bc2_draws, relative_draws, tc_draws

FREE = Conditions(strain=0.0, design="none")


def whole(name, bc2):
    """A conductor none of whose draws was replaced."""
    return dataclasses.replace(exact(name, bc2, 100.0), codes=np.zeros(N, dtype=np.int64))


def test_ratios_to_a_sample_are_those_of_pairs():
    samples = [wire("one"), wire("two", 0.244, 120.0), wire("three", 0.236, 80.0)]
    draws = relative_draws(samples, 12.0, FREE, reference="one")
    assert draws.shape == (3, N)
    np.testing.assert_allclose(draws[0][np.isfinite(draws[0])], 1.0)
    for k in (1, 2):
        pair = relative_current(samples[k], samples[0], [12.0], FREE)
        # draws by other relations than most have gone as well, which leaves the median to some thousandths
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


def test_bc2_and_tc_are_those_of_each_sample_but_for_replaced_draws():
    one = wire("one")
    codes = one.codes.copy()
    codes[:100] = REPLACED
    some = dataclasses.replace(one, name="some", codes=codes)
    bc2, tc = bc2_draws([one, some], FREE), tc_draws([one, some])
    kept = one.codes != REPLACED
    np.testing.assert_allclose(tc[0][kept], one.tc[kept])
    for draws in (bc2, tc):
        assert np.all(np.isnan(draws[1, :100])) and np.all(np.isnan(draws[0, ~kept]))
    full = dataclasses.replace(one, codes=np.zeros(N, dtype=np.int64))
    assert np.median(bc2_draws([full], FREE)) == pytest.approx(float(bc2_curve(one, [4.2], FREE).median[0]))


def test_draws_by_other_relations_than_most_do_not_compare():
    samples = [whole(name, 28.0) for name in "abc"]
    codes = samples[0].codes.copy()
    codes[:500] += 1
    samples[1] = dataclasses.replace(samples[1], codes=codes)
    draws = relative_draws(samples, 12.0, FREE, reference="a")
    assert np.all(np.isnan(draws[1, :500])) and np.all(np.isfinite(draws[[0, 2], :500]))


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(UnknownNameError, match="no sample 'moon' to refer to"):
        relative_draws([wire()], 12.0, FREE, reference="moon")
    with pytest.raises(ValidityError, match="different seeds"):
        relative_draws([wire("one"), wire("two", seed=1)], 12.0, FREE)
    with pytest.raises(ValidityError, match="not positive"):
        relative_draws([wire()], 0.0, FREE)
    with pytest.raises(ValidityError, match="every sample may be normal"):
        relative_draws([whole("one", 28.0)], 40.0, FREE)
