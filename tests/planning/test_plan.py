"""What is called best, what is proposed, and when nothing is said."""

from functools import partial

import numpy as np
import pytest
from scipy.stats import binom, f_oneway

from tests.planning.made import FURNACE, POINTS, SPACE, hill, measured, reacted
from xrdorder.comparison import Values, compare, repeatability
from xrdorder.exceptions import StudyError
from xrdorder.planning import Furnace, HoldBound, Space, equal_by_chance, measured_limit, plan, plan_words
from xrdorder.planning.information import after, choose, worths
from xrdorder.planning.planner import _promising

CHANCE = 1e-3


def best_inside(space, truth):
    return space.candidates[int(np.argmax(truth(space.candidates)))]


def test_the_best_reacted_treatment_is_named_with_its_doubt():
    treatments = reacted()
    true = hill(treatments)
    found = plan(measured(true), treatments, SPACE)
    assert found.state == "ok"
    assert found.best.treatment == treatments[int(np.argmax(true))].short_name
    assert found.best.u > 0.09  # the common error of 0.1 is in the value
    assert 0.5 < found.best.probability <= 1
    assert found.best.expected_gain >= 0


def test_small_may_be_good():
    treatments = reacted()
    large = plan(measured(hill(treatments)), treatments, SPACE, number=3)
    values = measured(hill(treatments))
    mirrored = Values("size", values.samples, -values.value, values.shared, values.private)
    small = plan(mirrored, treatments, SPACE, maximise=False, number=3)
    assert small.best.treatment == large.best.treatment
    assert small.best.value == pytest.approx(-large.best.value)
    assert [p.schedule for p in small.proposals] == [p.schedule for p in large.proposals]
    assert small.proposals[0].difference == pytest.approx(-large.proposals[0].difference)
    assert small.proposals[0].chance_better == pytest.approx(large.proposals[0].chance_better)


def test_proposals_keep_the_limits_and_tell_what_to_expect():
    treatments = reacted()
    furnace = Furnace((600, 700), (10, 150), 50, 120, step_c=10)
    space = Space(furnace)
    found = plan(measured(hill(treatments)), treatments, space, number=3)
    assert 1 <= len(found.proposals) <= 3
    for one in found.proposals:
        assert one.schedule in space.candidates
        assert one.schedule.total_h <= 120
        assert 0 <= one.chance_better <= 1
        assert one.worth > 0
        # what all values share drops out of the difference
        assert one.u_difference < one.u
    assert found.proposals[0].worth == max(one.worth for one in found.proposals)
    assert len({one.schedule for one in found.proposals}) == len(found.proposals)


def test_proposals_lead_to_the_summit():
    treatments = reacted(POINTS[:6])
    top = (0.25, 0.75)  # none of the starts is near
    for seed in (1, 2):
        values = measured(hill(treatments, top=top), seed=seed)
        found = plan(values, treatments, SPACE, number=3)
        true = hill([one.schedule for one in found.proposals], top=top)
        assert np.max(true) > np.max(hill(treatments, top=top))


@pytest.mark.parametrize("number", [1, 2, 3])
def test_too_few_treatments_name_nothing(number):
    treatments = reacted(POINTS[:3])
    found = plan(measured(hill(treatments)), treatments, SPACE, number=number)
    assert (found.state, found.best) == ("too few", None)
    assert len(found.proposals) == number
    assert "too few" in plan_words(found)[0]
    with pytest.raises(StudyError, match="too few"):
        found.surface(treatments)


def test_twice_the_same_treatment_is_one():
    treatments = [*reacted(POINTS[:3]), *reacted(POINTS[:3])]
    assert plan(measured(hill(treatments)), treatments, SPACE).state == "too few"


def test_nothing_reacted_begins_in_the_middle():
    none = Values("Jc", (), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)))
    found = plan(none, [], SPACE, number=3)
    assert found.state == "too few"
    middle = SPACE.coordinates([found.proposals[0].schedule])[0]
    np.testing.assert_allclose(middle, 0.5, atol=0.06)  # of the grid


