"""Trends, drifts and outliers: found where they are, not found where they are not, and said in words."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, linregress

from tests.comparison.made import spool, wires
from xrdorder.comparison import (
    Values,
    about_course,
    compare,
    drift,
    drift_words,
    drifts,
    holm,
    outliers,
    repeatability,
    trend,
    trend_words,
    verdict,
)
from xrdorder.exceptions import StudyError
from xrdorder.quantities.formatting import rounded

CHANCE = 1e-3


def test_the_slope_is_that_of_least_squares():
    rng = np.random.default_rng(0)
    x = rng.uniform(600, 750, 12)
    values = wires(rng, 17 + 0.01 * (x - 650), own=0.1, shared=2.0)
    found = trend(values, x, "temperature")
    slope, level = np.polyfit(x, values.value, 1)
    assert found.slope == pytest.approx(slope)
    np.testing.assert_allclose(found.line([600, 700]), slope * np.array([600, 700]) + level)


@pytest.mark.slow
def test_slopes_and_bands_hold():
    rng = np.random.default_rng(1)
    x = np.linspace(600, 750, 8)
    pulls, whole, shape = [], [], []
    for _ in range(400):
        common = 2.0 * rng.normal()
        values = Values(
            "Tc_K",
            tuple("abcdefgh"),
            17 + 0.01 * (x - 675) + common + rng.normal(0, 0.1, 8),
            np.full((8, 1), 2.0),
            np.full((8, 1), 0.1),
        )
        found = trend(values, x, "temperature")
        pulls.append((found.slope - 0.01) / found.u_slope)
        u, own = found.band([740.0])
        error = found.line([740.0])[0] - (17 + 0.65)
        whole.append(abs(error) < u[0])
        shape.append(abs(error - common) < own[0])
    # scatter about the line is estimated and never below what is known: a few per cent too careful
    low, high = binom.ppf([CHANCE / 2, 1 - CHANCE / 2], 400, 0.683)
    assert low <= sum(np.abs(pulls) < 1) <= high + 0.06 * 400
    assert low <= sum(shape) <= high + 0.06 * 400
    assert low <= sum(whole) <= high


@pytest.mark.slow
def test_no_trend_is_rarely_seen():
    rng = np.random.default_rng(2)
    x = np.linspace(600, 750, 6)
    for own, scatter in ((0.1, 0.0), (0.0, 0.2), (0.1, 0.1), (0.1, 0.05)):
        seen = sum(
            trend(wires(rng, np.zeros(6), own=own, scatter=scatter), x, "T").distinguishable for _ in range(300)
        )
        assert seen <= binom.ppf(1 - CHANCE, 300, 0.05)


def test_a_course_that_is_no_line_says_so():
    rng = np.random.default_rng(3)
    x = np.linspace(-1, 1, 9)
    found = trend(wires(rng, 3 * x**2 + 6 * x, own=0.05), x, "temperature")
    assert found.p_line < 1e-3
    assert trend_words(found).endswith("a line does not describe the course")
    assert trend(wires(rng, 3 * x, own=0.05), x, "temperature").p_line > CHANCE


def exponential(noise=0.0):
    """Domains that grow by a constant factor, 1 nm each way: 100 nm at 650 °C, 130.78 nm at 675 °C."""
    x = np.array([600.0, 625, 650, 675, 700, 725])
    size = 100.0 * np.exp((x - 650.0) / 25.0 * np.log(1.3078)) + noise
    return x, Values("domain_size_nm", tuple("abcdef"), size, np.zeros((6, 1)), np.full((6, 1), 0.2))


def test_growth_by_a_factor_is_straight_and_no_scatter_of_wires():
    x, sizes = exponential()
    found = trend(sizes, x, "temperature")
    assert not found.rejected and found.distinguishable
    assert found.scatter < 1e-3
    np.testing.assert_allclose(found.line(x), sizes.value, rtol=1e-9)
    assert found.change[0] == pytest.approx(sizes.value[-1] - sizes.value[0])
    whole, shape = found.band(x)
    # of a value at the middle six samples know 0.2 / sqrt(6), at the ends more than twice as much
    assert np.all((shape < 0.6) & (whole >= shape))
    # the same numbers under a name that is compared as it stands: no line
    assert trend(replace(sizes, quantity="x"), x, "temperature").rejected


def test_the_misfit_of_a_course_does_not_pass_for_scatter():
    x, sizes = exponential()
    labels = [f"{t:g} °C" for t in x]
    course = about_course(sizes.on_scale(), [""] * 6, x, np.full(6, 100.0))
    found = compare(sizes, labels, reference="650 °C", scatter=course)
    pair = found.pair("675 °C", "650 °C")
    assert pair.value == pytest.approx(30.78, abs=1e-9)
    assert pair.u == pytest.approx(0.2 * np.sqrt(2), rel=0.1)
    assert pair.distinguishable
    # half of the 95 % interval: by Student's t of two degrees of freedom at most, 4.3 instead of 1.96
    assert 1.9 * pair.u < pair.half_width < 4.4 * pair.u
    assert verdict(pair).startswith("domains of 675 °C are 30.78 ± 0.33 % larger")


def test_a_line_needs_points():
    values = wires(np.random.default_rng(0), [1.0, 2.0, 3.0])
    with pytest.raises(StudyError, match="three samples"):
        trend(values, [1.0, np.nan, 2.0], "temperature")
    with pytest.raises(StudyError, match="two different values"):
        trend(values, [1.0, 1.0, 1.0], "temperature")


def test_trends_in_words():
    x = np.array([650.0, 675, 700, 725])
    rising = wires(np.random.default_rng(1), 0.23 + 2e-4 * (x - 650), own=5e-4, quantity="tin_fraction")
    words = trend_words(trend(rising, x, "reaction temperature"), "°C")
    assert words.startswith("tin content rises by 1.")
    assert words.endswith("at.% over reaction temperature from 650 to 725 °C")
    flat = wires(np.random.default_rng(1), np.full(4, 0.23), own=5e-4, quantity="tin_fraction")
    assert "no trend" in trend_words(trend(flat, x, "reaction temperature"), "°C")


def test_a_drift_inside_variants_is_found_and_none_is_not():
    rng = np.random.default_rng(4)
    variants = [f"v{k}" for k in range(5) for _ in range(4)]
    place = np.tile([0.0, 100, 200, 300], 5) + np.repeat(np.arange(5) * 40.0, 4)
    truths = np.repeat([17.0, 18, 16, 17.5, 18.5], 4)
    found = drift(wires(rng, truths + 0.002 * place, own=0.1), place, variants, "position")
    assert found.distinguishable
    # over the whole span, from 0 at the first place of the first variant to 460 at the last of the last
    assert found.change == pytest.approx(0.002 * 460.0, abs=3 * found.u_change)
    assert drift_words(found).endswith("over position inside variants, more than chance: a drift")
    seen = sum(
        drift(wires(rng, truths, own=0.1, scatter=0.05), place, variants, "position").distinguishable
        for _ in range(300)
    )
    assert seen <= binom.ppf(1 - CHANCE, 300, 0.05)


def test_a_drift_does_not_hide_in_the_scatter_of_replicates():
    """Six pieces of one wire; scipy's test of a slope, which knows nothing of variants, finds the same.

    Sizes are compared by their logarithms.
    """
    place = np.arange(0.0, 60, 10)
    size = np.array([65.3, 71.1, 81.4, 83.1, 93.5, 103.0])
    values = Values("domain_size_nm", tuple("abcdef"), size, np.zeros((6, 0)), np.zeros((6, 0)))
    known = repeatability(values.on_scale(), ["one"] * 6)
    found = drift(values, place, ["one"] * 6, "position", known)
    # steps of an eighth of ln s, as for Student's t elsewhere
    assert found.p == pytest.approx(linregress(place, np.log(size)).pvalue, rel=5e-3)
    assert found.distinguishable
    two = drift(values.select([0, 5]), place[[0, 5]], ["one"] * 2, "position", known)
    assert not two.distinguishable  # no scatter about a line through two points: that from elsewhere


def test_drifts_of_a_study_are_corrected_together():
    lines = drifts(*spool(np.random.default_rng(3), 1.0, slope=0.15))
    assert len(lines) == 12 and {one.variable for one in lines} == {"position", "date"}
    np.testing.assert_allclose([one.p_adjusted for one in lines], holm([one.p for one in lines]))
    assert sum(one.distinguishable for one in lines) > 6


@pytest.mark.slow
def test_without_a_drift_hardly_a_study_tells_one():
    rng = np.random.default_rng(4)
    seen = sum(any(one.distinguishable for one in drifts(*spool(rng, 1.0))) for _ in range(100))
    assert seen <= binom.ppf(1 - CHANCE, 100, 0.05)


def test_a_line_over_the_logarithm():
    rng = np.random.default_rng(11)
    dose = np.array([0.0, 34.0, 60.0, 100.0, 250.0, 943.0])
    values = wires(rng, 5.0 + 2.0 * np.log(np.maximum(dose, 1e-9)), own=0.05)
    found = trend(values, dose, "dose", logarithmic=True)
    slope, level = np.polyfit(np.log(dose[1:]), values.value[1:], 1)
    assert found.slope == pytest.approx(slope) and found.span == (34.0, 943.0) and found.samples == 5
    assert found.line(100.0) == pytest.approx(level + slope * np.log(100.0))
    assert found.change[0] == pytest.approx(slope * np.log(943 / 34))
    assert "over the logarithm of dose from 34 to 943 h" in trend_words(found, "h")
    assert found.p_line > CHANCE > trend(values, dose, "dose").p_line


def test_a_drift_that_cannot_be_told():
    values = wires(np.random.default_rng(0), np.zeros(4))
    assert drift(values, [0, 0, 1, 1], ["a", "a", "b", "b"], "date") is None
    assert drift(values, [np.nan] * 4, ["a"] * 4, "date") is None
    assert drift(values, [0, 1, 2, 3], [""] * 4, "date") is None


def test_an_outlier_is_named_and_alone():
    rng = np.random.default_rng(5)
    variants = [f"v{k}" for k in range(6) for _ in range(3)]
    values = wires(rng, np.repeat(np.arange(6.0), 3), own=0.1, scatter=0.1, shared=2.0)
    values.value[7] += 2.0
    found = outliers(values, variants)
    assert [one.sample for one in found] == ["w7"]
    assert not found[0].partner
    assert found[0].deviation > 1


def test_of_two_samples_either_may_be_the_outlier():
    rng = np.random.default_rng(6)
    values = wires(rng, np.repeat(np.arange(6.0), 2), own=0.1)
    values.value[3] += 2.0
    found = outliers(values, [f"v{k}" for k in range(6) for _ in range(2)])
    assert {one.sample for one in found} == {"w2", "w3"}
    assert all(one.partner for one in found)


@pytest.mark.slow
def test_outliers_are_rarely_seen_where_there_are_none():
    rng = np.random.default_rng(7)
    variants = [f"v{k}" for k in range(5) for _ in range(3)]
    for own, scatter in ((0.1, 0.0), (0.0, 0.2), (0.1, 0.1)):
        seen = sum(
            bool(outliers(wires(rng, np.zeros(15), own=own, scatter=scatter, shared=1.0), variants))
            for _ in range(300)
        )
        assert seen <= binom.ppf(1 - CHANCE, 300, 0.05)


def test_without_variants_or_degrees_of_freedom_nobody_is_odd():
    values = wires(np.random.default_rng(8), np.zeros(12), own=0.05)
    assert outliers(values, [""] * 12) == []
    assert outliers(values.select([0, 1]), ["a", "a"]) == []


def test_repeatability_from_elsewhere_widens_a_trend():
    rng = np.random.default_rng(9)
    x = np.array([650.0, 675, 700])
    values = wires(rng, [17.0, 17.1, 17.2], own=0.01)
    pairs = repeatability(wires(rng, np.zeros(40), own=0.01, scatter=0.3), [f"v{k // 2}" for k in range(40)])
    assert trend(values, x, "T").u_slope < trend(values, x, "T", pairs).u_slope


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [(1234.0, 56.0, "1230 ± 60"), (0.0, 0.0196, "0.000 ± 0.020"), (5.0, 0.99, "5.0 ± 1.0"), (99.6, 16.0, "100 ± 16")],
)
def test_numbers_carry_the_digits_they_have(value, u, text):
    assert rounded(value, u) == text
