"""Counts are told from what is not counts, and the uncertainty of the latter is estimated right."""

import numpy as np
import pytest

from tests.patterns.curves import SETTINGS, expected
from xrdorder.patterns.counts import judge, measure_scatter, smoothing_points


def _counts(seed: int = 1, **settings):
    x, y = expected(**settings)
    return x, y, np.random.default_rng(seed).poisson(y).astype(float)


@pytest.mark.slow
def test_true_counts_are_never_flagged():
    # 600 patterns without one false flag bound the rate below 0.5 % at 95 % confidence (3/600).
    rng = np.random.default_rng(5)
    false = []
    for seed in range(4):
        for settings in SETTINGS:
            _, y = expected(**{**settings, "seed": seed})
            judgements = [judge(rng.poisson(y).astype(float)) for _ in range(10)]
            false += [(settings, j.flag) for j in judgements if j.kind != "counts"]
    assert false == []


@pytest.mark.slow
def test_false_flags_are_rare_in_many_patterns():
    rng = np.random.default_rng(6)
    number = 0
    for seed in range(1000, 1100):
        for settings in SETTINGS:
            _, y = expected(**{**settings, "seed": seed})
            number += sum(judge(rng.poisson(y).astype(float)).kind != "counts" for _ in range(4))
    # 6000 patterns: 4.5 standard errors happen 7e-6 of the time for normal scatter; 1 in 1000 leaves room for tails.
    assert number <= 6


def test_variance_of_counts_is_the_count_and_never_below_one():
    values = np.random.default_rng(2).poisson(0.7, 500).astype(float)
    assert np.array_equal(judge(values).variance, np.maximum(values, 1.0))


@pytest.mark.slow
@pytest.mark.parametrize("settings", [{}, {"step": 0.05}, {"lines": 80}, {"background": 20.0, "top": 2000.0}])
@pytest.mark.parametrize(
    ("factor", "digits"),
    [(0.5, None), (1.0 / 3.0, None), (1.0 / 3.0, 3), (2.0, None), (10.0, None), (2.5, 1)],
)
def test_scaled_counts_are_caught_and_their_unit_found(settings, factor, digits):
    _, _, counts = _counts(**settings)
    values = counts * factor
    if digits is not None:
        values = np.round(values, digits)
    judgement = judge(values)
    assert judgement.kind == "intensities"
    assert judgement.flag[0] == "rescaled-counts"
    # The unit follows from the ladder of values, so it is exact but for the rounding of the file.
    assert judgement.variance == pytest.approx(factor**2 * np.maximum(counts, 1.0), rel=2e-3)


@pytest.mark.parametrize("factor", [0.4, 1.9, 7.3])
def test_scaled_and_rounded_counts_are_caught_by_their_scatter(factor):
    _, y, counts = _counts()
    judgement = judge(np.rint(counts * factor))
    assert judgement.kind == "intensities"
    # A tenth is the spread of the median over a quarter of 380 blocks with 6 degrees of freedom, 7 %, and rounding.
    ratio = np.median(judgement.variance / (factor**2 * y))
    assert ratio == pytest.approx(1.0, abs=0.25)


