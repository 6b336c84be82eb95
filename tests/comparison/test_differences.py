"""Repeatability and differences: what cancels, what counts, and how often chance is taken for a difference."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import binom, chi2, dunnett, norm, ttest_ind

from tests.comparison.made import no_difference, wires
from xrdorder.comparison import (
    Repeatability,
    Values,
    about_course,
    compare,
    holm,
    methods_sentence,
    repeatability,
    verdict,
)
from xrdorder.exceptions import StudyError

CHANCE = 1e-3  # how often a limit of a test is passed though all holds


def labels(groups, each):
    return [f"v{g}" for g in range(groups) for _ in range(each)]


def test_repeatability_is_the_pooled_scatter_where_nothing_is_known():
    values = Values("x", tuple("abcde"), np.array([1.0, 2.0, 3.0, 10.0, 14.0]), np.zeros((5, 0)), np.zeros((5, 0)))
    found = repeatability(values, list("ppprr"))
    # sums of squares 2 and 8 over 2 + 1 degrees of freedom
    assert found.u == pytest.approx(np.sqrt(10 / 3))
    assert found.degrees_of_freedom == 3
    assert found.low < found.u < found.high
    assert repeatability(values, list("abcde")).degrees_of_freedom == 0
    assert repeatability(values, ["", "", "", "", ""]).degrees_of_freedom == 0


def test_repeatability_is_what_known_uncertainties_leave():
    rng = np.random.default_rng(5)
    values = wires(rng, np.repeat(np.arange(50.0), 4), own=0.3, scatter=0.4, shared=7.0)
    found = repeatability(values, labels(50, 4))
    # 150 degrees of freedom: s of the total is known to 6 %, so that of the excess to 6 % * 0.25 / 0.16
    assert found.u == pytest.approx(0.4, rel=3 * 0.06 * 0.25 / 0.16)
    assert found.p_known < 1e-6
    calm = repeatability(wires(rng, np.repeat(np.arange(50.0), 4), own=0.3), labels(50, 4))
    assert calm.low < 0.15
    assert calm.p_known > CHANCE


def test_the_interval_of_the_repeatability_holds():
    rng = np.random.default_rng(6)
    inside = 0
    for _ in range(300):
        found = repeatability(wires(rng, np.zeros(8), own=0.2, scatter=0.3, shared=2.0), labels(4, 2))
        inside += found.low <= 0.3 <= found.high
    low, high = binom.ppf([CHANCE / 2, 1 - CHANCE / 2], 300, 0.68)
    assert low <= inside <= high


def test_what_variants_share_cancels():
    rng = np.random.default_rng(2)
    values = wires(rng, [17.0, 17.0, 18.0, 18.0], own=0.1, shared=3.0)
    found = compare(values, ["a", "a", "b", "b"]).pair("b", "a")
    assert found.u < 0.5


def test_opposite_signs_do_not_cancel():
    values = Values("x", ("a", "b"), np.array([1.0, 0.0]), np.array([[0.3], [-0.3]]), np.full((2, 1), 0.4))
    found = compare(values, ["a", "b"]).pair("a", "b")
    assert found.u == pytest.approx(np.sqrt(0.6**2 + 2 * 0.4**2))
    assert 0.5 < found.probability_positive < norm.cdf(1 / found.u)  # nobody knows how far equal wires scatter
    back = compare(values, ["a", "b"]).pair("b", "a")
    assert (back.value, back.u) == (-found.value, found.u)
    assert back.probability_positive == pytest.approx(1 - found.probability_positive)


def test_relative_differences_know_what_cancels():
    # a common factor: sizes are all 10 % too large or too small together
    size = np.array([160.0, 160.0, 160.0, 100.0, 100.0, 100.0])
    values = Values("domain_size_nm", tuple("abcdef"), size, 0.1 * size[:, None], 0.01 * size[:, None])
    found = compare(values, ["hot"] * 3 + ["cold"] * 3).pair("hot", "cold")
    assert found.relative == pytest.approx(0.6)
    assert found.u_relative == pytest.approx(1.6 * np.sqrt(2 / 3) * 0.01)
    assert verdict(found) == "domains of hot are 60.0 ± 1.3 % larger than those of cold"


@pytest.mark.parametrize(("own", "scatter"), [(0.1, 0.0), (0.1, 0.3), (0.0, 0.3), (0.2, 0.1), (0.1, 0.1)])
@pytest.mark.parametrize("reference", [None, "v0"])
@pytest.mark.slow
def test_equal_variants_are_rarely_told_apart(own, scatter, reference):
    """Of 300 studies without any difference at most a twentieth, by the binomial law, may show one."""
    rng = np.random.default_rng(int(own * 10 + scatter * 1000))
    false = sum(
        bool(
            np.any(
                compare(
                    wires(rng, np.zeros(18), own=own, scatter=scatter, shared=1.0), labels(6, 3), reference=reference
                ).p_adjusted
                < 0.05
            )
        )
        for _ in range(300)
    )
    assert false <= binom.ppf(1 - CHANCE, 300, 0.05)


@pytest.mark.slow
def test_a_difference_that_is_there_is_found():
    rng = np.random.default_rng(4)
    found = 0
    for _ in range(100):
        values = wires(rng, np.repeat([17.0, 17.0, 18.0], 3), own=0.1, scatter=0.15)
        found += compare(values, labels(3, 3)).pair("v2", "v0").distinguishable
    # the difference is 8 u at 6 degrees of freedom
    assert found >= 97


def test_without_replicates_little_is_known_of_the_scatter_and_it_is_said():
    values = wires(np.random.default_rng(0), [17.0, 17.5, 19.0], own=0.1, shared=1.0)
    found = compare(values, ["a", "b", "c"], reference="a")
    assert found.repeatability.degrees_of_freedom == 0
    assert found.u_difference == pytest.approx(np.sqrt(2) * 0.1)  # what is known
    clear, unclear = found.pair("c", "a"), found.pair("b", "a")
    assert clear.distinguishable and clear.value > 10 * clear.u
    assert not unclear.distinguishable and unclear.value > 2 * unclear.u
    assert "no replicates were measured" in methods_sentence(found)


@pytest.mark.parametrize("apart", [3.0, 1.0])
def test_one_replicate_more_never_makes_a_clear_difference_unclear(apart):
    """Wires that agree within known uncertainties of 0.1: with each pair of replicates a difference is surer."""
    widths, told_apart = [], []
    for names in (list("abc"), list("abca"), list("abcab"), list("abcabc")):
        value = np.array([{"a": 0.0, "b": apart / 2, "c": apart}[name] for name in names])
        value[3:] += 0.05
        values = Values("x", tuple(f"{k}" for k in range(len(names))), value, np.ones((len(names), 1)),
                        np.full((len(names), 1), 0.1))  # fmt: skip
        found = compare(values, names).pair("c", "a")
        widths.append(found.half_width)
        told_apart.append(found.distinguishable)
    assert np.all(np.diff(widths) < 0.0)
    assert told_apart == sorted(told_apart) and told_apart[-1]
    assert told_apart[0] == (apart == 3.0)  # twenty u, or seven in three comparisons


def test_scatter_that_replicates_do_show_still_counts():
    """A pair apart by fifty known uncertainties: what is likely beforehand does not talk it away."""
    apart = Values("x", tuple("abcd"), np.array([0.0, 5.0, 1.0, 2.0]), np.zeros((4, 0)), np.full((4, 1), 0.1))
    found = compare(apart, ["p", "p", "q", "r"]).pair("r", "q")
    assert not found.distinguishable and found.half_width > 3.0


@pytest.mark.slow
@pytest.mark.parametrize("ratio", [1.0, 3.0])
@pytest.mark.parametrize("pairs", [0, 1, 2, 4])
def test_few_replicates_tell_nothing_false(pairs, ratio):
    """Of 200 studies without any difference at most a twentieth, by the binomial law, may show one."""
    treatments = [(600.0 + 25 * k, 50.0 * (1 + k % 3)) for k in range(6)]
    false = 0
    for seed in range(200):
        values, names, _, _ = no_difference(seed, treatments, pairs, ratio)
        false += bool(np.any(compare(values, names, reference="v0").p_adjusted < 0.05))
    assert false <= binom.ppf(1 - CHANCE, 200, 0.05)


def test_many_comparisons_share_one_scatter():
    """Without known uncertainties simultaneous limits are those of the multivariate t, within Bonferroni's bound."""
    values = Values("x", tuple("abcdefgh"), np.array([0.0, 1.0, 0.6, 1.5, 1.2, 2.3, 3.0, 3.6]), np.zeros((8, 0)),
                    np.zeros((8, 0)))  # fmt: skip
    names = list("ppqqrrss")
    found = compare(values, names, reference="p")
    samples = [values.value[2 * k : 2 * k + 2] for k in range(4)]
    by_scipy = dunnett(*samples[1:], control=samples[0], random_state=np.random.default_rng(1)).pvalue
    adjusted = np.array([found.pair(name, "p").p_adjusted for name in "qrs"])
    worst = int(np.argmin(by_scipy))
    # Bonferroni's bound at each standard deviation that four degrees of freedom leave possible, by quadrature
    t = found.difference[worst] / found.repeatability.u
    expected, _ = quad(
        lambda w: chi2.pdf(w, 4) * min(1.0, 3 * 2 * norm.sf(t * np.sqrt(w / 4))), 0.0, np.inf, limit=200
    )
    assert adjusted[worst] == pytest.approx(expected, rel=2e-3)  # steps of an eighth of ln s, as for Student's t
    assert adjusted[worst] > by_scipy[worst]  # which knows how comparisons with one reference overlap
    assert 0.01 < by_scipy[worst] < 0.1
    assert adjusted[worst] < holm(found.p).min()