def test_flat_values_name_nothing_and_ask_for_the_far_away():
    treatments = reacted()
    found = plan(measured(np.ones(8)), treatments, SPACE, number=2)
    assert (found.state, found.best, found.distinguishable) == ("flat", None, False)
    assert "not distinguishable" in plan_words(found)[0]
    assert all(np.isfinite(one.predicted) and np.isnan(one.worth) for one in found.proposals)


def test_equality_by_chance_is_an_f_test_where_only_replicates_tell():
    groups = [[1.0, 1.2, 0.9], [1.6, 1.7, 1.4], [1.3, 1.1, 1.6]]
    value = np.ravel(groups)
    values = Values("x", tuple("abcdefghi"), value, np.zeros((9, 0)), np.zeros((9, 0)))
    means = Values("x", tuple("abc"), np.mean(groups, axis=1), np.zeros((3, 0)), np.zeros((3, 0)))
    rep = repeatability(values, list("aaabbbccc"))
    of_means = rep.__class__(
        rep.u / 3**0.5, rep.degrees_of_freedom, np.nan, np.nan, np.nan, rep.nodes / 3**0.5, rep.weights
    )
    # the weights over the scatter are a sum in steps
    assert equal_by_chance(means, of_means) == pytest.approx(f_oneway(*groups).pvalue, rel=0.01)


def test_equality_by_chance_is_uniform_where_nothing_differs():
    p = np.array([equal_by_chance(measured(np.zeros(6), seed=seed, common=1.0)) for seed in range(1000)])
    for limit in (0.01, 0.05, 0.5):
        low, high = binom.ppf([CHANCE / 2, 1 - CHANCE / 2], 1000, limit)
        assert low <= np.sum(p < limit) <= high


def test_repeatability_makes_differences_vanish():
    treatments = reacted()
    values = measured(0.1 * hill(treatments), own=0.005)
    pairs = Values("Jc", tuple(f"p{k}" for k in range(8)), np.tile([0.0, 0.2], 4), np.zeros((8, 0)), np.zeros((8, 0)))
    scatter = repeatability(pairs, [f"v{k // 2}" for k in range(8)])
    assert plan(values, treatments, SPACE).state == "ok"
    assert plan(values, treatments, SPACE, repeatability=scatter).state == "flat"


def test_samples_without_a_treatment_are_left_out():
    treatments = [*reacted(), None]
    found = plan(measured(np.append(hill(reacted()), 5.0)), treatments, SPACE)
    assert found.best.value < 2
    assert "without a heat treatment" in " ".join(found.notes)


def test_a_bound_on_temperature_and_time_is_kept():
    treatments = reacted()
    bound = HoldBound(660.0, 0.0)
    found = plan(measured(hill(treatments, top=(0.9, 0.9))), treatments, SPACE, constraints=[bound], number=3)
    assert all(one.schedule.peak_c < 660 for one in found.proposals)
    assert found.best.schedule.peak_c < 660
    # the shortest hold, 10 h, and 2 h from 500 to 600 °C at 50 K/h
    with pytest.raises(StudyError, match=r"keeps: at most 0 h at or above 500 .* by least, 12 h, ramps counted"):
        plan(measured(hill(treatments)), treatments, SPACE, constraints=[HoldBound(500, 0)])


def test_a_measured_limit_is_kept():
    treatments = reacted()
    ratio = 200 * np.exp(-3 * SPACE.coordinates(treatments)[:, 0])  # falls with temperature
    limit = measured_limit(
        "resistivity ratio",
        measured(ratio, own=3, common=1, quantity="ratio"),
        treatments,
        SPACE,
        at_least=60.0,
        logarithmic=True,
    )
    at = [FURNACE.schedule(t, 80, 50) for t in (610, 740)]
    np.testing.assert_allclose(limit.probability(at), [1, 0], atol=0.02)
    found = plan(measured(hill(treatments, top=(0.9, 0.6))), treatments, SPACE, constraints=[limit], number=3)
    true = 200 * np.exp(-3 * SPACE.coordinates([p.schedule for p in found.proposals])[:, 0])
    assert np.all(true > 50)
    assert found.best.schedule.peak_c < 665
    assert limit.words == "resistivity ratio at least 60"


