"""The Gaussian process: its predictions, the slope of its likelihood, common errors, and whether its intervals hold."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import binom, multivariate_normal

from xrdorder.planning.gaussian_process import Process, fit, kernel, restricted_log_likelihood

RANDOM = np.random.default_rng(0)
X = RANDOM.uniform(size=(9, 2))
Y = RANDOM.normal(size=9)
NOISE = np.diag(RANDOM.uniform(0.01, 0.1, 9)) + 0.3
LENGTHS = np.array([0.4, 1.1])


def test_predictions_are_those_of_a_normal_distribution_with_a_vague_mean():
    """Conditioning of the joint distribution, the mean with a variance of ten thousand for a flat prior."""
    at = RANDOM.uniform(size=(4, 2))
    every = np.concatenate([X, at])
    joint = 0.64 * kernel(every, every, LENGTHS) + 1e4
    data = joint[:9, :9] + NOISE
    gain = joint[9:, :9] @ np.linalg.inv(data)
    mean, covariance = Process(X, Y, NOISE, 0.8, LENGTHS, 0.0).predict(at)
    # the inverse of a matrix with a condition of 1e6 leaves 1e-6 of 1e4; a flat prior differs by as much as 0.3² / 1e4
    np.testing.assert_allclose(mean, gain @ Y, atol=1e-4)
    np.testing.assert_allclose(covariance, joint[9:, 9:] - gain @ joint[:9, 9:], atol=1e-4)


def test_the_likelihood_is_that_of_contrasts():
    """The restricted likelihood is the density of any contrasts that know nothing of the mean, but for a constant."""
    contrasts = np.linalg.qr(np.ones((9, 1)), mode="complete")[0][:, 1:]

    def density(sigma, lengths):
        matrix = contrasts.T @ (sigma**2 * kernel(X, X, lengths) + NOISE) @ contrasts
        return multivariate_normal(np.zeros(8), matrix).logpdf(contrasts.T @ Y)

    other = np.array([0.9, 0.3])
    expected = density(0.8, LENGTHS) - density(1.5, other)
    found = [restricted_log_likelihood(X, Y, NOISE, *one)[0] for one in ((0.8, LENGTHS), (1.5, other))]
    assert found[0] - found[1] == pytest.approx(expected, rel=1e-6)


def test_the_slope_of_the_likelihood_is_its_derivative():
    def value(logs):
        return restricted_log_likelihood(X, Y, NOISE, np.exp(logs[0]), np.exp(logs[1:]))[0]

    logs = np.log([0.8, *LENGTHS])
    slope = restricted_log_likelihood(X, Y, NOISE, 0.8, LENGTHS)[1]
    # forward differences with steps of 1e-6 are good to about 1e-5
    np.testing.assert_allclose(slope, approx_fprime(logs, value, 1e-6), rtol=1e-4, atol=1e-5)


def test_a_common_error_moves_everything_and_changes_no_difference():
    at = RANDOM.uniform(size=(2, 2))
    plain = fit(X, Y, 0.01 * np.eye(9))
    common = fit(X, Y + 5.0, 0.01 * np.eye(9) + 9.0)
    (m1, v1), (m2, v2) = plain.predict(at), common.predict(at)
    np.testing.assert_allclose(m2, m1 + 5.0, atol=1e-4)
    spread = [v[0, 0] + v[1, 1] - 2 * v[0, 1] for v in (v1, v2)]
    assert spread[0] == pytest.approx(spread[1], rel=1e-3)
    assert v2[0, 0] == pytest.approx(v1[0, 0] + 9.0, rel=1e-3)


def test_each_place_for_itself_is_as_all_together():
    at = RANDOM.uniform(size=(5, 2))
    process = fit(X, Y, NOISE)
    mean, covariance = process.predict(at)
    alone = process.predict_each(at)
    np.testing.assert_allclose(alone[0], mean, atol=1e-12)
    np.testing.assert_allclose(alone[1], np.diag(covariance), atol=1e-12)


def test_units_of_the_variables_change_nothing_where_widths_are_told():
    at = RANDOM.uniform(size=(4, 2))
    units = np.array([150.0, 0.02])
    plain, other = fit(X, Y, NOISE), fit(X * units, Y, NOISE, widths=units)
    np.testing.assert_allclose(other.lengths, plain.lengths * units, rtol=1e-9)
    for one, two in zip(plain.predict(at), other.predict(at * units), strict=True):
        np.testing.assert_allclose(two, one, atol=1e-9)


def test_the_same_seed_gives_the_same_surface():
    assert fit(X, Y, NOISE, seed=3).log_likelihood == fit(X, Y, NOISE, seed=3).log_likelihood


def test_exact_values_at_one_place_are_survived():
    process = fit(np.array([[0.1], [0.1], [0.9]]), [1.0, 1.0, 2.0], np.zeros((3, 3)))
    mean, covariance = process.predict([[0.1]])
    assert mean[0] == pytest.approx(1.0, abs=1e-3)
    assert covariance[0, 0] < 1e-3


@pytest.mark.slow
def test_intervals_hold_where_the_function_is_as_supposed():
    random = np.random.default_rng(5)
    inside = total = 0
    for seed in range(40):
        x = random.uniform(size=(18, 2))
        places = np.concatenate([x, random.uniform(size=(5, 2))])
        truth = np.linalg.cholesky(kernel(places, places, np.array([0.6, 0.9])) + 1e-10 * np.eye(23)) @ (
            random.standard_normal(23)
        )
        y = truth[:18] + 0.1 * random.standard_normal(18)
        mean, covariance = fit(x, y, 0.01 * np.eye(18), seed).predict(places[18:])
        # one place a function: places of one function share its luck
        k = int(np.argmax(np.diag(covariance)))
        inside += abs(truth[18 + k] - mean[k]) < 1.96 * np.sqrt(covariance[k, k])
        total += 1
    # sigma and lengths are estimated and then held for true, which costs a few per cent
    assert inside >= binom.ppf(1e-3, total, 0.90)