def test_variants_of_many_treatments_scatter_more_than_replicates():
    rng = np.random.default_rng(9)
    truths = np.repeat([17.0, 17.6, 18.2, 17.5, 18.1, 18.7], 2)
    values = wires(rng, truths, own=0.02, scatter=0.05)
    treatments = labels(6, 2)
    peaks = ["650 °C"] * 6 + ["700 °C"] * 6
    assert compare(values, treatments).repeatability.u < 0.15
    found = compare(values, peaks, replicates=treatments)
    assert found.repeatability.u > 0.3
    assert not found.pair("700 °C", "650 °C").distinguishable


def test_wrong_use_is_told():
    values = wires(np.random.default_rng(0), [17.0, 18.0, 18.0])
    with pytest.raises(StudyError, match="needs two"):
        compare(values, ["a", "a", ""])
    with pytest.raises(StudyError, match="no variant 'cold'"):
        compare(values, ["a", "b", "c"], reference="cold")
    with pytest.raises(StudyError, match="were not compared"):
        compare(values, ["a", "b", "c"], reference="a").pair("b", "c")
    with pytest.raises(ValueError, match="2 variants for 3"):
        compare(values, ["a", "b"])


def test_holm_is_holm():
    # worked by hand: 4, 3, 2, 1 times the sorted probabilities, never falling
    np.testing.assert_allclose(holm([0.03, 0.005, 0.04, 0.9]), [0.09, 0.02, 0.09, 0.9])


