"""Furnace schedules: what they say, and what they amount to."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from xrdorder.exceptions import StudyError, ValidityError
from xrdorder.treatments import Schedule, Step

INTERNAL_TIN = Schedule((Step(210, 48, 25), Step(400, 48, 50), Step(665, 75, 50)))
"""Ramps and holds of a tin-route wire as published in arXiv:2302.07825."""


def test_times_and_temperatures_are_those_of_the_furnace_sheet():
    # 25 -> 210 °C at 25 K/h: 7.4 h; 210 -> 400 at 50 K/h: 3.8 h; 400 -> 665 at 50 K/h: 5.3 h
    assert INTERNAL_TIN.total_h == pytest.approx(7.4 + 48 + 3.8 + 48 + 5.3 + 75)
    assert INTERNAL_TIN.peak_c == 665
    assert INTERNAL_TIN.hold_at_peak_h == 75
    hours = np.array([0.0, 3.7, 7.4, 30.0, 57.3, INTERNAL_TIN.total_h])
    expected_c = np.array([25.0, 117.5, 210.0, 210.0, 305.0, 665.0])
    np.testing.assert_allclose(INTERNAL_TIN.temperature_at(hours * 3600.0), expected_c + 273.15, rtol=1e-12)


def test_outside_the_treatment_nothing_is_known():
    assert np.isnan(INTERNAL_TIN.temperature_at(-1.0))
    assert np.isnan(INTERNAL_TIN.temperature_at(INTERNAL_TIN.total_h * 3600.0 + 1.0))


def test_an_unknown_ramp_is_a_jump():
    schedule = Schedule((Step(400, 10), Step(650, 100)))
    assert schedule.total_h == 110
    at = schedule.temperature_at(np.array([0.0, 9.999, 10.0, 50.0]) * 3600.0) - 273.15
    np.testing.assert_allclose(at, [400, 400, 650, 650])


def test_cooling_needs_no_sign():
    schedule = Schedule((Step(650, 100, 50), Step(25, 0, 100)))
    assert schedule.total_h == pytest.approx(12.5 + 100 + 6.25)
    assert schedule.temperature_at(schedule.total_h * 3600.0) == pytest.approx(298.15)
    assert schedule.peak_c == 650


def test_holds_at_the_peak_are_summed():
    assert Schedule((Step(650, 20), Step(600, 5), Step(650, 30))).hold_at_peak_h == 50


@pytest.mark.parametrize(
    ("schedule", "name"),
    [
        (Schedule((Step(650, 100),)), "650 °C/100 h"),
        (INTERNAL_TIN, "210/48 + 400/48 + 665/75 h"),
        (Schedule((Step(662.5, 47.5, 50), Step(25, 0, 100))), "662.5 °C/47.5 h"),
        (Schedule((Step(650, 0, 50),)), "650 °C/0 h"),
    ],
)
def test_short_names(schedule, name):
    assert schedule.short_name == name


@pytest.mark.parametrize("energy", [0.0, 90.0, 200.0, 300.0, 400.0])
def test_the_dose_is_the_integral_it_claims_to_be(energy):
    def rate(time_s):
        temperature = float(INTERNAL_TIN.temperature_at(time_s))
        return np.exp(-energy * 1e3 / 8.31446261815324 * (1.0 / temperature - 1.0 / 923.15))

    pieces = zip(INTERNAL_TIN.times_s[:-1], INTERNAL_TIN.times_s[1:], strict=True)
    seconds = sum(quad(rate, start, stop, epsabs=0, epsrel=1e-11)[0] for start, stop in pieces)
    # 1e-9: the quadrature is asked for 1e-11 a piece, the closed form loses about 1e-11 to cancellation
    assert INTERNAL_TIN.dose_h(energy, 650.0) == pytest.approx(seconds / 3600.0, rel=1e-9)


def test_a_hold_at_the_reference_counts_its_own_hours():
    assert Schedule((Step(650, 100),)).dose_h(300.0, 650.0) == pytest.approx(100.0, rel=1e-14)


def test_a_cold_furnace_does_not_overflow():
    # 73 K: exp(-Q/RT) is 1e-286, the exponential integral alone would underflow on the way
    schedule = Schedule((Step(-200.0, 1.0), Step(650.0, 10.0, 100.0)), start_c=-200.0)
    without = Schedule((Step(25.0, 0.0), Step(650.0, 10.0, 100.0)))
    assert schedule.dose_h(400.0, 650.0) == pytest.approx(without.dose_h(400.0, 650.0), rel=1e-12)


@given(
    hold=st.floats(400, 1000), hours=st.floats(0.1, 1000), rate=st.floats(1, 500), energy=st.floats(50, 500)
)
def test_the_dose_is_bounded_by_the_peak_and_by_the_hold(hold, hours, rate, energy):
    schedule = Schedule((Step(hold, hours, rate),))
    dose = schedule.dose_h(energy, hold)
    assert hours * (1 - 1e-12) <= dose <= schedule.total_h * (1 + 1e-12)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((-300.0, 1.0, None), "hold_c: -300 °C"),
        ((9000.0, 1.0, None), "hold_c: 9000 °C"),
        ((float("nan"), 1.0, None), "hold_c: nan"),
        ((650.0, -1.0, None), "hours: -1 h"),
        ((650.0, float("inf"), None), "hours: inf"),
        ((650.0, 1.0, 0.0), "ramp_k_per_h: a ramp of 0 K/h leads nowhere"),
        ((650.0, 1.0, -50.0), "ramp_k_per_h: a ramp of -50 K/h"),
    ],
)
def test_what_no_furnace_can_do_is_refused(values, message):
    with pytest.raises(StudyError) as caught:
        Step(*values)
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)


def test_an_empty_treatment_and_a_senseless_dose_are_refused():
    with pytest.raises(StudyError, match="has no step"):
        Schedule(())
    with pytest.raises(StudyError, match="start_c"):
        Schedule((Step(650, 1),), start_c=-400)
    with pytest.raises(ValidityError, match="activation energy"):
        INTERNAL_TIN.dose_h(-1.0, 650.0)
    with pytest.raises(ValidityError, match="reference temperature"):
        INTERNAL_TIN.dose_h(300.0, -300.0)
