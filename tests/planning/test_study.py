"""Plans of lots of a study that is made up."""

import numpy as np
import pytest

from tests.planning.lots import BEFORE, POINTS, current, study
from xrdorder.exceptions import StudyError
from xrdorder.planning.observations import niobium_reacted, wires_of
from xrdorder.planning.planner import TC
from xrdorder.planning.study import plan_lot
from xrdorder.planning.window import Candidates, HoldBound, Limits, inside_usual
from xrdorder.superconductivity.currents import Conditions
from xrdorder.treatments import Schedule, Step

CONDITIONS = Conditions(4.2, strain=-0.002)


def planned(made, fields=(12.0,), limits=None, **more):
    return plan_lot(made[0], made[1], "heron", CONDITIONS, fields, limits, route="internal-tin", **more)


@pytest.fixture(scope="module")
def measured():
    return planned(study(fields=(12.0,)), number=3)


@pytest.fixture(scope="module")
def unmeasured():
    return planned(study())


def test_with_currents_the_best_measured_is_named_and_claims_are_right(measured):
    (plan,) = measured.plans
    values = [current(one.peak_c, one.hold_at_peak_h, 12.0) for one in plan.treatments]
    assert values[plan.best] > (1.0 - plan.direct.visible) * max(values)
    assert plan.differ and measured.amperes
    pairs = [(a, b) for a in range(8) for b in range(8) if plan.better(a, b)]
    assert pairs and all(values[a] > values[b] for a, b in pairs)
    # repeatability of 2.2 % and a reading of 0.3 A of some 38
    assert plan.direct.visible == pytest.approx(1.96 * np.sqrt(2) * np.hypot(0.022, 0.3 / 38), rel=0.02)


def test_proposals_lie_one_step_beyond_what_was_reacted(measured):
    (plan,) = measured.plans
    assert 1 <= len(plan.proposals) <= 3
    for one in plan.proposals:
        assert 620 - 25 <= one.schedule.peak_c <= 710 + 25
        assert one.rrr[0] < one.rrr[1] < one.rrr[2] and one.rrr[1] >= 100.0
    assert len({one.schedule.short_name for one in plan.proposals}) == len(plan.proposals)


def test_amperes_are_those_of_the_wires(measured):
    (plan,) = measured.plans
    told = np.exp(plan.draws.mean(axis=0))
    truth = [current(one.peak_c, one.hold_at_peak_h, 12.0) for one in plan.treatments]
    # measured to 2 % each; the laws pull by some per cent more
    assert np.abs(np.log(told / truth)).max() < 0.12


def test_without_currents_proposals_stay_inside_the_makers_window(unmeasured):
    (plan,) = unmeasured.plans
    assert not plan.differ and not unmeasured.amperes and "makers' usual window" in plan.region
    assert not any(plan.better(a, b) for a in range(8) for b in range(8))
    for one in plan.proposals:
        at = np.array([[one.schedule.peak_c], [one.schedule.hold_at_peak_h]])
        assert one.replicate or inside_usual(unmeasured.process.route, *at).all()
    assert not unmeasured.process.process.narrow


def test_two_treatments_with_currents_make_the_priors_narrow(measured):
    assert measured.process.process.narrow


def test_tc_is_planned_by_the_stored_draws_without_a_field():
    found = planned(study(), (), maximise="Tc")
    (plan,) = found.plans
    assert plan.objective is TC and found.noun(0) == "Tc"
    assert 14.0 < plan.draws.mean() < 19.0
    assert set(dict(part for one in found.wires.observed for part in one.parts)) >= {"tc"}


def test_copper_that_was_measured_rules_out_hot_treatments():
    # rrr of the study falls to a third over 44 K: 300 at 620 °C, 32 at 710 °C
    made = study(fields=(12.0,), rrr=True)
    found = planned(made, number=1)
    (plan,) = found.plans
    assert found.rrr_wires == 8
    hot = plan.candidates.temperature_c >= 690.0
    assert not plan.allowed[hot].any()
    low = planned(made, limits=Limits(rrr_above=30.0)).plans[0]
    assert low.allowed[low.candidates.temperature_c >= 690.0].any()