@pytest.mark.slow
def test_all_pairs_of_five_hundred_samples_are_compared():
    rng = np.random.default_rng(3)
    n, sources = 500, 80
    values = Values(
        "Tc_K",
        tuple(f"w{k}" for k in range(n)),
        rng.normal(17, 1, n),
        rng.normal(0, 0.1, (n, sources)),
        rng.normal(0, 0.02, (n, sources)),
    )
    every = compare(values, [f"v{k // 2}" for k in range(n)])
    single = compare(values, list(values.samples))
    assert every.first.size == 250 * 249 / 2
    assert single.first.size == n * (n - 1) / 2
    assert len(every.differences(most=500)) == 500


def test_without_known_uncertainty_the_test_is_students_t():
    values = Values("x", tuple("abcde"), np.array([1.0, 2.0, 3.0, 5.0, 6.0]), np.zeros((5, 0)), np.zeros((5, 0)))
    found = compare(values, list("ppprr")).pair("r", "p")
    by_scipy = ttest_ind([5.0, 6.0], [1.0, 2.0, 3.0])
    # the average over the scatter is a sum in steps of an eighth of ln s; Simpson could do no better than 1e-3
    assert found.p == pytest.approx(by_scipy.pvalue, rel=2e-3)
    low, high = by_scipy.confidence_interval(0.95)
    assert found.half_width == pytest.approx((high - low) / 2, rel=2e-3)


def test_five_of_a_hundred_lie_beyond_an_interval_whatever_the_variances():
    values = Values("x", tuple("abcde"), np.array([1.0, 2.0, 3.0, 5.0, 6.0]), np.zeros((5, 0)), np.full((5, 1), 0.3))
    scatter = compare(values, list("ppprr")).repeatability
    known, factor = np.meshgrid([0.0, 1e-6, 0.1, 40.0], [0.0, 0.2, 1.0])
    half = scatter.half_width(known, factor)
    assert half[0, 0] == 0.0 and np.all(half.ravel()[1:] > 0.0)
    # the root is found to 1e-8 of itself
    np.testing.assert_allclose(scatter.chance(half, known, factor).ravel()[1:], 0.05, rtol=1e-6)
    # no scatter between wires: the normal distribution
    assert half[0, 2] == pytest.approx(norm.isf(0.025) * np.sqrt(0.1))


