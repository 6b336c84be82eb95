"""Measured critical currents as a Kramer plot: Ic^0.5 B^0.25 falls in a straight line to zero at the Kramer field.

E. J. Kramer, J. Appl. Phys. 44 (1973) 1360 (from memory). The line is weighted least squares; it is rejected where the
points scatter about it by more than their uncertainties allow.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from xrdorder.comparison.trends import REJECTED
from xrdorder.description.measured_values import MeasuredValue

Array = NDArray[np.float64]

CURRENT = "critical_current_a"
LEAST_POINTS = 3


@dataclass(frozen=True)
class KramerSeries:
    """Critical currents of a sample at one temperature.

    Attributes
    ----------
    sample : str
    temperature_k : float
    field_t, ordinate, u : array, (n,)
        Field, T, rising; Ic^0.5 B^0.25, A^0.5 T^0.25, and its standard uncertainty.
    kramer_field_t, u_kramer_field_t : float
        Where the line meets zero; NaN where there is no line.
    at_zero, slope : float
        Of the line; NaN where there is none.
    p_line : float
        Probability of such scatter about the line by the uncertainties alone; NaN where nothing is left to judge by.
    """

    sample: str
    temperature_k: float
    field_t: Array
    ordinate: Array
    u: Array
    kramer_field_t: float
    u_kramer_field_t: float
    at_zero: float
    slope: float
    p_line: float

    @property
    def rejected(self) -> bool:
        """Whether the points lie on no line."""
        return self.p_line < REJECTED


def kramer_series(measured: Iterable[tuple[str, Iterable[MeasuredValue]]]) -> tuple[KramerSeries, ...]:
    """Sort the critical currents of samples by temperature, as far as there are two fields or more.

    Parameters
    ----------
    measured : iterable of (sample, measured values)

    Examples
    --------
    >>> from xrdorder.description.measured_values import MeasuredValue
    >>> values = [
    ...     MeasuredValue(quantity=CURRENT, value=(10 * (24 - b)) ** 2 / b**0.5, u=5.0, temperature_k=4.2, field_t=b)
    ...     for b in (12.0, 14.0, 16.0)
    ... ]
    >>> (one,) = kramer_series([("wire", values)])
    >>> round(one.kramer_field_t, 6), one.rejected
    (24.0, False)
    """
    points_by_course: dict[tuple[str, float], list[tuple[float, float, float]]] = {}
    for sample, values in measured:
        for value in values:
            if value.quantity == CURRENT and value.field_t and value.temperature_k is not None:
                points_by_course.setdefault((sample, value.temperature_k), []).append(
                    (value.field_t, value.value, value.u)
                )
    return tuple(
        _series(sample, kelvin, np.array(sorted(rows)).T)
        for (sample, kelvin), rows in points_by_course.items()
        if len({row[0] for row in rows}) > 1
    )


def _series(sample: str, temperature_k: float, columns: Array) -> KramerSeries:
    field, current, u_current = columns
    ordinate = np.sqrt(current) * field**0.25
    u = 0.5 * ordinate * u_current / current
    if len(np.unique(field)) < LEAST_POINTS:
        return KramerSeries(sample, temperature_k, field, ordinate, u, *[math.nan] * 5)
    design = np.stack([np.ones_like(field), field], axis=1) / u[:, None]
    covariance = np.linalg.inv(design.T @ design)
    start, slope = (float(x) for x in covariance @ design.T @ (ordinate / u))
    end = -start / slope if slope < 0.0 else math.nan
    gradient = np.array([-1.0, -end]) / slope
    u_end = float(np.sqrt(gradient @ covariance @ gradient)) if math.isfinite(end) else math.nan
    misfit = float(np.sum(((ordinate - start - slope * field) / u) ** 2))
    p = float(chdtrc(len(field) - 2, misfit))
    return KramerSeries(sample, temperature_k, field, ordinate, u, end, u_end, start, slope, p)