def test_earlier_plateaus_are_kept():
    found = planned(study(before=BEFORE))
    for one in found.plans[0].proposals:
        assert one.schedule.steps[:2] == BEFORE
        assert found.label(one.schedule).count("/") == 1
    assert found.process.alike_before


def test_schedules_of_all_kinds_are_planned_together():
    made, treatments = study(points=POINTS[:4])
    names = list(treatments)
    treatments[names[0]] = Schedule((Step(570, 100, 50), Step(650, 50, 50, 10.0, 2.0)))
    found = planned((made, treatments))
    assert any("earlier plateaus" in note for note in found.notes)
    assert np.isfinite(found.plans[0].draws).all()


def test_niobium_that_is_left_is_conversion():
    left = np.array([0.2, np.nan] + [0.05] * 6)
    made, _ = study(niobium=left)
    found = niobium_reacted(made)
    assert found.samples == tuple(made["sample"].values)
    # 0.701 of the A15 by weight is niobium; what is not found counts as all reacted within the limit
    assert found.value[0] == pytest.approx(0.701 * 0.8 / (0.701 * 0.8 + 0.2))
    assert found.value[1] == 1.0 and 0.0 < found.own[1] < 0.01
    assert "niobium" in wires_of(made, study()[1], "current", 4.2).coming


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        (lambda: Limits(700, 650), "no range"),
        (lambda: Limits(most_hours=10, least_hours=20), "no range"),
        (lambda: Limits(740, 800), "exclude every wire reacted \\(620 to 710 °C\\)"),
        (lambda: Limits(most_c=600), "exclude every wire reacted"),
        (lambda: Limits(least_hours=300), "exclude every wire reacted \\(50 to 200 h\\)"),
        (lambda: Limits(total_h=2.0), "no treatment fits into 2 h"),
        (lambda: Limits(step_c=0.01), "take larger steps"),
        (lambda: Limits(step_c=0.0), "lead nowhere"),
        (lambda: Limits(640, 700, holds=(HoldBound(600.0, 1.0),)), "keeps to at most 1 h at or above 600 °C"),
    ],
)
def test_limits_that_cannot_be_are_refused(unmeasured, limits, said):
    with pytest.raises(StudyError, match=said):
        given = limits()
        given.require_reacted(unmeasured.wires.treatments)
        candidates = Candidates.of(given, unmeasured.wires.treatments)
        from xrdorder.planning.study import _require_allowed

        _require_allowed((), candidates, given)


def test_states_in_which_nothing_is_superconducting_are_refused():
    made = study()
    with pytest.raises(StudyError, match="40 T is above the estimated Bc2 of every wire"):
        planned(made, (40.0,))
    with pytest.raises(StudyError, match="25 K is above the estimated Tc of every wire"):
        plan_lot(made[0], made[1], "heron", Conditions(25.0), (12.0,))


def test_a_proposal_names_what_limits_it():
    found = planned(study(fields=(12.0,)), limits=Limits(most_c=640.0, rrr_above=1.0))
    told = {name for one in found.plans[0].proposals for name in one.limits}
    assert "the furnace limits" in told or found.plans[0].proposals[0].schedule.peak_c < 640.0
    tight = planned(study(), limits=Limits(rrr_above=180.0))
    assert not tight.plans[0].proposals or tight.plans[0].proposals[0].rrr[1] >= 180.0


def test_limits_of_the_wire_that_leave_nothing_are_told():
    found = planned(study(), limits=Limits(rrr_above=5000.0))
    assert not found.plans[0].proposals
    assert "RRR of 5000" in found.plans[0].reason


@pytest.mark.slow
def test_two_hundred_samples_are_planned():
    points = tuple((600.0 + 5.0 * (k % 25), 20.0 + 30.0 * (k // 25)) for k in range(200))
    found = planned(study(points=points, fields=(12.0,)))
    assert len(found.treatments) == 200 and found.plans[0].proposals
