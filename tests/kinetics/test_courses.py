"""Arrhenius integrals of schedules, against closed forms and brute force."""

import numpy as np
import pytest
from scipy.special import exp1

from xrdorder.kinetics import Courses, formation_k
from xrdorder.treatments import LoggedTreatment, Repeat, Schedule, Step
from xrdorder.treatments.history import GAS_CONSTANT

PLATEAUS = Schedule((Step(210, 48, 25), Step(400, 48, 50), Step(570, 100, 50), Step(665, 75, 50)))
SWINGS = Schedule((Step(570, 100, 50), Repeat(3, (Step(650, 20, 50, 10.0, 1.5), Step(600, 5, 50)))))
LOG = LoggedTreatment(np.array([0.0, 13.0, 113.0, 120.0]), np.array([20.0, 650.0, 660.0, 300.0]))
EVERY = (PLATEAUS, SWINGS, LOG)
REFERENCE = 923.15


def closed(start_k, steps, q):
    """Integral over ramps and holds: T exp(-c/T) - c E1(c/T) between the ends of a ramp, t exp(-c/T) of a hold."""
    c, total, at = q * 1e3 / GAS_CONSTANT, 0.0, start_k

    def over(t):
        return t * np.exp(-c / t) - c * exp1(c / t)

    for kelvin, hours, rate in steps:
        total += (over(kelvin) - over(at)) / rate * np.sign(kelvin - at) + hours * np.exp(-c / kelvin)
        at = kelvin
    return np.log(total) + c / REFERENCE


@pytest.mark.parametrize("q", [100.0, 225.0, 265.0])  # larger ones underflow in this form
def test_plateaus_and_ramps_have_closed_forms(q):
    steps = [(483.15, 48, 25), (673.15, 48, 50), (843.15, 100, 50), (938.15, 75, 50)]
    expected = closed(298.15, steps, q)
    # interpolated between Chebyshev points: 1e-6 is a ten-thousandth of a per cent of the hours
    assert Courses([PLATEAUS]).log_integrals(q)[0] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("q", [60.0, 225.0, 700.0, 2000.0])
def test_swings_and_logs_agree_with_brute_force(q):
    found = Courses(EVERY).log_integrals(q)
    for one, integral in zip(EVERY, found, strict=True):
        hours = np.linspace(0.0, one.total_h, 400_001)
        hours = (hours[1:] + hours[:-1]) / 2.0
        rate = np.exp(-q * 1e3 / GAS_CONSTANT * (1.0 / one.temperature_at(hours * 3600.0) - 1.0 / REFERENCE))
        # midpoints of a second or two: the corners of a schedule cost some 1e-5 of the largest energies
        assert integral == pytest.approx(np.log(rate.mean() * one.total_h), abs=2e-4)


def test_energies_beyond_the_nodes_are_those_at_the_ends():
    one = Courses([PLATEAUS])
    assert one.log_integrals(1e5) == pytest.approx(one.log_integrals(3000.0))


def test_one_hold_is_its_own_temperature_and_time():
    points = Courses([Schedule((Step(650, 100),)), Schedule((Step(700, 20),))]).points
    np.testing.assert_allclose(points[:, 0], [923.15, 973.15], atol=0.01)
    np.testing.assert_allclose(np.exp(points[:, 1]), [100.0, 20.0], rtol=1e-4)


def test_selection_works_nothing_out_again():
    every = Courses(EVERY)
    some = every.select(np.array([True, False, True]))
    assert some.treatments == (PLATEAUS, LOG)
    np.testing.assert_allclose(some.log_integrals([225.0]), every.log_integrals([225.0])[:, [0, 2]], rtol=1e-12)
    np.testing.assert_array_equal(some.steps.hours, every.steps.hours[[0, 2]])


@pytest.mark.parametrize("one", EVERY)
def test_the_temperature_of_formation_agrees_with_brute_force(one):
    q, tau, n = 225.0, 12.0, 1.2
    hours = np.linspace(0.0, one.total_h * (1 - 1e-12), 200_001)
    kelvin = one.temperature_at(hours * 3600.0)
    rate = np.exp(-q * 1e3 / GAS_CONSTANT * (1.0 / kelvin - 1.0 / REFERENCE))
    dose = np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2.0 * np.diff(hours))])
    done = 1.0 - np.exp(-((dose / tau) ** n))
    expected = float(np.sum(np.diff(done) * (kelvin[1:] + kelvin[:-1]) / 2.0) / done[-1])
    found = formation_k(Courses([one]), np.array([q]), np.array([tau]), np.array([n]))
    # ramps stand in steps of 25 K; a kelvin is 0.02 T
    assert found[0, 0] == pytest.approx(expected, abs=1.0)
