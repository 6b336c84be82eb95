r"""A smooth unknown function, measured with known noise: a Gaussian process.

.. math:: f \sim \mathcal{GP}(\beta, \sigma^2 k), \quad y = f(x) + e, \quad e \sim N(0, N)

k is the Matérn function of order 5/2 (twice differentiable, as courses of reactions are, and no smoother), with one
length a variable. N is the known covariance of the measured values, common errors included; the mean beta has a flat
prior and is integrated out, so that an error common to all values moves beta and nothing else. sigma and the lengths
are found at the maximum of the restricted marginal likelihood, inside bounds, times a weak lognormal prior on the
lengths that decides where a handful of points leaves it open. Bounds and prior are in widths of what was measured, so
that what is asked for beyond it changes nothing of what is known. Formulas: C. E. Rasmussen and C. K. I. Williams,
*Gaussian Processes for Machine Learning* (2006), eqs. (2.25), (2.26), (2.41), (2.42), (4.17).

Where values are noisy the mean of the process is drawn towards their mean: a wire that stands alone keeps half of its
distance where signal and noise are alike. That is the best guess before further wires, and no measured difference.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

Array = NDArray[np.float64]

SHORTEST, LONGEST = 0.2, 5.0
"""Bounds of a length, in widths of what was measured. Below a fifth of it six to twenty points say nothing between
them; beyond five widths the function is a plane."""

USUAL_LENGTH, SPREAD_OF_LENGTH = 0.7, 0.7
"""Weak prior: the logarithm of a length is normal about that of 0.7 widths, a factor of two either way (a choice)."""

LEAST_SIGNAL = 1.0
"""Least sigma, in typical uncertainties of a value: what could be there without being seen is not ruled out. Doubt that
never shows as scatter (how specimens stray from a relation) would otherwise be taken for proof that nothing differs."""

MOST_SIGNAL = 10.0
"""Largest sigma, in standard deviations of the values."""

STARTS = 6


@dataclass(frozen=True, eq=False)
class Process:
    """A Gaussian process that has seen its data.

    Attributes
    ----------
    x : array, (n, d)
    value : array, (n,)
    noise : array, (n, n)
        Covariance of the values.
    sigma : float
    lengths : array, (d,)
    log_likelihood : float
        With the prior of the lengths.
    mean : float
        Of the process.
    common : float
        Variance that all values share: it is in every predicted variance and drops out of differences. A further wire
        measured alike has it as well, so it is neither learnt nor a hindrance.
    """

    x: Array
    value: Array
    noise: Array
    sigma: float
    lengths: Array
    log_likelihood: float

    mean: float = field(init=False)
    common: float = field(init=False)
    _factor: tuple[Array, bool] = field(init=False, repr=False)
    _ones: Array = field(init=False, repr=False)
    _total: float = field(init=False, repr=False)
    _weights: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        matrix = self.sigma**2 * kernel(self.x, self.x, self.lengths) + self.noise
        factor = _factor(matrix)
        ones = cho_solve(factor, np.ones(len(self.x)))
        total = float(np.sum(ones))
        mean = float(ones @ self.value) / total
        for name, part in (
            ("common", max(0.0, float(np.min(self.noise)))),
            ("_factor", factor),
            ("_ones", ones),
            ("_total", total),
            ("mean", mean),
            ("_weights", cho_solve(factor, self.value - mean)),
        ):
            object.__setattr__(self, name, part)

    def predict(self, at: ArrayLike) -> tuple[Array, Array]:
        """Mean (m,) and covariance (m, m) of the function at places (m, d)."""
        places = np.asarray(at, dtype=float)
        cross = self.sigma**2 * kernel(self.x, places, self.lengths)
        solved = cho_solve(self._factor, cross)
        rest = 1.0 - self._ones @ cross
        covariance = self.sigma**2 * kernel(places, places, self.lengths) - cross.T @ solved
        covariance += np.outer(rest, rest) / self._total
        return np.asarray(self.mean + cross.T @ self._weights), np.asarray((covariance + covariance.T) / 2.0)

    def predict_each(self, at: ArrayLike) -> tuple[Array, Array]:
        """Mean and variance of the function at places (m, d), each for itself: many places cost little."""
        places = np.asarray(at, dtype=float)
        cross = self.sigma**2 * kernel(self.x, places, self.lengths)
        rest = 1.0 - self._ones @ cross
        variance = self.sigma**2 - np.sum(cross * cho_solve(self._factor, cross), axis=0) + rest**2 / self._total
        return np.asarray(self.mean + cross.T @ self._weights), np.asarray(np.maximum(variance, 0.0))


def kernel(a: Array, b: Array, lengths: Array) -> Array:
    """Matérn 5/2 function of the scaled distances, shape (len(a), len(b)); one at distance zero."""
    scaled = (a[:, None, :] - b[None, :, :]) / lengths
    r = np.sqrt(5.0 * np.sum(scaled**2, axis=-1))
    return np.asarray((1.0 + r + r**2 / 3.0) * np.exp(-r))


def _factor(matrix: Array) -> tuple[Array, bool]:
    """Cholesky factor; values known exactly at equal places leave a matrix that is singular but for rounding."""
    jitter = 1e-10 * float(np.mean(np.diag(matrix)))
    found: tuple[Array, bool] = cho_factor(matrix + jitter * np.eye(len(matrix)), lower=True)
    return found


def restricted_log_likelihood(
    x: Array, value: Array, noise: Array, sigma: float, lengths: Array
) -> tuple[float, Array]:
    """Logarithm of the marginal likelihood with the mean integrated out, but for a constant, and its slope.

    Returns
    -------
    float
    array, (1 + d,)
        Derivatives by the logarithms of sigma and of the lengths.
    """
    squares = ((x[:, None, :] - x[None, :, :]) / lengths) ** 2
    r = np.sqrt(5.0 * np.sum(squares, axis=-1))
    falling = np.exp(-r)
    signal = sigma**2 * (1.0 + r + r**2 / 3.0) * falling
    factor = _factor(signal + noise)
    inverse = cho_solve(factor, np.eye(len(x)))
    ones = np.sum(inverse, axis=1)
    total = float(np.sum(ones))
    left = inverse - np.outer(ones, ones) / total
    weights = left @ value
    determinant = 2.0 * float(np.sum(np.log(np.diag(factor[0]))))
    # dK/d ln l of Matérn 5/2: sigma² (5/3) (1 + r) exp(-r) (dx / l)²
    outer = np.outer(weights, weights) - left
    of_length = sigma**2 * 5.0 / 3.0 * (1.0 + r) * falling * outer
    slope = np.array([np.sum(outer * signal), *(0.5 * np.einsum("ij,ijk->k", of_length, squares))])
    return -0.5 * (determinant + np.log(total) + float(weights @ value)), slope


def fit(
    x: ArrayLike, value: ArrayLike, noise: ArrayLike, seed: int = 0, *, widths: ArrayLike | None = None
) -> Process:
    """Find the Gaussian process of some data.

    Parameters
    ----------
    x : array, (n, d)
    value : array, (n,)
    noise : array, (n, n)
        Covariance of the values.
    seed : int
        Of the starts of the search; the same seed gives the same answer.
    widths : array, (d,), optional
        In which lengths are bounded and expected: the span of what was measured. One unless given.

    Examples
    --------
    >>> x = np.linspace(0, 1, 7)[:, None]
    >>> process = fit(x, np.sin(3 * x[:, 0]), 1e-6 * np.eye(7))
    >>> mean, covariance = process.predict([[0.4]])
    >>> round(float(mean[0]), 2), round(float(np.sin(1.2)), 2)
    (0.93, 0.93)
    """
    places, numbers, known = (np.asarray(one, dtype=float) for one in (x, value, noise))
    n, d = places.shape
    unit = np.ones(d) if widths is None else np.asarray(widths, dtype=float)
    scaled = places / unit
    typical = float(np.sqrt(np.median(np.diag(known - np.min(known)))))  # without what all values share
    spread = float(np.std(numbers)) or typical or 1.0
    scale = max(spread, typical)
    low, high = LEAST_SIGNAL * typical, MOST_SIGNAL * scale
    low = max(low, 1e-3 * scale)
    bounds = [(np.log(low), np.log(high))] + [(np.log(SHORTEST), np.log(LONGEST))] * d

    def penalty(parameters: Array) -> tuple[float, Array]:
        sigma, lengths = float(np.exp(parameters[0])), np.exp(parameters[1:])
        off = np.log(lengths / USUAL_LENGTH) / SPREAD_OF_LENGTH
        value, slope = restricted_log_likelihood(scaled, numbers, known, sigma, lengths)
        return 0.5 * float(off @ off) - value, np.append(0.0, off / SPREAD_OF_LENGTH) - slope

    random = np.random.default_rng(seed)
    starts = [np.array([np.log(min(max(spread, low), high)), *[np.log(USUAL_LENGTH)] * d])]
    # hundreds of points leave no doubt about the maximum, and take long
    for _ in range(STARTS - 1 if n <= 60 else 1):
        starts.append(np.array([random.uniform(*bound) for bound in bounds]))
    searches = (minimize(penalty, start, jac=True, method="L-BFGS-B", bounds=bounds) for start in starts)
    best = min(searches, key=lambda search: float(search.fun))
    sigma, lengths = float(np.exp(best.x[0])), unit * np.exp(best.x[1:])
    return Process(places, numbers, known, sigma, lengths, -float(best.fun))