@pytest.mark.parametrize("settings", [{}, {"lines": 80}, {"background": 20000.0, "top": 1e6}, {"step": 0.05}])
@pytest.mark.parametrize("width", [5, 7, 11])
@pytest.mark.parametrize("rounded", [False, True])
def test_smoothed_counts_are_caught(settings, width, rounded):
    _, y, counts = _counts(**settings)
    smooth = np.convolve(counts, np.ones(width) / width, "valid")
    judgement = judge(np.rint(smooth) if rounded else smooth)
    assert judgement.kind == "intensities"
    assert judgement.flag[0] == "smoothed"
    # The information in smoothed points is that of the points before: a variance like that of counts, not the small
    # scatter of neighbours (which would make every uncertainty two to five times too small).
    inner = y[width // 2 : -(width // 2)]
    assert 0.3 < np.median(judgement.variance / inner) < 3.0


def test_counts_interpolated_to_finer_steps_are_caught():
    x, _, counts = _counts()
    judgement = judge(np.rint(np.interp(np.arange(18.0, 139.0, 0.01), x, counts)))
    assert judgement.flag[0] == "smoothed"


@pytest.mark.parametrize("rounded", [False, True])
def test_stripped_doublets_are_caught_with_their_larger_scatter(rounded):
    x, y, counts = _counts()
    shifted = np.interp(x - 0.05 - 0.3 * (x / 100.0) ** 2, x, counts)
    values = np.maximum(counts - 0.5 * shifted, 0.0)
    judgement = judge(np.rint(values) if rounded else values)
    assert judgement.flag[0] == "not-counts"
    # Where the background is flat the remainder is y/2 and its variance y (1 + 0.25 s), s = 0.5..1 by interpolation.
    flat = slice(-1500, None)
    assert 0.8 < np.median(judgement.variance[flat] / (1.19 * y[flat])) < 1.6


def test_subtracted_background_leaves_its_noise_in_the_variance():
    _, y, counts = _counts()
    values = np.maximum(counts - np.rint(0.95 * y.min()), 0.0)
    judgement = judge(values)
    assert judgement.kind == "intensities"
    ratio = judgement.variance / y
    assert 0.6 < np.median(ratio) < 1.7
    # The lowest points keep the noise of what was subtracted; counts of that height would have a twentieth of it.
    low = values <= np.quantile(values, 0.05)
    assert 0.5 < np.median(ratio[low]) < 2.0


def test_values_rounded_to_tens_are_no_counts():
    _, _, counts = _counts(background=3000.0)
    judgement = judge(np.round(counts, -1))
    assert judgement.flag[0] == "not-counts"
    assert "multiples of 10" in judgement.flag[1]


def test_one_value_with_a_fraction_is_enough():
    _, _, counts = _counts()
    counts[100] += 0.5
    assert judge(counts).flag[0] == "not-counts"


def test_few_points_give_no_scatter_but_a_variance():
    assert measure_scatter(np.arange(15.0)) is None
    judgement = judge(np.array([1.5, 2.5, 0.0]))
    assert judgement.kind == "intensities"
    assert np.all(judgement.variance > 0.0)


@pytest.mark.parametrize(
    "values", [np.full(500, 7.25), np.linspace(1.1, 90.0, 500), np.zeros(500) + (np.arange(500) == 3)]
)
def test_drawn_curves_give_a_finite_positive_variance(values):
    variance = judge(values).variance
    assert np.all(np.isfinite(variance))
    assert np.all(variance > 0.0)


def test_scatter_of_counts_is_one_on_average():
    # 200 constant patterns of 6000 points: the mean of a ratio that spreads by 8 % is known to 0.6 %; the correction of
    # the median is an approximation good to 2 %.
    rng = np.random.default_rng(3)
    ratios = [measure_scatter(rng.poisson(50.0, 6000).astype(float)).ratio for _ in range(200)]
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.03)
    # Its standard error is what the object says.
    stated = measure_scatter(rng.poisson(50.0, 6000).astype(float)).u_log
    assert np.std(np.log(ratios)) == pytest.approx(stated, rel=0.2)


