"""Thermal doses by hand, and rules of the trade."""

import math
from collections.abc import Callable
from functools import cache, lru_cache
from typing import Any

import mpmath
import numpy as np
from scipy.optimize import least_squares

from tests.outside.rows import Row
from xrdorder.estimates.conductors import conductor
from xrdorder.estimates.from_numbers import estimate
from xrdorder.kinetics import ROUTES, Courses, conversion
from xrdorder.planning.process import Leftover, Process, places_of
from xrdorder.relations import relation
from xrdorder.superconductivity.currents import Conductor, crossing, layer_current
from xrdorder.superconductivity.mixture import Common
from xrdorder.treatments import Schedule, Step
from xrdorder.uncertainty import Contributions

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

ROWS: list[Row] = [
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

# --- rules of the trade --------------------------------------------------------------------------------------------

_TRADE = "common practice, no source"
_HOLD_H = 100.0
_SWEEP_C = tuple(float(c) for c in range(560, 821, 10))
_VERY_HOT = Schedule((Step(900.0, 40.0, 50.0),))
_DRAWS = 200


def held(*temperatures_c: float) -> tuple[Schedule, ...]:
    """Holds of a usual time."""
    return tuple(Schedule((Step(c, _HOLD_H, 50.0),)) for c in temperatures_c)


@lru_cache(maxsize=8)
def planned(route: str, treatments: tuple[Schedule, ...]) -> dict[str, np.ndarray]:
    """What the planner expects of wires of which nothing but the route is known; (1 + draws, treatments) each.

    The first row is the middle of the prior.
    """
    courses = Courses(treatments)
    places = places_of(courses)
    process = Process(ROUTES[route], False, Leftover.over(places))
    z = np.random.default_rng(0).standard_normal((_DRAWS + 1, len(process.names)))
    z[0] = 0.0
    return process.predict(z, courses, places, (12.0, 20.0))


def interval(route: str, treatment: Schedule, quantity: str) -> tuple[float, float]:
    """Mean of the planner and two of its standard uncertainties."""
    drawn = planned(route, (treatment,))[quantity][1:, 0]
    return float(drawn.mean()), 2.0 * float(drawn.std())


def share_up(route: str, quantity: str) -> float:
    """Share of the draws in which 700 °C gives more than 640 °C."""
    drawn = planned(route, held(640.0, 700.0))[quantity][1:]
    return float(np.mean(drawn[:, 1] > drawn[:, 0]))


def optimum_c(route: str) -> float:
    """Temperature of a hold of a usual time at which the middle of the prior has most current at 12 T."""
    return _SWEEP_C[int(np.argmax(planned(route, held(*_SWEEP_C))["current 12"][0]))]


@lru_cache(maxsize=4)
def by_order(share: float) -> dict[str, np.ndarray]:
    """Estimates of a wire of 24 at.% tin whose order is this share of the largest."""
    return dict(estimate(tin_fraction=0.24, site_order=0.96 * share, undoped=True, n=_DRAWS).draws)


def wire(name: str, bc2_t: float, grain_nm: float, area: float) -> Conductor:
    """A wire with tantalum of which all is known but how it pins."""
    every = np.ones(_DRAWS)
    return conductor(
        name, 17.8 * every, bc2_t * every, ({}, Contributions.empty()), grain_nm=(grain_nm, 0.0),
        a15_area=(area, 0.0), common=Common(_DRAWS, 0, name, wire="Ta"),
    )  # fmt: skip


def tin_rich_over_bronze(field_t: float) -> float:
    """Current density without copper: A15 in 60 and in 35 % of the section, 1.5 T of Bc2(0) apart."""
    rich, bronze = (
        layer_current(one, field_t).non_copper
        for one in (wire("internal tin", 28.5, 120.0, 0.60), wire("bronze", 27.0, 120.0, 0.35))
    )
    assert rich is not None and bronze is not None
    return float(rich.median[0] / bronze.median[0])


_KINDS: dict[str, Callable[[float], Schedule]] = {
    "isothermal holds": lambda c: Schedule((Step(c, 30.0, 200.0),)),
    "slow ramps": lambda c: Schedule((Step(c, 0.1, 2.0),)),
    "swings": lambda c: Schedule((Step(c, 30.0, 50.0, 15.0, 1.5),)),
    "several plateaus": lambda c: Schedule((Step(570.0, 50.0, 50.0), Step(c - 25.0, 10.0, 50.0), Step(c, 15.0, 50.0))),
}
_TRUE_Q, _TRUE_TAU_H = 225.0, 12.0


@lru_cache(maxsize=4)
def recovered_kinetics(kind: str) -> tuple[float, float]:
    """Activation energy (kJ/mol) and hours at 650 °C that five treatments of a kind give by shares reacted, by hand.

    The shares are sums over short steps of the furnace temperature; the law that is fitted to them is the package's.
    """
    treatments = [_KINDS[kind](c) for c in (610.0, 630.0, 650.0, 670.0, 690.0)]
    shares = []
    for one in treatments:
        hours = (np.arange(40_000) + 0.5) * one.total_h / 40_000
        kelvin = one.temperature_at(3600.0 * hours)
        dose = np.mean(np.exp(-1e3 * _TRUE_Q / _R * (1.0 / kelvin - 1.0 / 923.15))) * one.total_h
        shares.append(1.0 - math.exp(-dose / _TRUE_TAU_H))
    courses = Courses(treatments)

    def misfit(x: np.ndarray) -> np.ndarray:
        return conversion(courses, x[:1], np.exp(x[1:]), np.ones(1))[0] - np.array(shares)

    found = least_squares(misfit, [180.0, math.log(20.0)], x_scale=[10.0, 0.1], xtol=1e-12, ftol=1e-12).x
    return float(found[0]), math.exp(found[1])


def _rule(
    quantity: str, unit: str, ours: Callable[[], float], rule: float, tolerance: float, reason: str, **how: Any
) -> Row:
    return Row(quantity, unit, ours, rule, tolerance, reason, _TRADE, "no source", **how)


_HALF = "the rule has exceptions: it must be likelier than not"
ROWS += [
    _rule(
        "rule: grains after a cool reaction (620 °C, 100 h)", "nm",
        lambda: math.exp(interval("internal-tin", held(620.0)[0], "grains")[0]), 100.0, 30.0,
        "near 100 nm is a number of one digit; the planner's own 95 % interval is ± 30 %",
    ),
    _rule(
        "rule: domains after a cool reaction (620 °C, 100 h), logarithm of nm", "",
        lambda: interval("internal-tin", held(620.0)[0], "size")[0], math.log(100.0),
        interval("internal-tin", held(620.0)[0], "size")[1], "95 % interval of the planner",
    ),
    _rule(
        "rule: grains of usual wires by their published growth, 620 °C", "nm",
        lambda: float(relation("grains-of-usual-wires")(620.0)), 100.0, 30.0, "two of the relation's scatter of 15 %",
    ),
    _rule(
        "rule: grains after a very hot reaction (900 °C, 40 h), logarithm of nm", "",
        lambda: interval("internal-tin", _VERY_HOT, "grains")[0], 0.5 * (math.log(500.0) + math.log(1000.0)),
        interval("internal-tin", _VERY_HOT, "grains")[1], "95 % interval of the planner, beyond the range of its data",
    ),
    _rule(
        "rule: domains after a very hot reaction (900 °C, 40 h), logarithm of nm", "",
        lambda: interval("internal-tin", _VERY_HOT, "size")[0], 0.5 * (math.log(500.0) + math.log(1000.0)),
        interval("internal-tin", _VERY_HOT, "size")[1], "95 % interval of the planner, beyond the range of its data",
    ),
    *(
        row
        for route in ROUTES
        for row in (
            _rule(
                f"rule: hotter means more tin, {route} (share of what the planner holds possible)", "",
                lambda r=route: share_up(r, "tin"), 1.0, 0.5, _HALF,
            ),
            _rule(
                f"rule: hotter means coarser grains, {route} (share of what the planner holds possible)", "",
                lambda r=route: share_up(r, "grains"), 1.0, 0.01, "the law has no other sign",
            ),
            _rule(
                f"rule: most current at 12 T after 100 h inside the usual window, {route}", "°C",
                lambda r=route: optimum_c(r), ROUTES[route].usual.temperature_c,
                2.0 * ROUTES[route].usual.u_temperature_k, "twice the spread of what makers use; 560 and 820 are ends",
                kind="shared input",
            ),
            _rule(
                f"rule: a well reacted wire holds its Tc near 18 K, {route} (660 °C, 100 h)", "K",
                lambda r=route: interval(r, held(660.0)[0], "tc")[0], 18.0, 1.0, "within a kelvin",
            ),
        )
    ),
    *(
        _rule(
            f"rule: better order raises {name} (share of the draws, 0.99 against 0.85 of the largest)", "",
            lambda q=quantity: float(np.mean(by_order(0.99)[q] > by_order(0.85)[q])), 1.0, 0.5, _HALF,
        )
        for name, quantity in (("Tc", "Tc_K"), ("Bc2", "Bc2_0K_T"))
    ),
    _rule(
        "rule: Tc of a wire of 24 at.% tin and good order", "K",
        lambda: float(np.median(by_order(0.99)["Tc_K"])), 18.0, 1.0, "within a kelvin",
    ),
    *(
        row
        for kind in _KINDS
        for row in (
            _rule(
                f"rule: {kind} come out with the same kinetics, activation energy", "kJ/mol",
                lambda k=kind: recovered_kinetics(k)[0], _TRUE_Q, 0.5, "short steps by hand, 25 K steps of ramps",
            ),
            _rule(
                f"rule: {kind} come out with the same kinetics, time constant at 650 °C", "h",
                lambda k=kind: recovered_kinetics(k)[1], _TRUE_TAU_H, 0.05, "short steps by hand, 25 K steps of ramps",
            ),
        )
    ),
    _rule(
        "rule: at 12 T a route rich in tin leads: non-copper current over that of bronze wire", "",
        lambda: tin_rich_over_bronze(12.0), 2.5, 1.0, "2500 to 3000 over about 1000 A/mm², numbers of one digit",
    ),
    _rule(
        "rule: field above which 1 T more Bc2 beats grains finer by a fifth", "T",
        lambda: float(crossing(wire("fine", 27.5, 100.0, 0.5), wire("high", 28.5, 125.0, 0.5)).field_t.median),
        16.0, 4.0, "above 12 T, where grains and tin lead, below 20 T, where Bc2 decides",
    ),
]  # fmt: skip
