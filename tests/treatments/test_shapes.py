"""Repeats, swings and what sums a treatment up: peak, time above, dose and its interval."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from xrdorder.exceptions import StudyError, ValidityError
from xrdorder.treatments import LoggedTreatment, Repeat, Schedule, Step, schedule_of_holds
from xrdorder.treatments.schedule import written_out

R = 8.31446261815324


def rate(history, energy, reference_c):
    return lambda t: np.exp(
        -energy * 1e3 / R * (1.0 / float(history.temperature_at(t)) - 1.0 / (reference_c + 273.15))
    )


def test_a_block_is_its_steps_written_out():
    block = (Step(650, 10, 50), Step(600, 5, 25))
    repeated = Schedule((Step(210, 48), Repeat(3, block)))
    out = Schedule((Step(210, 48), *block, *block, *block))
    np.testing.assert_array_equal(repeated.times_s, out.times_s)
    np.testing.assert_array_equal(repeated.temperatures_k, out.temperatures_k)
    assert repeated.hold_at_peak_h == 30
    assert repeated.dose_h(250, 650) == out.dose_h(250, 650)
    assert repeated.short_name == "210/48 + 3×(650/10 + 600/5) h"


def test_blocks_stand_in_blocks():
    schedule = Schedule((Repeat(2, (Repeat(3, (Step(650, 1),)), Step(600, 1))),))
    assert schedule.total_h == 8
    assert schedule.short_name == "2×(3×(650/1) + 600/1) h"


def test_a_furnace_that_repeats_beyond_reason_is_refused():
    with pytest.raises(StudyError, match="1000000 steps"):
        Schedule((Repeat(1000, (Repeat(1000, (Step(650, 1),)),)),))
    with pytest.raises(StudyError, match="whole number"):
        Repeat(0, (Step(650, 1),))
    with pytest.raises(StudyError, match="nothing to repeat"):
        Repeat(2, ())


SWINGING = Schedule((Step(650, 10.3, 50, amplitude_k=15, period_h=2), Step(400, 1, 100)))


def test_a_swing_is_a_sine_about_the_hold():
    begin = 12.5  # 625 K at 50 K/h
    at = SWINGING.temperature_at((begin + np.array([0.0, 0.5, 1.0, 1.5, 4.5])) * 3600.0) - 273.15
    np.testing.assert_allclose(at, [650, 665, 650, 635, 665], atol=1e-9)
    assert SWINGING.temperature_at(SWINGING.total_h * 3600) == pytest.approx(673.15)
    assert SWINGING.highest_c == pytest.approx(665)
    assert SWINGING.peak_c == 650
    assert SWINGING.short_name == "650±15/10.3 + 400/1 h"
    assert Schedule((Step(650, 0.2, None, 15, 2),)).highest_c == pytest.approx(650 + 15 * np.sin(0.2 * np.pi))


@pytest.mark.parametrize("energy", [0.0, 250.0, 1000.0])
@pytest.mark.parametrize("hours", [0.3, 4.0, 10.3])
def test_the_dose_of_a_swing_is_its_integral(energy, hours):
    schedule = Schedule((Step(650, hours, None, 60, 2),))
    edges = np.append(np.arange(0, hours, 0.5), hours) * 3600.0
    pieces = pairwise(edges)
    seconds = sum(quad(rate(schedule, energy, 640), a, b, epsabs=0, epsrel=1e-12)[0] for a, b in pieces)
    # both are good to about 1e-12; at the ends the quadrature rounds its time
    assert schedule.dose_h(energy, 640) == pytest.approx(seconds / 3600, rel=1e-10)


@settings(max_examples=40)
@given(limit=st.floats(560, 740), hours=st.floats(0.1, 9), amplitude=st.floats(1, 60), period=st.floats(0.5, 4))
def test_time_above_is_what_counting_finds(limit, hours, amplitude, period):
    schedule = Schedule((Step(650, hours, 50, amplitude, period), Step(600, 1, 80)))
    n = 40_000
    times = (np.arange(n) + 0.5) / n * schedule.times_s[-1]
    counted = np.mean(schedule.temperature_at(times) >= limit + 273.15) * schedule.total_h
    # every crossing of the limit is missed by at most half a point
    crossings = 2 * hours / period + 4
    assert schedule.time_above_h(limit) == pytest.approx(counted, abs=crossings * schedule.total_h / n)


HOLDS = st.tuples(st.integers(200, 900).map(float), st.sampled_from([0.5, 3.25, 48.0, 100.0])).map(lambda p: Step(*p))
STEPS = st.recursive(HOLDS, lambda inner: st.builds(Repeat, st.integers(1, 4), st.lists(inner, min_size=1, max_size=3)))
SCHEDULES = st.builds(Schedule, st.lists(STEPS, min_size=1, max_size=4))


@settings(max_examples=20)
@given(schedule=SCHEDULES)
def test_a_schedule_is_what_its_name_says(schedule):
    again = schedule_of_holds(schedule.short_name)
    np.testing.assert_array_equal(again.times_s, schedule.times_s)
    np.testing.assert_array_equal(again.temperatures_k, schedule.temperatures_k)


@settings(max_examples=40)
@given(holds=st.lists(HOLDS, min_size=2, max_size=5), where=st.floats(0.1, 0.9), energy=st.floats(0.0, 600.0))
def test_doses_of_holds_add_up_in_any_order_and_however_they_are_cut(holds, where, energy):
    dose = Schedule(holds).dose_h(energy, 650.0)
    first = holds[0]
    cut = tuple(first.model_copy(update={"hours": share * first.hours}) for share in (where, 1.0 - where))
    parts = [Schedule((one,)).dose_h(energy, 650.0) for one in holds]
    others = [Schedule(one).dose_h(energy, 650.0) for one in (holds[::-1], (*cut, *holds[1:]))]
    assert [*others, sum(parts)] == pytest.approx([dose] * 3, rel=1e-12)


@settings(max_examples=20)
@given(schedule=SCHEDULES, energy=st.floats(1.0, 600.0), low=st.floats(150.0, 900.0), more=st.floats(0.0, 200.0))
def test_hotter_is_more_dose_and_fewer_hours_lie_above_a_higher_limit(schedule, energy, low, more):
    hotter = Schedule(tuple(Step(s.hold_c + 10.0, s.hours) for s in written_out(schedule.steps)))
    assert hotter.dose_h(energy, 650.0) > schedule.dose_h(energy, 650.0)
    assert schedule.total_h + 1e-9 >= schedule.time_above_h(low) >= schedule.time_above_h(low + more)


def test_time_at_a_hold_counts_as_above_it():
    assert Schedule((Step(650, 100),)).time_above_h(650) == 100
    assert Schedule((Step(650, 100),)).time_above_h(650.001) == 0
    with pytest.raises(ValidityError):
        Schedule((Step(650, 100),)).time_above_h(-300)


def test_points_to_draw_follow_the_temperature():
    hours, celsius = SWINGING.curve()
    assert np.all(np.diff(hours) >= 0)
    np.testing.assert_allclose(celsius[1:-1], SWINGING.temperature_at(hours[1:-1] * 3600) - 273.15, atol=1e-6)
    assert celsius.max() > 664


def test_the_interval_of_the_dose_follows_from_that_of_q():
    # one hold: ln(dose) is linear in Q, so quantiles of Q become quantiles of the dose
    schedule = Schedule((Step(650, 100),))
    found = schedule.dose(250, 25, 680)
    ends = [schedule.dose_h(250 + z * 25, 680) for z in (norm.ppf(0.84), norm.ppf(0.16))]
    # 2001 points of probability: the quantile is off by less than 1e-3 of a standard deviation
    np.testing.assert_allclose([found.low, found.high], ends, rtol=1e-3)
    assert found.hours == schedule.dose_h(250, 680)


@pytest.mark.slow
def test_the_interval_holds_where_the_dose_turns():
    # above and below the reference: the dose has its minimum inside the interval of Q
    schedule = Schedule((Step(600, 30), Step(700, 3)))
    some = np.linspace(0, 600, 601)
    curve = schedule.doses_h(some, 650)
    q = float(some[np.argmin(curve)])
    assert 50 < q < 550
    found = schedule.dose(q, 60, 650)
    drawn = np.abs(norm.ppf((np.arange(20_000) + 0.5) / 20_000, q, 60))
    expected = np.quantile(schedule.doses_h(drawn, 650), [0.16, 0.84])
    np.testing.assert_allclose([found.low, found.high], expected, rtol=2e-3)
    assert found.low < found.hours * 1.01  # the centre is the least


@pytest.mark.slow
@pytest.mark.parametrize(("q", "u"), [(300.0, 100.0), (0.0, 100.0), (1000.0, 1000.0)])
def test_the_interval_is_that_of_all_its_doses(q, u):
    schedule = Schedule((Step(210, 480, 25), Step(800, 1, 500)))
    cut = norm.cdf(0.0, q, u)
    energies = norm.ppf(cut + (1.0 - cut) * (np.arange(2001) + 0.5) / 2001, q, u)
    found = schedule.dose(q, u, 600)
    # rounding alone: none of the two goes by interpolated doses
    ends = np.quantile(schedule.doses_h(energies, 600), [0.16, 0.84])
    np.testing.assert_allclose([found.low, found.high], ends, rtol=1e-12)


def test_without_doubt_about_q_there_is_no_interval():
    found = Schedule((Step(650, 100),)).dose(250, 0, 680)
    assert found.low == found.high == found.hours
    with pytest.raises(ValidityError, match="uncertainty of Q"):
        Schedule((Step(650, 100),)).dose(250, -1, 680)
    with pytest.raises(ValidityError, match="level"):
        Schedule((Step(650, 100),)).dose(250, 1, 680, level=68)


def test_a_log_of_a_schedule_has_its_dose():
    schedule = Schedule((Step(210, 48, 25), Step(665, 75, 50)))
    hours, _ = schedule.curve()
    # every minute, and the corners
    fine = np.unique(np.concatenate([hours, np.arange(0, schedule.total_h, 1 / 60)]))
    log = LoggedTreatment(fine, schedule.temperature_at(fine * 3600) - 273.15)
    # pieces of a minute take the quadrature, whole ramps the closed form
    assert log.dose_h(300, 650) == pytest.approx(schedule.dose_h(300, 650), rel=1e-10)
    assert log.time_above_h(600) == pytest.approx(schedule.time_above_h(600), rel=1e-9)
    assert log.highest_c == pytest.approx(665)
    assert (log.peak_c, log.hold_at_peak_h) == (665.0, 75.0)  # 6 min of the ramp are within 5 K and no part of the hold


def _logged(noise_k=0.0, swing_k=0.0, overshoot_k=0.0):
    """675 °C/100 h after a ramp of 50 K/h, as a furnace runs it: a line a minute."""
    hours = np.arange(0.0, 113.0, 1 / 60)
    set_point = np.where(hours < 13.0, 25.0 + 50.0 * hours, 675.0)
    swing = np.where(hours > 13.0, swing_k * np.sin(np.pi * hours), 0.0)
    overshoot = np.where((hours > 13.0) & (hours < 13.3), overshoot_k, 0.0)
    noise = noise_k * np.random.default_rng(8).standard_normal(hours.size)
    return LoggedTreatment(hours, set_point + swing + overshoot + noise)


@pytest.mark.parametrize(
    "log", [_logged(), _logged(noise_k=1.0), _logged(swing_k=5.0), _logged(1.0, 3.0), _logged(0.5, 0.0, 12.0)]
)
def test_what_a_furnace_adds_to_its_set_point_makes_no_other_treatment(log):
    assert log.short_name == "log to 675 °C/100 h"
    assert log.highest_c == pytest.approx(log.temperatures_c.max())


def test_an_hour_at_a_higher_temperature_is_a_hold_and_less_is_an_overshoot():
    for hours, peak in ((0.5, 650.0), (2.0, 700.0)):
        times = np.array([0.0, 12.0, 62.0, 62.1, 62.1 + hours, 62.2 + hours, 112.0])
        log = LoggedTreatment(times, np.array([25.0, 650.0, 650.0, 700.0, 700.0, 650.0, 650.0]))
        assert (log.peak_c, log.highest_c) == (peak, 700.0)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((650, 1, None, -5, 1), "amplitude_k: a swing of -5 K"),
        ((650, 1, None, 1000, 1), "amplitude_k: a swing of 1000 K about 650"),
        ((650, 1, None, 5, None), "period_h: is missing"),
        ((650, 1, None, 5, 0), "period_h: a period of 0 h"),
        ((650, 1, None, 0, 2), "amplitude_k: is missing"),
    ],
)
def test_swings_that_cannot_be(values, message):
    with pytest.raises(StudyError) as caught:
        Step(*values)
    assert str(caught.value).startswith(message)
