"""Trends: every sample in its place, independent and shared uncertainty apart, each lot with its test."""

import numpy as np
import pytest
from matplotlib.collections import LineCollection

from tests.figures import made
from xrdorder.drawing.layout import BAR, BLOCK, STRONG
from xrdorder.drawing.palette import FOG
from xrdorder.exceptions import StudyError
from xrdorder.figures import TRENDS, trend_figure
from xrdorder.relations.published_samples import points


@pytest.fixture(scope="module")
def trends():
    return trend_figure(made.results())


def panels(figure):
    return {axes.get_ylabel(): axes for axes in figure.axes if axes.get_ylabel()}


def marks(axes):
    """Place and height of every own mark (before the published ones)."""
    found = [line for line in axes.lines if line.get_linestyle() == "None" and line.zorder > 1]
    return sorted(tuple(map(float, place)) for line in found for place in line.get_xydata())


def bars(axes, width):
    """Place and length of every bar of a width: of a whole lot, or one of many."""
    one = [line for line in axes.lines if line.get_linestyle() != "None" and line.get_linewidth() == width]
    ends = [line.get_xydata() for line in one if len(line.get_xydata()) == 2]
    many = [one for one in axes.collections if isinstance(one, LineCollection) and set(one.get_linewidths()) == {width}]
    ends += [segment for one in many for segment in one.get_segments()]
    assert all(a == b for (a, _), (b, _) in ends)
    return sorted((float(a), float(abs(high - low))) for (a, low), (_, high) in ends)


def test_every_sample_is_a_mark_of_its_own_near_its_temperature(trends):
    axes = panels(trends)["site order"]
    found = marks(axes)
    assert sorted(y for _, y in found) == pytest.approx(sorted(piece[4] for piece in made.PIECES))
    for name, _, peak, _, order, _, _ in made.PIECES:
        x = next(x for x, y in found if y == pytest.approx(order))
        assert abs(x - peak) < 12.5, name  # nearer to its own temperature than to any other
    places = [x for x, _ in found]
    assert min(np.diff(places)) > 1.0  # replicates stand beside each other


def test_bars_at_marks_are_the_own_part_and_the_common_part_is_drawn_apart(trends):
    axes = panels(trends)["tin content (at.%)"]
    own = bars(axes, STRONG)
    assert [length for _, length in own] == pytest.approx([2 * 0.15] * len(made.PIECES))
    common = bars(axes, BAR)
    assert [length for _, length in common] == pytest.approx([2 * 1.5] * 2)  # one a lot
    assert min(x for x, _ in common) > 700.0 + 12.5 - 1e-9  # right of the last temperature


def test_estimates_show_their_interval(trends):
    axes = panels(trends)[r"$T_\mathrm{c}$, estimated (K)"]
    results = made.results()
    lengths = results["Tc_high_K"].values - results["Tc_low_K"].values
    assert sorted(length for _, length in bars(axes, BLOCK)) == pytest.approx(sorted(lengths), rel=1e-9)
    assert lengths == pytest.approx(3.0, rel=0.1)  # as made


def test_the_page_names_lots_and_what_is_not_shown():
    more = [("bad", "A", "failed: line 3"), ("none", "B", "no A15")]
    figure = trend_figure(made.results(more=more))
    written = " ".join(text.get_text() for text in figure.texts)
    assert "A made study" in written
    assert "2 without result or treatment not shown" in " ".join(written.split())
    assert "not measurements" in " ".join(written.split())
    (legend,) = figure.legends
    assert [text.get_text() for text in legend.get_texts()] == ["A", "B"]


def test_a_sample_without_treatment_is_left_out():
    pieces = [*made.PIECES, ("loose", "A", None, None, 0.99, 0.25, 18.0)]
    axes = panels(trend_figure(made.results(pieces)))["site order"]
    assert 0.99 not in [round(y, 6) for _, y in marks(axes)]