def test_a_limit_nobody_keeps_names_no_best():
    treatments = reacted()
    niobium = measured(np.full(8, 0.10) + 0.1 * SPACE.coordinates(treatments)[:, 1], own=0.003, common=0.001)
    limit = measured_limit("leftover niobium", niobium, treatments, SPACE, at_most=0.105)
    found = plan(measured(hill(treatments)), treatments, SPACE, constraints=[limit])
    assert found.state in ("ok", "not allowed")
    strict = measured_limit("leftover niobium", niobium, treatments[:8], SPACE, at_least=0.19, at_most=0.2)
    found = plan(measured(hill(treatments)), treatments, SPACE, constraints=[strict])
    assert (found.state, found.best) == ("not allowed", None)
    assert "none of the 8 treatments keeps" in plan_words(found)[0]
    assert found.proposals


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({}, "has no limit"),
        ({"at_least": 0.0, "logarithmic": True}, "not above zero"),
    ],
)
def test_limits_that_make_no_sense(arguments, message):
    treatments = reacted()
    with pytest.raises(StudyError, match=message):
        measured_limit("ratio", measured(np.full(8, 100.0)), treatments, SPACE, **arguments)
    with pytest.raises(StudyError, match="give a bound"):
        measured_limit("ratio", measured([1.0, 2.0]), treatments[:2], SPACE, at_least=1)


def test_wrong_use():
    treatments = reacted()
    with pytest.raises(ValueError, match="1 to 3"):
        plan(measured(hill(treatments)), treatments, SPACE, number=4)
    with pytest.raises(ValueError, match="one a sample"):
        plan(measured(hill(treatments)), treatments[:3], SPACE)


def test_what_all_values_share_does_not_change_the_proposals():
    treatments = reacted()
    plain = plan(measured(hill(treatments), common=0.0), treatments, SPACE, number=3)
    values = measured(hill(treatments), common=0.0)
    common = Values("Jc", values.samples, values.value, np.full((8, 1), 3.0), values.private)
    found = plan(common, treatments, SPACE, number=3)
    assert [one.schedule for one in found.proposals] == [one.schedule for one in plain.proposals]
    assert found.proposals[0].worth == pytest.approx(plain.proposals[0].worth, rel=1e-3)
    assert found.proposals[0].u == pytest.approx(np.hypot(plain.proposals[0].u, 3.0), rel=1e-3)


def test_without_noise_the_worth_is_expected_improvement():
    """One reacted place known exactly: E max(f - best, 0) in closed form."""
    from scipy.stats import norm

    mean = np.array([1.0, 0.8])
    covariance = np.diag([0.0, 0.25])
    found = worths(mean, covariance, 0.0, np.array([0.0, 1.0]), np.array([0]), np.array([True, True]))
    z = (0.8 - 1.0) / 0.5
    # a sum in steps of a fifth over a function with a kink is good to (0.2)² / 12 of the density there
    assert found[1] == pytest.approx(0.5 * (z * norm.cdf(z) + norm.pdf(z)), abs=0.5 * 0.04 / 12)


def test_measuring_leaves_less_to_know():
    covariance = np.array([[1.0, 0.5], [0.5, 1.0]])
    left = after(covariance, 0, 0.25)
    np.testing.assert_allclose(left, [[0.2, 0.1], [0.1, 0.8]])


@pytest.mark.slow
def test_five_hundred_samples_are_planned():
    random = np.random.default_rng(0)
    points = [(600 + 5 * random.integers(0, 31), random.choice([20, 50, 100, 200])) for _ in range(500)]
    treatments = reacted(points)
    found = plan(measured(hill(treatments)), treatments, SPACE, number=3)
    assert found.state == "ok" and len(found.treatments) == 500


def test_differences_have_lost_what_all_values_share():
    treatments = reacted()
    found = plan(measured(hill(treatments)), treatments, SPACE)
    value, u = found.differences(treatments, treatments[2])
    absolute, u_absolute = found.surface(treatments)
    np.testing.assert_allclose(value, absolute - absolute[2], atol=1e-9)
    assert u[2] == pytest.approx(0.0, abs=1e-6) and np.all(u < u_absolute)
    values = measured(hill(treatments))
    negative = Values("size", values.samples, -values.value, values.shared, values.private)
    mirrored = plan(negative, treatments, SPACE, maximise=False)
    np.testing.assert_allclose(mirrored.differences(treatments, treatments[2])[0], -value, atol=1e-9)


