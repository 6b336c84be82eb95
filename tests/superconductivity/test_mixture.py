"""Relations put together draw by draw."""

import dataclasses

import numpy as np
import pytest

from xrdorder.relations import Scatter, relation
from xrdorder.superconductivity.mixture import LOT_SHARE, Band, Common, ask, mix

N = 6000
LINE = dataclasses.replace(relation("devantay-1981-line"), scatter=Scatter("none, for this test"))
STEP = dataclasses.replace(relation("godeke-2006-boltzmann"), scatter=Scatter("none, for this test"))


def test_every_relation_takes_its_part():
    common = Common(N)
    answers = [ask(entry, np.full(N, 0.20), common=common) for entry in (LINE, STEP)]
    mixed = mix(answers, "Tc_K", common)
    assert np.unique(np.round(mixed, 3)).tolist() == pytest.approx([7.203, 9.429], abs=2e-3)
    # each draw chooses: standard error of a share 1 / (2 sqrt(n)), four of them
    assert np.mean(mixed > 8.0) == pytest.approx(0.5, abs=2 / np.sqrt(N))


def test_the_choice_is_the_same_for_everybody_and_another_for_another_question():
    one, two = Common(N, key="one"), Common(N, key="two", lot="B")
    both = (LINE, STEP)
    np.testing.assert_array_equal(one.choice("Tc_K", both), two.choice("Tc_K", both))
    assert np.mean(one.choice("Tc_K", both) == one.choice("another", both)) == pytest.approx(0.5, abs=2 / np.sqrt(N))


def test_what_is_outside_the_validity_is_replaced_by_what_is_inside():
    common = Common(N)
    tin = np.linspace(0.24, 0.26, N)
    answer = ask(LINE, tin, common=common)
    assert answer.share_inside == pytest.approx(0.5, abs=1e-3)
    mixed = mix([answer], "Tc_K", common)
    assert mixed.max() <= 18.0 + 1e-9 and np.all(np.isfinite(mixed))


def test_a_relation_that_loses_most_is_refused_with_the_reason():
    answer = ask(LINE, np.full(N, 0.30), common=Common(N))
    assert not answer.applies and "0.18 to 0.25" in answer.reason and "0.3" in answer.reason
    assert np.all(np.isnan(mix([answer], "Tc_K", Common(N))))
    assert np.all(np.isnan(mix([], "Tc_K", Common(N))))


def test_scatter_is_that_of_the_relation():
    answer = ask(relation("godeke-2006-boltzmann"), np.full(N, 0.23), common=Common(N, key="a"))
    # 0.8 K between 22 and 24 at.%; standard error of a standard deviation sigma / sqrt(2 n), four of them
    assert np.std(answer.draws) == pytest.approx(0.8, abs=4 * 0.8 / np.sqrt(2 * N))


def test_samples_of_a_lot_stray_in_part_together():
    entry = relation("godeke-2006-boltzmann")

    def draws(key, lot):
        return ask(entry, np.full(N, 0.23), common=Common(N, key=key, lot=lot)).draws

    # half of the variance is the lot's; standard error of a correlation at most 1 / sqrt(n), four of them
    assert np.corrcoef(draws("one", "A"), draws("two", "A"))[0, 1] == pytest.approx(LOT_SHARE, abs=4 / np.sqrt(N))
    assert abs(np.corrcoef(draws("one", ""), draws("two", ""))[0, 1]) < 4 / np.sqrt(N)
    assert abs(np.corrcoef(draws("one", "A"), draws("two", "B"))[0, 1]) < 4 / np.sqrt(N)


def test_bands_leave_out_what_could_not_be_had():
    band = Band.of(np.array([1.0, 2.0, np.nan, 3.0]))
    assert float(band.median) == 2.0
    assert np.isnan(float(Band.of(np.full(3, np.nan)).low))
    columns = Band.of(np.tile([1.0, 5.0], (10, 1)))
    np.testing.assert_array_equal(columns.high, [1.0, 5.0])
