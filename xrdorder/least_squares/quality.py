"""How good is a fit, and how far do its residuals enlarge uncertainties?"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WORST_CHI2 = 25.0
"""Reduced chi squared beyond which nothing of a fit is to be used: five standard uncertainties at every point."""

_ROUNDING = 1e-9  # standard uncertainties; residuals of expected counts, and what they have in common says nothing


class Quality(NamedTuple):
    """Agreement factors (fractions) as the IUCr powder dictionary defines them."""

    r_wp: float
    r_expected: float
    chi2_reduced: float


def agreement(observed: Array, calculated: Array, variance: Array, n_free: int) -> Quality:
    """Weighted profile R factors and reduced chi squared (`_pd_proc_ls_prof_wR_factor` and relatives).

    Parameters
    ----------
    observed, calculated, variance
        Counts, model and variance of the counts, shape (n,).
    n_free
        Number of free parameters.
    """
    weight = 1.0 / variance
    chi2 = float(np.sum(weight * (observed - calculated) ** 2))
    total = float(np.sum(weight * observed**2))
    degrees = max(len(observed) - n_free, 1)
    return Quality(np.sqrt(chi2 / total), np.sqrt(degrees / total), chi2 / degrees)


def squared_significance(
    area: Array | float, width: Array | float, step: float, variance: Array | float
) -> Array:
    """Squared significance of a line to a filter that knows all but its height: area^2 over the variance of the area.

    A Gaussian line of unit area has the squared norm 0.664 / full width, sqrt(2 ln 2 / pi).

    Parameters
    ----------
    area, width, step
        Counts times degree; full width and step of the scan, degrees.
    variance
        Of the counts under the line.
    """
    return np.asarray(area**2 * 0.664 / (width * step * variance))


def serial_correlation_factor(weighted_residual: Array, longest_lag: int) -> float:
    """Factor by which serially correlated residuals enlarge a standard uncertainty.

    The variance of a mean of correlated values is larger by 1 + 2 sum of autocorrelations; they are summed with
    Bartlett's weights (W. K. Newey, K. D. West, Econometrica 55 (1987) 703) and counted only where they exceed what
    white noise shows. One for white noise.

    Parameters
    ----------
    weighted_residual
        (observed - calculated) / standard uncertainty, shape (n,), in the order of the angles.
    longest_lag
        Number of points over which residuals may be correlated: about a line width.
    """
    r = weighted_residual - weighted_residual.mean()
    n, power = len(r), float(r @ r)
    if power <= n * _ROUNDING**2 or longest_lag < 1:
        return 1.0
    lags = np.arange(1, min(longest_lag, n - 2) + 1)
    correlation = np.array([float(r[lag:] @ r[:-lag]) / power for lag in lags])
    weights = 1.0 - lags / (len(lags) + 1.0)
    excess = 2.0 * float(weights @ correlation)
    noise = 2.0 * float(np.sqrt(np.sum(weights**2) / n))  # standard deviation of the sum for white noise
    return float(np.sqrt(1.0 + excess)) if excess > 2.0 * noise else 1.0


def thinned(weighted_residual: Array, points: int) -> Array:
    """Sums of neighbouring residuals over the root of their number, which keep correlations over longer distances.

    Smoothing makes the scatter of single points small and leaves that of their sums, which decides what a fit knows.

    Parameters
    ----------
    weighted_residual
        Shape (n,), in the order of the angles.
    points
        In each sum.

    Examples
    --------
    >>> thinned(np.array([1.0, 3.0, 2.0, 2.0]), 2)
    array([2.82842712, 2.82842712])
    """
    n = len(weighted_residual) // points
    return np.asarray(weighted_residual[: n * points].reshape(n, points).sum(axis=1) / np.sqrt(points))
