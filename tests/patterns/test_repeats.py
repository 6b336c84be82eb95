"""Repeated scans are held against each other before they are summed."""

import json
from pathlib import Path

import numpy as np
import pytest

from xrdorder.patterns import read_patterns, repeats
from xrdorder.patterns.repeats import (
    BEYOND_COUNTING,
    MOST_TOLD,
    Repeat,
    difference,
    same_angles,
    scans_that_differ,
)

ANGLES = np.round(20.0 + 0.02 * np.arange(1500), 2)
DEMO = Path(__file__).parents[2] / "demo_patterns"


def _line(centre, height=400.0, background=20.0):
    return background + height / (1.0 + ((ANGLES - centre) / 0.1) ** 2)


def _repeat(rng, mean, name="a", time=1.0, angles=ANGLES):
    counts = rng.poisson(mean * time).astype(float)
    return Repeat(name, angles, counts, np.maximum(counts, 1.0), np.full(len(angles), time), True)


@pytest.mark.parametrize("background", [0.5, 50.0])
def test_chi_square_of_equal_scans_has_the_spread_that_is_told(background):
    """300 pairs of unequal length: mean and standard deviation of the significance are 0 and 1 within four of their own
    standard errors (0.058 and 0.041 of a normal distribution; few counts make it skew, hence 0.3 for the latter)."""
    rng = np.random.default_rng(3)
    mean = _line(30.0, 20.0 * background, background)
    found = [
        difference(_repeat(rng, mean), [_repeat(rng, 1.3 * mean, time=2.0)]).significance for _ in range(300)
    ]
    assert abs(np.mean(found)) < 4 * 0.058
    assert np.std(found) == pytest.approx(1.0, abs=0.3)  # below half a count the factor of scale leaves less
    assert max(found) < BEYOND_COUNTING + 1.0


def test_a_scan_of_something_else_is_named():
    rng = np.random.default_rng(4)
    same, other = _line(30.0), _line(30.05)
    scans = [_repeat(rng, same, "a"), _repeat(rng, other, "b"), _repeat(rng, 0.7 * same, "c", 3.0)]
    assert [names for names, _ in scans_that_differ(scans)] == [("b",)]
    assert [names for names, _ in scans_that_differ(scans[:2])] == [("a", "b")]
    assert scans_that_differ(scans[::2]) == []


def test_only_common_angles_count():
    rng = np.random.default_rng(5)
    mean = _line(30.0)
    a = _repeat(rng, mean[:800], "a", angles=ANGLES[:800])
    b = _repeat(rng, mean[700:], "b", angles=ANGLES[700:] + 1e-4)
    assert difference(a, [b]).angles == 100
    assert difference(a, [_repeat(rng, mean[790:], "b", angles=ANGLES[790:])]) is None


def test_estimated_variances_are_trusted_less():
    """Variances half of what they are: a chi square of two is not held against a scan."""
    rng = np.random.default_rng(6)
    mean = _line(30.0)
    scans = [
        Repeat(name, ANGLES, mean + 2.0 * np.sqrt(mean) * rng.standard_normal(1500), 2.1 * mean, np.ones(1500), False)
        for name in "ab"
    ]
    assert difference(scans[0], scans[1:]).significance > BEYOND_COUNTING
    assert scans_that_differ(scans) == []


def test_two_wires_of_the_demo_study_are_told_apart_when_they_are_read():
    pattern = read_patterns([DEMO / "heron-650c-100h-a.xy", DEMO / "heron-725c-50h.xy"])
    flags = dict(json.loads(pattern.attrs["flags"]))
    assert flags["scans-differ"].startswith("heron-650c-100h-a.xy and heron-725c-50h.xy differ by a reduced chi square")
    assert "summed-scans" in flags


def test_angles_are_one_within_a_hundredth_of_a_step():
    fine, coarse = np.arange(20.0, 21.0, 0.01), np.arange(20.0, 21.0, 0.1)
    near, apart = coarse + 0.00005, coarse + 0.005
    one, two, three, four = same_angles([fine, coarse, near, apart])
    assert np.array_equal(two, three)
    assert set(two) <= set(one)
    assert not set(four) & (set(one) | set(two))
    assert np.array_equal(one, np.sort(one))


@pytest.mark.parametrize("count", [50, 100])
def test_the_work_grows_with_the_scans_and_not_with_their_pairs(monkeypatch, count):
    """Each scan is looked at once for its angles and, while none differs, once for its counts."""
    looked = {"angles": 0, "counts": 0}
    step, judge = repeats.angle_step, repeats._Sum.difference
    monkeypatch.setattr(repeats, "angle_step", lambda x: (looked.update(angles=looked["angles"] + 1), step(x))[1])
    monkeypatch.setattr(
        repeats._Sum, "difference", lambda s, k: (looked.update(counts=looked["counts"] + 1), judge(s, k))[1]
    )
    rng = np.random.default_rng(6)
    assert scans_that_differ([_repeat(rng, _line(30.0)) for _ in range(count)]) == []
    assert looked == {"angles": count, "counts": count}


def test_not_more_than_some_are_told():
    rng = np.random.default_rng(7)
    scans = [_repeat(rng, _line(30.0 + 0.02 * k), str(k)) for k in range(3 * MOST_TOLD)]
    assert len(scans_that_differ(scans)) == MOST_TOLD
