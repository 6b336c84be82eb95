"""Thermal doses by hand, and rules of the trade."""

import math
from functools import cache

import mpmath

from tests.outside.rows import Row
from xrdorder.treatments import Schedule, Step

_R = 8.31446261815324
_BY_HAND = "Arrhenius factor exp[-Q/R (1/T - 1/T0)] times the hours, by hand"
_RAMP = "sum of 20 000 short holds, by hand"


def factor(q_kj: float, c: float, reference_c: float = 650.0) -> float:
    """Arrhenius factor of a hold."""
    return math.exp(-1e3 * q_kj / _R * (1.0 / (c + 273.15) - 1.0 / (reference_c + 273.15)))


def ramp_by_hand(q_kj: float, low_c: float, high_c: float, rate_k_per_h: float, pieces: int = 20000) -> float:
    """Dose of a ramp by the midpoints of many short holds."""
    step = (high_c - low_c) / pieces
    return sum(factor(q_kj, low_c + (k + 0.5) * step) for k in range(pieces)) * step / rate_k_per_h


@cache
def by_mpmath(q_kj: float, reference_c: float = 650.0) -> float:
    """Dose of `PROGRAMME`, piece by piece in arbitrary precision: ramps, holds, and a hold that oscillates."""

    def rate(celsius: mpmath.mpf) -> mpmath.mpf:
        kelvin = celsius + 273.15
        return mpmath.exp(-1000 * q_kj / mpmath.mpf(_R) * (1 / kelvin - 1 / mpmath.mpf(reference_c + 273.15)))

    total, at = mpmath.mpf(0), mpmath.mpf(25)
    for step in PROGRAMME.steps:
        if step.ramp_k_per_h and step.hold_c != at:
            total += abs(mpmath.quad(rate, [at, step.hold_c])) / step.ramp_k_per_h
        at = mpmath.mpf(step.hold_c)
        swing, turn = step.amplitude_k, [0, mpmath.pi, 2 * mpmath.pi]  # whole periods: the mean of one
        mean = mpmath.quad(lambda x, t=at, a=swing: rate(t + a * mpmath.sin(x)), turn) / (2 * mpmath.pi)
        total += step.hours * mean
    return float(total)


PROGRAMME = Schedule(
    (Step(210, 48, 25), Step(400, 50, 25), Step(650, 90, 50, 6.0, 1.5), Step(665, 20, 50), Step(25, 0, 20))
)

ROWS = [
    *(
        Row(
            f"dose of {hours:g} h at {c:g} °C, referred to 650 °C, {q:g} kJ/mol",
            "h",
            lambda p=(q, c, hours): Schedule((Step(p[1], p[2]),)).dose_h(p[0], 650.0),
            lambda p=(q, c, hours): p[2] * factor(p[0], p[1]),
            1e-9 * hours * factor(q, c),
            "exact",
            _BY_HAND,
            "computed",
        )
        for q, c, hours in (
            (225.0, 650.0, 100.0),
            (225.0, 700.0, 50.0),
            (225.0, 625.0, 200.0),
            (480.0, 725.0, 20.0),
        )
    ),
    *(
        Row(
            f"dose of a ramp from 400 to {c:g} °C at {rate:g} K/h and {hours:g} h there, {q:g} kJ/mol",
            "h",
            lambda p=(q, c, rate, hours): Schedule((Step(p[1], p[3], p[2]),), start_c=400.0).dose_h(
                p[0], 650.0
            ),
            lambda p=(q, c, rate, hours): ramp_by_hand(p[0], 400.0, p[1], p[2]) + p[3] * factor(p[0], p[1]),
            1e-6 * (hours * factor(q, c)),
            "midpoints of 20 000 short holds",
            _RAMP,
            "computed",
        )
        for q, c, rate, hours in ((225.0, 650.0, 5.0, 100.0), (480.0, 700.0, 50.0, 50.0))
    ),
    *(
        Row(
            f"dose of five steps with ramps and an oscillation, {q:g} kJ/mol",
            "h",
            lambda q=q: PROGRAMME.dose_h(q, 650.0),
            lambda q=q: by_mpmath(q),
            1e-9 * by_mpmath(q),
            "exponential integrals and trapezoids promise 1e-12",
            "mpmath: the Arrhenius integral over every ramp and hold",
            "computed",
        )
        for q in (200.0, 300.0)
    ),
]