_DIVIDED = {
    "times 37.3": (lambda counts: counts * 37.3, lambda counts: 37.3),
    "times 37.3, one decimal": (lambda counts: np.round(counts * 37.3, 1), lambda counts: 37.3),
    "times 37.3, whole": (lambda counts: np.rint(counts * 37.3), lambda counts: 37.3),
    "a tenth": (lambda counts: counts / 10.0, lambda counts: 0.1),
    "over 7.3, two decimals": (lambda counts: np.round(counts / 7.3, 2), lambda counts: 1.0 / 7.3),
    "over the highest": (lambda counts: counts / counts.max(), lambda counts: 1.0 / counts.max()),
    "per cent of the highest": (
        lambda counts: np.round(100.0 * counts / counts.max(), 2), lambda counts: 100.0 / counts.max()
    ),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("how", _DIVIDED)
def test_division_is_found_in_patterns_of_every_kind(how):
    change, unit = _DIVIDED[how]
    rng = np.random.default_rng(11)
    wrong = []
    for seed in range(6):
        for settings in SETTINGS[:-1]:  # without the hundred points of the last, whose scatter is known to a quarter
            _, y = expected(**{**settings, "seed": seed})
            counts = rng.poisson(y).astype(float)
            judgement = judge(change(counts))
            step = 0.01 if "per cent" in how else 0.0
            variance = unit(counts) ** 2 * np.maximum(y, 1.0) + step**2 / 12.0
            ratio = float(np.median(judgement.variance / variance))
            # a scatter over a few blocks is known to a quarter: three times that either way, lines only raise it
            if judgement.kind == "counts" or judgement.flag[0] == "smoothed" or not 0.4 < ratio < 2.5:
                wrong.append((settings, judgement.flag[:1], ratio))
    assert wrong == []


@pytest.mark.parametrize("step", [0.99, 0.7, 0.5])
def test_resampled_scans_are_smoothed_ones(step):
    # 0.01313 degrees to 0.0130 is the first; finer grids leave less scatter still
    x, y, counts = _counts()
    grid = np.arange(x[0], x[-1], step * (x[1] - x[0]))
    judgement = judge(np.interp(grid, x, counts))
    assert judgement.flag[0] == "smoothed"
    assert 0.8 < np.median(judgement.variance / np.interp(grid, x, y)) < 1.2


@pytest.mark.parametrize("unit", [1.0, 0.1])
def test_smoothing_length_is_found_whatever_the_unit(unit):
    _, _, counts = _counts(lines=5)
    smooth = unit * np.convolve(counts, np.ones(7) / 7.0, "valid")
    assert judge(smooth).flag[0] == "smoothed"
    # variance before and after are each known to a quarter
    assert 5.0 < smoothing_points(smooth) < 9.0


def test_normalised_data_are_no_surer_than_their_rounding():
    # two decimals of the highest: all of the background stands at one value, and its scatter is nothing
    _, y = expected(background=0.0)
    counts = np.random.default_rng(1).poisson(y + 500.0).astype(float)
    values = np.round(counts / counts.max(), 2)
    judgement = judge(values)
    assert judgement.kind == "intensities"
    assert np.all(judgement.variance >= 1e-4 / 12.0 * (1.0 - 1e-9))  # a twelfth of the step squared
    truth = (y + 500.0) / counts.max()
    # rounding is all the scatter there is; on the lines counting adds as much again
    assert 0.5 < np.mean((values - truth) ** 2 / judgement.variance) < 2.0


@pytest.mark.parametrize("decimals", [None, 3, 2])
def test_square_roots_of_counts_are_caught(decimals):
    _, _, counts = _counts()
    roots = np.sqrt(counts)
    judgement = judge(roots if decimals is None else np.round(roots, decimals))
    assert judgement.flag[0] == "roots-of-counts"
    assert np.all(judgement.variance == 0.25)  # of the root of a Poisson number, to first order


@pytest.mark.parametrize("level", [15.0, 100.0, 400.0, 1200.0])
def test_rounded_roots_and_rounded_scaled_counts_are_told_apart(level):
    counts = np.random.default_rng(4).poisson(level, 3000).astype(float)
    assert judge(np.round(np.sqrt(counts), 2)).flag[0] == "roots-of-counts"
    for factor in (0.01, 0.1, 0.5, 1.0 / 3.0, 1.0 / np.sqrt(level)):
        assert judge(np.round(factor * counts, 2)).flag[0] != "roots-of-counts"


def test_whole_roots_are_not_taken_for_counts():
    _, _, counts = _counts()
    assert judge(np.rint(np.sqrt(counts))).kind == "intensities"
