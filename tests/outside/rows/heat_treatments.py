"""Thermal doses by hand, and rules of the trade."""

import math

from tests.outside.rows import Row
from xrdorder.treatments import Schedule, Step

_R = 8.31446261815324
_BY_HAND = "Arrhenius factor exp[-Q/R (1/T - 1/T0)] times the hours, by hand"
_RAMP = "scipy is not asked: sum of a thousand short holds, by hand"


def factor(q_kj: float, c: float, reference_c: float = 650.0) -> float:
    """Arrhenius factor of a hold."""
    return math.exp(-1e3 * q_kj / _R * (1.0 / (c + 273.15) - 1.0 / (reference_c + 273.15)))


def ramp_by_hand(q_kj: float, low_c: float, high_c: float, rate_k_per_h: float, pieces: int = 20000) -> float:
    """Dose of a ramp by the midpoints of many short holds."""
    step = (high_c - low_c) / pieces
    return sum(factor(q_kj, low_c + (k + 0.5) * step) for k in range(pieces)) * step / rate_k_per_h


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
]
