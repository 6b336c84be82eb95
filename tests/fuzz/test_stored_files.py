"""A small share of `stored_files`, which is run by hand for minutes."""

import os
import random

import pytest

from tests.fuzz.stored_files import Trials, make_study

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork"),
    # a child that is killed and never hands on to anything threads might hold
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]


@pytest.fixture(scope="module")
def trials(tmp_path_factory):
    return Trials(make_study(tmp_path_factory.mktemp("stored") / "study"), random.Random(4))


def test_the_next_run_after_any_damage_gives_the_same_table(trials):
    with trials.remembered():
        trials.damage(15)
    assert trials.wrong == []
    assert trials.counts["damages"] == 15


def test_the_next_run_after_a_kill_gives_the_same_table(trials):
    trials.kill(5)
    assert trials.wrong == []
    assert trials.counts["kills"] == 5


def test_the_next_run_after_a_full_disk_gives_the_same_table(trials):
    trials.full(4)
    assert trials.wrong == []
    assert trials.counts["runs that met the full disk, and said so"] > 0
