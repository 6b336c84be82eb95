"""How fast the A15 forms along a furnace run: which frames the conversion law of the planning model is fitted to."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.kinetics import ConversionCurve, Courses, conversion, fitted_conversion
from xrdorder.kinetics.fitted import MOST
from xrdorder.quantities.of_phase import WEIGHT_FRACTION
from xrdorder.series.events import fitted, shares
from xrdorder.treatments import LoggedTreatment

Array = NDArray[np.float64]


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
    hours = frames["time_h"].values
    inside = np.flatnonzero((hours > log.hours[0]) & (hours <= log.hours[-1]))
    if not len(inside):
        return None
    chosen = inside[np.unique(np.linspace(0, len(inside) - 1, MOST).astype(int))]
    share, u = (curve[chosen] for curve in shares(frames, a15))
    return fitted_conversion(Courses([log.until(float(t)) for t in hours[chosen]]), share, u)


def law_at(curve: ConversionCurve, log: LoggedTreatment, hours: Array) -> Array:
    """Weight fraction that a fitted law gives at times within the log, shape (hours,)."""
    told = (np.array([parameter]) for parameter in (curve.q_kj_per_mol, curve.tau_h, curve.exponent))
    return np.asarray(curve.end_fraction * conversion(Courses([log.until(float(t)) for t in hours]), *told)[0])
