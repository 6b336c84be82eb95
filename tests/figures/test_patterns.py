"""All patterns of a study: each by its own strongest line, in the order of treatment, with names that can be read."""

import numpy as np
import pytest

from tests.figures import made
from tests.figures.labels import troubles
from xrdorder.drawing.layout import SIZES
from xrdorder.exceptions import StudyError
from xrdorder.figures.patterns import MOST_CURVES, SamplePattern, patterns_figure

CURVES, LINES = made.curves(), made.lines()


def patterns(count, name=lambda k: f"sample-{k}"):
    """The hottest first."""
    return [SamplePattern(name(k), CURVES, LINES, f"{900 - k} °C/50 h", 900.0 - k, 50.0) for k in range(count)]


def curves_of(axes):
    return [line for line in axes.lines if len(line.get_xdata()) > 100]


def test_a_few_are_curves_each_by_the_root_of_its_strongest_line():
    dim = CURVES.assign(observed=0.01 * CURVES["observed"], calculated=0.01 * CURVES["calculated"])
    figure = patterns_figure([*patterns(2), SamplePattern("dim", dim, LINES)])
    _, axes = figure.axes
    lanes = [line.get_ydata() - np.floor(k * 0.8) for k, line in enumerate(reversed(curves_of(axes)))]
    tall = [float(np.ptp(y)) for y in lanes]
    assert tall == pytest.approx([tall[0]] * 3, rel=1e-6)  # a hundredth of the counts is drawn as high
    # the weak line (110) over the strongest: the root of what the fit says, counting noise of 5 % left
    line = curves_of(axes)[0]
    x, y = line.get_xdata(), line.get_ydata()
    floor = 2 * axes.get_ylim()[1] / 3
    near = np.abs(x - 23.76) < 0.2
    shares = CURVES["calculated"].values / CURVES["calculated"].values.max()
    expected = np.sqrt(shares[np.abs(CURVES["two_theta"].values - 23.76) < 0.2].max())
    assert (y[near].max() - floor) / (y.max() - floor) == pytest.approx(expected, rel=0.05)


def test_patterns_stand_in_the_order_of_treatment_and_unknown_ones_last():
    unknown = SamplePattern("unknown", CURVES, LINES)
    figure = patterns_figure([unknown, *patterns(3)])
    texts = figure.axes[1].texts
    heights = {text.get_text(): text.get_position()[1] for text in texts}
    assert heights["sample-2"] > heights["sample-1"] > heights["sample-0"] > heights["unknown"]


def test_counting_times_do_not_count():
    times = np.where(CURVES["two_theta"].values > 60.0, 4.0, 1.0)
    names = [name for name in CURVES if name != "weighted_residual"]
    longer = CURVES.assign({name: CURVES[name] * times for name in names} | {"time_factor": ("two_theta", times)})
    plain, timed = (
        curves_of(patterns_figure([SamplePattern("a", curves, LINES)]).axes[1])[0].get_ydata()
        for curves in (CURVES, longer)
    )
    np.testing.assert_allclose(timed, plain)


@pytest.mark.parametrize("count", [2, MOST_CURVES + 1])
def test_a_phase_that_a_later_sample_holds_has_its_marks(count):
    names = LINES["phase"].values.astype(str)
    other = next(name for name in dict.fromkeys(names) if name != "nb3sn")
    first = LINES.isel(line=names == "nb3sn")
    found = [SamplePattern(f"s{k}", CURVES, first, "", 900.0 - k) for k in range(count - 1)]
    marks = patterns_figure([*found, SamplePattern("last", CURVES, LINES)]).axes[0]
    shown = {text.get_text() for text in marks.texts}
    assert shown == {text.get_text() for text in patterns_figure([SamplePattern("all", CURVES, LINES)]).axes[0].texts}
    angles = np.concatenate([path.vertices[:, 0] for c in marks.collections for path in c.get_paths()])
    for angle in LINES["two_theta"].values[names == other]:
        assert np.min(np.abs(angles - angle)) < 1e-9


def test_many_are_a_map_with_a_row_each():
    count = MOST_CURVES + 8
    figure = patterns_figure(patterns(count))
    axes = figure.axes[1]
    (image,) = axes.images
    shades = image.get_array()
    assert shades.shape[0] == count
    edges = np.linspace(*axes.get_xlim(), shades.shape[1] + 1)

    def shade(angle):
        return float(np.max(shades[0, np.searchsorted(edges, angle) - 2 : np.searchsorted(edges, angle) + 1]))

    assert shade(38.0) == 1.0  # beyond 30 %
    assert 0.1 < shade(23.76) < 0.6
    assert shade(30.0) < 0.15
    assert [text.get_text() for text in axes.get_yticklabels()] == [f"sample-{k}" for k in reversed(range(count))]


def test_what_was_not_measured_has_no_shade():
    short = [SamplePattern(f"short-{k}", made.curves(low=30.0, high=60.0), LINES) for k in range(2)]
    figure = patterns_figure([*patterns(MOST_CURVES), *short])
    axes = figure.axes[1]
    shades = axes.images[0].get_array()
    edges = np.linspace(*axes.get_xlim(), shades.shape[1] + 1)
    outside = (edges[1:] < 29.5) | (edges[:-1] > 60.5)
    assert np.all(np.ma.getmaskarray(shades)[-1, outside] | ~np.isfinite(np.ma.getdata(shades)[-1, outside]))
    assert np.all(np.isfinite(np.ma.getdata(shades)[-1, (edges[:-1] > 30.5) & (edges[1:] < 59.5)]))


LONG = "a very long name of a spool of wire, and of its $place$ in the furnace, number {}"


@pytest.mark.parametrize(
    ("size", "count"),
    [
        *((size, count) for size in SIZES for count in (1, 5, 20)),
        pytest.param("one-column", 200, marks=pytest.mark.slow),
    ],
)
def test_nothing_is_cut_and_nothing_overlaps(size, count):
    figure = patterns_figure(patterns(count, LONG.format), title="made $x", size=SIZES[size])
    assert troubles(figure) == []


def test_without_patterns_it_says_so():
    with pytest.raises(StudyError, match="no fitted pattern"):
        patterns_figure([])
