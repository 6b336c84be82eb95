"""The conversion law fitted to a course of conversion against time: a furnace run, a table of measurements."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from xrdorder.kinetics.courses import Courses
from xrdorder.kinetics.laws import conversion

Array = NDArray[np.float64]

FEWEST, MOST = 10, 200
"""Points that a law of four parameters is fitted to; of more some are taken, evenly."""

_LEAST_RISE = 5.0  # standard uncertainties by which the share has to rise, or there is no curve
_STARTS_KJ = (100.0, 180.0, 225.0, 300.0, 450.0)
_LARGEST_RELATIVE_U = 0.5  # of the activation energy, beyond which the course does not tell it (judged)


@dataclass(frozen=True)
class ConversionCurve:
    """Parameters of `xrdorder.kinetics.conversion`, with standard uncertainties from the scatter of the points.

    Attributes
    ----------
    end_fraction, u_end_fraction : float
        Share of the A15 when all has reacted.
    q_kj_per_mol, u_q_kj_per_mol : float
        Activation energy.
    tau_h, u_tau_h : float
        Hours at 650 °C after which 1 - 1/e is done.
    exponent, u_exponent : float
    chi2_reduced : float
        Of the fit; uncertainties are enlarged by its root where it is above one.
    told : bool
        Whether the course tells the activation energy: a run at one temperature does not.
    information : sequence of sequence of float, (3, 3)
        What the course says of the activation energy (kJ/mol), ln tau and ln exponent together: the inverse of their
        covariance, whatever the end fraction is. Of a run at one temperature it has no inverse.
    """

    end_fraction: float
    u_end_fraction: float
    q_kj_per_mol: float
    u_q_kj_per_mol: float
    tau_h: float
    u_tau_h: float
    exponent: float
    u_exponent: float
    chi2_reduced: float
    told: bool
    information: Sequence[Sequence[float]] = ()


def fitted_conversion(courses: Courses, share: Array, u: Array) -> ConversionCurve | None:
    """Fit the law by least squares in the logarithms of all four parameters, the best of several starts.

    Parameters
    ----------
    courses : Courses
        What the furnace had done up to each of n points.
    share, u : array, (n,)
        Share of A15 and its standard uncertainty, of any whole.

    Returns
    -------
    ConversionCurve or None
        None where the share hardly rises, or there are fewer than `FEWEST` points.
    """
    if len(share) < FEWEST or np.ptp(share) < _LEAST_RISE * float(np.median(u)):
        return None

    def residual(logs: Array) -> Array:
        end, q, tau, n = np.exp(logs)
        done = conversion(courses, np.array([q]), np.array([tau]), np.array([n]))[0]
        return np.asarray((end * done - share) / u)

    bounds = np.log([1e-3, 20.0, 1e-4, 0.1]), np.log([2.0, 3000.0, 1e5, 8.0])
    highest = min(max(float(share.max()), 2e-3), 1.9)
    starts = [np.log([highest, q, tau, 1.0]) for q in _STARTS_KJ for tau in (0.5, 20.0)]
    solutions = (least_squares(residual, start, bounds=bounds, x_scale="jac") for start in starts)
    best = min(solutions, key=lambda solution: solution.cost)
    chi2 = 2.0 * float(best.cost) / max(len(share) - 4, 1)
    normal = best.jac.T @ best.jac / max(chi2, 1.0)
    # of a hold at one temperature nothing tells the energy: its uncertainty then comes out as huge
    floor = 1e-12 * float(np.max(np.diag(normal))) * np.eye(len(normal))
    relative = [float(x) for x in np.sqrt(np.diag(np.linalg.inv(normal + floor)))]
    end, q, tau, n = (float(x) for x in np.exp(best.x))
    told = relative[1] < _LARGEST_RELATIVE_U
    per_log = np.diag([1.0 / q, 1.0, 1.0])
    # the end fraction is not known beforehand: what it takes up is taken away
    left = normal[1:, 1:] - np.outer(normal[1:, 0], normal[0, 1:]) / normal[0, 0]
    return ConversionCurve(
        end, end * relative[0], q, q * relative[1], tau, tau * relative[2], n, n * relative[3], chi2, told,
        tuple(map(tuple, (per_log @ left @ per_log).tolist())),
    )  # fmt: skip