def test_nothing_to_show_is_said_in_one_line():
    pieces = [(name, lot, None, None, *rest) for name, lot, _, _, *rest in made.PIECES]
    with pytest.raises(StudyError, match="treatment") as caught:
        trend_figure(made.results(pieces))
    assert "\n" not in str(caught.value)


def test_one_temperature_and_one_lot_are_enough():
    figure = trend_figure(made.results(made.PIECES[1:2]), TRENDS[:2])
    figure.canvas.draw()
    assert len(marks(panels(figure)["site order"])) == 1


def test_a_quantity_that_could_not_be_given_leaves_a_gap():
    results = made.results()
    place = list(results["quantity"].values).index("site_order")
    results["value"].values[0, place] = np.nan
    figure = trend_figure(results, TRENDS[:2])
    assert len(marks(panels(figure)["site order"])) == len(made.PIECES) - 1
    assert len(marks(panels(figure)["tin content (at.%)"])) == len(made.PIECES)


def test_panels_are_those_asked_for():
    figure = trend_figure(made.results(), TRENDS[:1])
    assert list(panels(figure)) == ["site order"]


def test_the_words_fit_on_the_page(trends):
    for figure in (trends,):
        figure.canvas.draw()
        renderer = figure.canvas.get_renderer()
        width, height = figure.canvas.get_width_height()
        for text in [*figure.texts, *[t for axes in figure.axes for t in axes.texts]]:
            if text.get_text().strip():
                box = text.get_window_extent(renderer)
                assert 0 <= box.x0 and box.x1 <= width and 0 <= box.y0 and box.y1 <= height, text.get_text()


def test_each_lot_says_the_change_over_the_range_and_its_test():
    straight = [
        (f"{lot}-{t}", lot, t, 50, 0.90 + rise * (t - 600) + noise, 0.24, 16.0)
        for lot, rise in (("A", 1e-3), ("B", 0.0))
        for t, noise in zip((600, 620, 640, 660, 680, 700), (1e-3, -1e-3, 2e-3, -2e-3, 0.0, 0.0), strict=True)
    ]
    axes = panels(trend_figure(made.results(straight), ["site_order"]))["site order"]
    words = [text.get_text() for text in axes.texts]
    assert any(word.startswith("+0.09") and word.endswith(("p < 0.001", "p = 0.001")) for word in words), words
    assert any(word.endswith("not significant") for word in words)
    solid = [line for line in axes.lines if len(line.get_xdata()) > 2 and line.get_linestyle() == "-"]
    assert len(solid) == 1  # of the lot whose slope is significant; the other is dashed


def test_a_line_that_is_rejected_is_not_drawn_and_said():
    bent = [(f"A-{t}", "A", t, 50, 0.95 - 4e-5 * (t - 650) ** 2, 0.24, 16.0) for t in (600, 620, 640, 660, 680, 700)]
    axes = panels(trend_figure(made.results(bent), ["site_order"]))["site order"]
    assert not [line for line in axes.lines if len(line.get_xdata()) > 6]
    assert "a line is rejected" in [text.get_text() for text in axes.texts]


def test_published_wires_stand_in_grey_behind_within_the_frame():
    axes = panels(trend_figure(made.results(), ["site_order"]))["site order"]
    grey = [line for line in axes.lines if line.get_color() == FOG]
    x, y = np.concatenate([line.get_xydata() for line in grey]).T
    known = points("treatment_c", "site_order", form="wire")
    assert len(x) and set(zip(x, y, strict=True)) <= set(zip(known.x, known.y, strict=True))
    assert all(line.zorder < 1 for line in grey)


def test_sizes_stand_on_a_logarithmic_axis():
    results = made.results(sizes=(70.0, 90.0, 92.0, 130.0, 85.0, 110.0))
    axes = panels(trend_figure(results, ["domain_size_nm"]))["domain size (nm)"]
    assert axes.get_yscale() == "log" and len(axes.get_yticks()) > 1
