"""How fast the A15 forms: the conversion law of the planning model, fitted to its fractions along one furnace run."""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.optimize import least_squares

from xrdorder.kinetics import Courses, conversion
from xrdorder.quantities.of_phase import WEIGHT_FRACTION
from xrdorder.series.events import fitted, shares
from xrdorder.treatments import LoggedTreatment

Array = NDArray[np.float64]

_MOST_FRAMES = 200  # evenly through the run; the law has four parameters
_FEWEST_FRAMES = 10
_LEAST_RISE = 5.0  # standard uncertainties by which the fraction has to rise, or there is no curve
_STARTS_KJ = (100.0, 180.0, 225.0, 300.0, 450.0)
_LARGEST_RELATIVE_U = 0.5  # of the activation energy, beyond which the run does not tell it (judged)


@dataclass(frozen=True)
class ConversionCurve:
    """Parameters of `xrdorder.kinetics.conversion`, with standard uncertainties from the scatter of the frames.

    Attributes
    ----------
    end_fraction, u_end_fraction : float
        Weight fraction of the A15 when all has reacted.
    q_kj_per_mol, u_q_kj_per_mol : float
        Activation energy.
    tau_h, u_tau_h : float
        Hours at 650 °C after which 1 - 1/e is done.
    exponent, u_exponent : float
    chi2_reduced : float
        Of the fit; uncertainties are enlarged by its root where it is above one.
    told : bool
        Whether the run tells the activation energy: a run at one temperature does not.
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


def conversion_curve(run: xr.Dataset, a15: str, log: LoggedTreatment) -> ConversionCurve | None:
    """Fit the law to the weight fractions of the A15; None where these hardly rise, or there are too few.

    Parameters
    ----------
    run : Dataset
        Over frames.
    a15 : str
        Name of the phase.
    log : LoggedTreatment
        On the clock of the frames.
    """
    frames = fitted(run)
    if WEIGHT_FRACTION.of(a15) not in frames:
        return None
    inside = (frames["time_h"].values > log.hours[0]) & (frames["time_h"].values <= log.hours[-1])
    chosen = np.flatnonzero(inside)
    chosen = (
        chosen[np.unique(np.linspace(0, len(chosen) - 1, _MOST_FRAMES).astype(int))]
        if len(chosen)
        else chosen
    )
    if len(chosen) < _FEWEST_FRAMES:
        return None
    hours, (share, u) = frames["time_h"].values[chosen], (one[chosen] for one in shares(frames, a15))
    if np.ptp(share) < _LEAST_RISE * float(np.median(u)):
        return None
    courses = Courses([_until(log, float(t)) for t in hours])
    return _fitted(courses, share, u)


def law_at(curve: ConversionCurve, log: LoggedTreatment, hours: Array) -> Array:
    """Weight fraction that a fitted law gives at times within the log, shape (hours,)."""
    told = (np.array([one]) for one in (curve.q_kj_per_mol, curve.tau_h, curve.exponent))
    return np.asarray(
        curve.end_fraction * conversion(Courses([_until(log, float(t)) for t in hours]), *told)[0]
    )


def _until(log: LoggedTreatment, hour: float) -> LoggedTreatment:
    """What the furnace has done until a time."""
    before = log.hours < hour
    now = float(np.interp(hour, log.hours, log.temperatures_c))
    return LoggedTreatment(np.append(log.hours[before], hour), np.append(log.temperatures_c[before], now))


def _fitted(courses: Courses, share: Array, u: Array) -> ConversionCurve | None:
    """Least squares in the logarithms of all four, the best of several starts."""

    def residual(logs: Array) -> Array:
        end, q, tau, n = np.exp(logs)
        done = conversion(courses, np.array([q]), np.array([tau]), np.array([n]))[0]
        return np.asarray((end * done - share) / u)

    bounds = np.log([1e-3, 20.0, 1e-4, 0.1]), np.log([2.0, 3000.0, 1e5, 8.0])
    starts = [
        np.log([min(max(float(share.max()), 2e-3), 1.9), q, tau, 1.0])
        for q in _STARTS_KJ
        for tau in (0.5, 20.0)
    ]
    best = min(
        (least_squares(residual, start, bounds=bounds, x_scale="jac") for start in starts),
        key=lambda one: one.cost,
    )
    freedom = max(len(share) - 4, 1)
    chi2 = 2.0 * float(best.cost) / freedom
    try:
        covariance = np.linalg.inv(best.jac.T @ best.jac) * max(chi2, 1.0)
    except np.linalg.LinAlgError:
        return None
    relative = [float(x) for x in np.sqrt(np.diag(covariance))]
    end, q, tau, n = (float(x) for x in np.exp(best.x))
    told = bool(np.all(np.isfinite(relative)) and relative[1] < _LARGEST_RELATIVE_U)
    return ConversionCurve(
        end, end * relative[0], q, q * relative[1], tau, tau * relative[2], n, n * relative[3], chi2, told
    )