def test_one_pair_of_replicates_hardly_tells_the_scatter():
    calm = Values("x", tuple("abc"), np.array([0.0, 0.05, 1.0]), np.zeros((3, 0)), np.full((3, 1), 0.1))
    found = compare(calm, ["p", "p", "r"]).pair("r", "p")
    assert found.half_width > 2 * found.u
    # Student's t with one degree of freedom asks for 12.7 u; here the known uncertainties are a bound from below
    assert found.half_width < 12.7 * found.u
    many = Values("x", tuple("abcdefghi"), np.zeros(9), np.zeros((9, 0)), np.full((9, 1), 0.1))
    found = compare(many, list("ppqqrrsst")).pair("t", "p")
    assert found.half_width < 3 * found.u


PEAKS = np.array([625.0, 625, 650, 650, 650, 675, 675, 700, 725, 625, 650, 675, 700])
HOURS = np.array([100.0, 250, 50, 100, 100, 50, 100, 50, 50, 200, 50, 100, 50])
LOTS = ["heron"] * 9 + ["curlew"] * 4
TREATMENTS = [f"{lot} {t:g}/{h:g}" for lot, t, h in zip(LOTS, PEAKS, HOURS, strict=True)]


def course(temperature, hours):
    return 1e-4 * (temperature - 625) ** 2 + 0.3 * np.log(hours) + np.array([lot == "heron" for lot in LOTS])


def test_a_smooth_course_bounds_the_scatter_where_there_is_one_pair():
    values = wires(np.random.default_rng(1), course(PEAKS, HOURS), own=0.02, scatter=0.03, shared=1.0)
    assert repeatability(values, TREATMENTS).degrees_of_freedom == 1
    scatter = about_course(values, LOTS, PEAKS, HOURS)
    # 13 samples less two levels, a parabola's two and a line's one
    assert scatter.degrees_of_freedom == 8
    assert scatter.low / 2 < 0.03 < 2 * scatter.high
    pair = TREATMENTS[8], TREATMENTS[0]
    found = compare(values, TREATMENTS, scatter=scatter)
    assert found.pair(*pair).distinguishable
    assert found.pair(*pair).half_width < compare(values, TREATMENTS).pair(*pair).half_width
    assert "that about a smooth course" in methods_sentence(found)


def test_a_course_of_another_shape_makes_careful_not_bold():
    rng = np.random.default_rng(2)
    rough = 0.3 * rng.standard_normal(13)
    rough[4] = rough[3]  # the replicates
    found = about_course(wires(rng, course(PEAKS, HOURS) + rough, own=0.02), LOTS, PEAKS, HOURS)
    assert found.u > 0.1


@pytest.mark.slow
def test_equal_variants_are_rarely_told_apart_by_a_course():
    rng = np.random.default_rng(3)
    false = 0
    for _ in range(200):
        values = wires(rng, np.zeros(13), own=0.1, scatter=0.2, shared=1.0)
        scatter = about_course(values, LOTS, PEAKS, HOURS)
        false += bool(np.any(compare(values, TREATMENTS, scatter=scatter).p_adjusted < 0.05))
    assert false <= binom.ppf(1 - CHANCE, 200, 0.05)


def test_replicates_come_before_what_is_known_from_elsewhere():
    rng = np.random.default_rng(4)
    values = wires(rng, np.zeros(18), own=0.1)
    elsewhere = Repeatability(5.0, 100, 5.0, 5.0, np.nan, np.array([5.0]), np.ones(1), "course")
    assert compare(values, labels(6, 3), scatter=elsewhere).repeatability.origin == "replicates"
    single = compare(values, list(values.samples), scatter=elsewhere)
    assert single.u_difference[0] == pytest.approx(np.sqrt(2 * (0.1**2 + 5**2)))
    assert "that about a smooth course" in methods_sentence(single)
    assert about_course(values.select([0, 1]), ["a", "a"], [650, 650], [10, np.nan]).degrees_of_freedom == 0


def test_samples_in_doubt_tell_no_scatter_of_others():
    values = Values("x", tuple("abcdef"), np.array([1.0, 1.1, 2.0, 2.1, 3.0, 9.0]), np.zeros((6, 0)), np.zeros((6, 0)))
    variants = list("ppqqrr")
    all_of_them = compare(values, variants, reference="p").repeatability
    known = compare(values, variants, reference="p", telling=[True] * 5 + [False]).repeatability
    assert (all_of_them.degrees_of_freedom, known.degrees_of_freedom) == (3, 2)
    assert known.u == pytest.approx(0.1 / np.sqrt(2))
    assert known.origin == "replicates"