def test_what_a_measurement_leaves_is_less_than_the_doubt_before_it():
    treatments = reacted()
    found = plan(measured(hill(treatments)), treatments, SPACE, number=2)
    for one in found.proposals:
        # the noise of a wire and what is left of the doubt about the best
        assert 0.0 < one.u_after < one.u_difference
        assert one.u_after < 2.0 * 0.02 * 2.0**0.5
    assert f"shrink to {found.proposals[0].u_after:.2g}" in " ".join(plan_words(found))


def test_a_summit_at_a_limit_of_the_furnace_is_told():
    treatments = reacted()
    rising = plan(measured(SPACE.coordinates(treatments)[:, 0]), treatments, SPACE)
    assert any("upper limit of the temperature" in note for note in rising.notes)
    inside = plan(measured(hill(treatments)), treatments, SPACE)
    assert not any("limit of the" in note for note in inside.notes)


def test_nothing_is_said_of_a_limit_where_no_wires_differ():
    """All wires had one ramp, so whether more of it would be better is not known."""
    treatments = reacted()
    space = Space(Furnace((600.0, 750.0), (10.0, 300.0), (30.0, 100.0), 400.0, step_c=25.0), (300.0, 650.0))
    assert space.varied(treatments).tolist() == [True, True, False]
    notes = " ".join(plan(measured(hill(treatments)), treatments, space).notes)
    assert "limit of the ramp" not in notes
    assert "all wires had about the same ramp" in notes
    ramps = [FURNACE.schedule(one.peak_c, one.hold_at_peak_h, 30.0 + 10.0 * k) for k, one in enumerate(treatments)]
    assert space.varied(ramps).all()
    assert "same ramp" not in " ".join(plan(measured(hill(ramps)), ramps, space).notes)


def test_what_was_reacted_is_known_alike_whatever_the_furnace_may_do():
    treatments = reacted()
    values = measured(hill(treatments), own=0.3)
    wide = Space(Furnace((500.0, 900.0), (10.0, 3000.0), 50.0, step_c=10.0))
    near, far = (plan(values, treatments, one).differences(treatments, treatments[0]) for one in (SPACE, wide))
    for one, two in zip(near, far, strict=True):
        # the search ends at differences of the likelihood of 1e-9
        np.testing.assert_allclose(two, one, rtol=1e-4, atol=1e-6)


def test_wires_themselves_are_told_as_a_comparison_tells_them():
    treatments = [*reacted(), *reacted()[:3]]
    values = measured(np.append(hill(reacted()), hill(reacted())[:3]), own=0.3)
    labels = [one.short_name for one in treatments]
    scatter = repeatability(values, labels)
    found = plan(values, treatments, SPACE, repeatability=scatter)
    other = SPACE.candidates[0]
    direct = found.direct([*treatments, other], treatments[1])
    compared = compare(values, labels, reference=labels[1], scatter=scatter)
    for k, label in enumerate(labels):
        if label != labels[1]:
            assert direct.difference[k] == pytest.approx(compared.pair(label, labels[1]).value, abs=1e-12)
    # of equal doubt, so a plain mean; their difference by hand
    pairs = [(values.value[k] + values.value[8 + k]) / 2.0 for k in (0, 1)]
    assert direct.difference[0] == pytest.approx(pairs[0] - pairs[1])
    assert direct.u_difference[0] == pytest.approx((0.3**2 + scatter.u**2) ** 0.5)
    assert np.isnan(direct.difference[-1]) and np.isnan(direct.u_difference[-1])
    # a surface that takes most of it for noise is drawn together
    surface, _ = found.differences(treatments, treatments[1])
    assert np.ptp(surface) < np.ptp(direct.difference[:-1])
    assert np.isnan(found.direct(treatments, other).difference).all()


