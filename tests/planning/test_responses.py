"""What samples say of the quantities a treatment is chosen by."""

import numpy as np
import pytest

from tests.planning.lots import POINTS, current, study
from tests.planning.made import SPACE, reacted
from xrdorder.comparison import Values, values_from_draws, values_of
from xrdorder.exceptions import StudyError
from xrdorder.planning.responses import (
    BC2,
    DOMAINS,
    OF_LIMIT,
    TC,
    _with_own,
    leftover_niobium,
    measured_values,
    responses,
    scatter,
)
from xrdorder.superconductivity.currents import Conditions

CONDITIONS = Conditions(4.2, strain=-0.002)


def by_key(found):
    return {one.key: one for one in found}


def test_all_quantities_are_taken_out_with_the_currents_first():
    results, _ = study()
    found = responses(results, CONDITIONS, (12.0, 15.0))
    assert [one.key for one in found] == ["current_12T", "current_15T", BC2, TC, DOMAINS]
    assert [one.maximise for one in found] == [True, True, True, True, False]
    assert all(len(one.values) == len(POINTS) and not one.reason for one in found)
    # the mean of all samples is one; medians of skewed draws come within some per cent of it
    assert np.mean(found[0].values.value) == pytest.approx(1.0, abs=0.05)


def test_free_of_strain_a_plan_and_a_comparison_have_one_difference():
    """Tc and Bc2 at 4.2 K of the same wires: one set of draws, one law of temperature."""
    results, _ = study()
    planned = by_key(responses(results, Conditions(4.2, strain=0.0), (12.0,)))
    for key, name in ((TC, "Tc_K"), (BC2, "Bc2_4K2_T")):
        one, other = planned[key].values, values_of(results, name)
        # published functions of strain have their summit a little beside zero: 0.01 T at most
        np.testing.assert_allclose(one.value, other.value, atol=1e-9 if key == TC else 0.01)
        for second in one.samples[1:]:
            mine, theirs = (values.difference(one.samples[0], second) for values in (one, other))
            np.testing.assert_allclose(mine, theirs, atol=1e-9 if key == TC else 0.01)


def test_what_all_samples_share_is_not_in_differences():
    """One at.% and a half of common scale moves Bc2 of all by teslas, and their differences hardly."""
    results, _ = study()
    values = by_key(responses(results, CONDITIONS, (12.0,)))[BC2].values
    covariance = values.covariance()
    difference = np.sqrt(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1])
    assert values.u[0] > 3.0
    assert difference < 0.7 * np.hypot(values.u[0], values.u[1])


def test_shares_of_a_mean_get_back_what_each_has_of_its_own():
    random = np.random.default_rng(0)
    own, n = 0.1, 7
    draws = 5.0 + random.standard_normal(20_000) + own * random.standard_normal((n, 20_000))
    values = values_from_draws("J", tuple("abcdefg"), draws / draws.mean(axis=0))
    found = _with_own(values)
    assert values.own[0] < 1e-6  # the shares of every draw add up to seven
    left = np.eye(n) - 1.0 / n
    np.testing.assert_allclose(left @ found.covariance() @ left, left @ values.covariance() @ left, atol=1e-12)
    # of a mean of about five, one in thirty draws away from it by two fifths; least of seven from 20 000 draws
    assert found.own[0] == pytest.approx(own / 5.0, rel=0.15)


def test_a_field_above_bc2_is_said_and_not_planned():
    results, _ = study()
    found = by_key(responses(results, CONDITIONS, (30.0,)))
    assert found["current_30T"].values is None
    assert "at 30 T" in found["current_30T"].reason and "may be normal" in found["current_30T"].reason
    assert found[BC2].values is not None


def test_measured_currents_are_those_at_the_field_and_temperature():
    results, _ = study(fields=(12.0, 15.0))
    found = by_key(responses(results, CONDITIONS, (15.0, 16.0), measured=True))
    true = np.array([current(*point, 15.0) for point in POINTS])
    np.testing.assert_allclose(found["current_15T"].values.value, true / true.mean())
    reason = found["current_16T"].reason
    assert found["current_16T"].values is None and "give critical_current_a in study.toml" in reason
    assert len(measured_values(results, "critical_current_a", 5.0, 15.0)) == 0


def test_niobium_that_was_not_found_is_none_within_its_limit():
    niobium = np.array([0.1, 0.08, 0.09, 0.05, 0.04, np.nan, np.nan, np.nan])
    results, _ = study(niobium=niobium)
    found = leftover_niobium(results)
    assert len(found) == len(POINTS) and not found.left_out
    np.testing.assert_allclose(found.value, np.nan_to_num(niobium))
    np.testing.assert_allclose(found.own[:5], 0.003)
    np.testing.assert_allclose(found.own[5:], 0.01 / OF_LIMIT)
    with pytest.raises(StudyError, match="no sample tells it"):
        leftover_niobium(study()[0])


def test_scatter_is_that_of_replicates_and_a_summit_is_none():
    treatments = [*reacted(), *reacted()]
    x = SPACE.coordinates(treatments)
    summit = np.exp(-(((x[:, 0] - 0.4) / 0.2) ** 2))
    n = len(x)
    step = np.where(np.arange(n) < n // 2, 0.1, -0.1)
    values = Values("J", tuple(map(str, range(n))), summit + step, np.zeros((n, 0)), np.zeros((n, 0)))
    assert scatter(values, treatments, SPACE).u == pytest.approx(0.1 * np.sqrt(2.0))
    alone = values.select(range(n // 2))
    assert scatter(alone, treatments[: n // 2], SPACE).degrees_of_freedom == 0


def test_other_mounts_and_doubtful_fits_are_no_replicates():
    treatments = [reacted()[0]] * 4
    values = Values("a_nm", tuple("abcd"), np.array([0.0, 0.2, 5.0, 9.0]), np.zeros((4, 0)), np.zeros((4, 0)))
    alike = {"a": "ground powder", "b": "ground powder", "c": "polished section"}  # the fit of d is in doubt
    found = scatter(values, treatments, SPACE, alike)
    assert found.degrees_of_freedom == 1
    np.testing.assert_allclose(found.nodes, [0.2 / np.sqrt(2.0)])


def test_few_replicates_are_taken_at_their_word():
    treatments = [*reacted(), reacted()[0]]
    value = np.append(np.zeros(8), 0.2)
    values = Values("J", tuple(map(str, range(9))), value, np.zeros((9, 0)), np.zeros((9, 0)))
    found = scatter(values, treatments, SPACE)
    assert found.degrees_of_freedom == 1
    np.testing.assert_allclose(found.nodes, [0.2 / np.sqrt(2.0)])