def test_what_is_not_worth_a_furnace_is_not_proposed():
    points = [(t, h) for t in range(620, 720, 10) for h in (40, 80, 120, 160)]  # the summit is well known
    treatments = reacted(points)
    own = 0.02
    found = plan(measured(hill(treatments), own=own), treatments, SPACE, number=3)
    assert found.best is not None and len(found.proposals) < 3
    assert all(one.worth >= 0.05 * own for one in found.proposals)
    told = " ".join(plan_words(found))
    assert "may stop" in told and told.count("react ") == len(found.proposals)


def test_what_is_hardly_better_is_not_proposed_for_its_long_tail():
    mean = np.array([1.0, 0.7, 0.9, 1.0])
    covariance = np.diag([0.0, 0.04, 0.0025, 0.0])
    covariance[0, 3] = covariance[3, 0] = covariance[3, 3] = covariance[0, 0] = 1e-4
    # 1.5 and 2 of their u below the best, so better with 0.07 and 0.02; the last is the best itself, a second wire
    assert _promising(mean, covariance, 0).tolist() == [True, True, False, True]
    treatments = reacted()
    for top in ((0.4, 0.6), (0.1, 0.2)):
        found = plan(measured(hill(treatments, top=top), own=0.01), treatments, SPACE, number=3)
        assert all(one.chance_better >= 0.05 or one.u_difference < 1e-6 for one in found.proposals)


def test_a_batch_ends_where_worth_ends():
    mean, covariance = np.array([1.0, 0.8, 0.5]), np.diag([0.0, 0.25, 0.04])
    chosen = partial(
        choose, mean, covariance, 0.0, np.array([0.0, 1.0, 1.0]), np.array([0]), np.ones(3, dtype=bool), 3
    )
    # 0.5 (z Phi(z) + phi(z)) = 0.115 at z = -0.4; the other lies 2.5 of its u below the best
    assert [one.candidate for one in chosen(least=0.1)] == [1]
    assert chosen(least=0.12) == []
    assert [one.candidate for one in chosen()] == [1, 2]


def test_a_best_outside_the_limits_is_told():
    treatments = reacted()
    cold = Space(Furnace((600.0, 640.0), (10.0, 300.0), 50.0, step_c=10.0))
    found = plan(measured(hill(treatments, top=(0.9, 0.6))), treatments, cold)
    assert any("outside the limits" in note for note in found.notes)


def test_treatments_are_named_as_told():
    treatments = reacted()
    found = plan(measured(hill(treatments)), treatments, SPACE, label=lambda one: f"at {one.peak_c:g}")
    assert found.best.treatment == f"at {found.best.schedule.peak_c:g}"
    assert f"react at {found.proposals[0].schedule.peak_c:g}" in " ".join(plan_words(found))


def test_the_far_away_is_not_asked_for_where_constraints_break():
    treatments = reacted(POINTS[:3])
    found = plan(measured(np.ones(3)), treatments, SPACE, constraints=[HoldBound(680.0, 0.0)], number=3)
    assert all(one.schedule.peak_c < 680.0 for one in found.proposals)


def test_a_treatment_may_be_asked_for_again_and_is_called_so():
    """Two treatments alone may be had, and the better one is badly known."""
    two = Space(Furnace((640.0, 650.0), (100.0, 100.0), 50.0, step_c=10.0))
    points = ((640, 100), (650, 100), (620, 100), (660, 100))
    treatments = reacted(points)
    own = np.array([[0.3], [0.3], [0.02], [0.02]])
    values = Values("J", tuple("abcd"), np.array([2.0, 2.0, 0.0, 0.0]), np.zeros((4, 0)), own)
    found = plan(values, treatments, two)
    assert found.proposals[0].schedule.peak_c in (640, 650)
    assert f"react {found.proposals[0].schedule.short_name} again" in " ".join(plan_words(found))


def test_what_a_batch_adds_is_told_as_an_addition():
    treatments = reacted()
    found = plan(measured(hill(treatments)), treatments, SPACE, number=2)
    first, second = (line for line in plan_words(found) if line.startswith("react"))
    assert "once it is measured the best is expected to gain" in first
    assert "once it is measured as well the best is expected to gain another" in second
