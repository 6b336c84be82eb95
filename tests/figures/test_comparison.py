"""Differences between variants: filled where more than chance, in their place, with their bars."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.collections import LineCollection, PolyCollection

from xrdorder.comparison import Compared, Values, compare
from xrdorder.drawing.layout import BAR, LINE, ONE_COLUMN, PAGE_IN, TWO_COLUMN
from xrdorder.drawing.palette import INK, PAPER
from xrdorder.exceptions import StudyError
from xrdorder.figures import difference_courses, difference_rows

LABELS = ["625 °C", "625 °C", "650 °C", "650 °C", "700 °C", "700 °C"]
TEMPERATURES = [625.0, 625.0, 650.0, 650.0, 700.0, 700.0]
TIN = (22.9, 23.1, 23.0, 23.1, 24.5, 24.7)
SIZES = (60.0, 61.0, 70.0, 71.0, 90.0, 91.0)


def compared(quantity="tin_at_percent", truths=TIN, *, pairs=False, labels=LABELS):
    """Own uncertainty 0.1, and 1.5 that all share."""
    n = len(truths)
    values = Values(
        quantity, tuple(f"w{k}" for k in range(n)), np.array(truths), np.full((n, 1), 1.5), np.full((n, 1), 0.1)
    )
    found = compare(values, labels, reference=None if pairs else labels[0])
    return Compared(values, labels, labels, TEMPERATURES, comparison=found)


def marks(axes):
    """Place of each mark, and how it is filled."""
    lines = [line for line in axes.lines if line.get_marker() == "o"]
    return [(float(x), float(y), line.get_markerfacecolor()) for line in lines for x, y in line.get_xydata()]


def bars(axes, width):
    """Ends of the horizontal bars of a line width, by row."""
    found = [one for one in axes.collections if isinstance(one, LineCollection) and one.get_linewidth()[0] == width]
    return {round(float(ends[0, 1])): np.sort(ends[:, 0]) for one in found for ends in one.get_segments()}


def test_a_row_for_each_variant_filled_where_it_is_more_than_chance():
    figure = difference_rows([compared()], title="made")
    (axes,) = figure.axes
    assert [text.get_text() for text in axes.get_yticklabels()] == ["625 °C", "650 °C", "700 °C"]
    found = {round(y): (x, face) for x, y, face in marks(axes)}
    assert len(marks(axes)) == 3
    assert [found[row][0] for row in range(3)] == pytest.approx([0.0, 0.05, 1.6])
    assert [found[row][1] for row in (1, 2)] == [PAPER, INK]
    pairs = [compared().comparison.pair(variant, "625 °C") for variant in ("650 °C", "700 °C")]
    # two wires at 0.1 each against two, and their scatter: the shared 1.5 has cancelled
    assert max(pair.u for pair in pairs) < 0.2
    for width, halves in ((BAR, [pair.u for pair in pairs]), (LINE, [pair.half_width for pair in pairs])):
        drawn = bars(axes, width)
        assert sorted(drawn) == [1, 2]
        assert [float(np.ptp(drawn[row])) / 2 for row in (1, 2)] == pytest.approx(halves)
        assert [float(np.mean(drawn[row])) for row in (1, 2)] == pytest.approx([pair.value for pair in pairs])
    (strokes,) = [line for line in axes.lines if line.get_marker() == "|"]
    expected = [(-0.1, 0), (0.1, 0), (0.0, 1), (0.1, 1), (1.5, 2), (1.7, 2)]  # wires less the mean of 625 °C, by row
    np.testing.assert_allclose(strokes.get_xydata(), expected, atol=1e-9)


def test_quantities_stand_side_by_side_and_a_variant_without_one_leaves_a_gap():
    short = compared("site_order", (0.90, 0.91, 0.95, 0.95, 0.97, 0.98), labels=[*LABELS[:2], "", "", *LABELS[4:]])
    figure = difference_rows([compared(), short])
    first, second = figure.axes
    assert (len(marks(first)), len(marks(second))) == (3, 2)
    assert second.get_xlabel() == "Δ site order" and first.get_xlabel() == "Δ tin content\n(at.%)"


def test_courses_stand_at_their_variable_and_have_a_line():
    straight = (22.9, 23.1, 23.5, 23.6, 24.5, 24.7)
    figure = difference_courses([compared(truths=straight)], "reaction temperature", "°C", title="made")
    (axes,) = figure.axes
    assert sorted(x for x, _, _ in marks(axes)) == [625.0, 650.0, 700.0]
    assert axes.get_xlabel() == "reaction temperature (°C)"
    (line,) = [line for line in axes.lines if len(line.get_xdata()) > 2 and line.get_linestyle() == "-"]
    assert np.ptp(line.get_xdata()) == pytest.approx(75.0)
    assert any(isinstance(one, PolyCollection) for one in axes.collections), "no band"


def test_a_line_that_does_not_describe_the_course_is_not_drawn():
    (axes,) = difference_courses([compared()], "reaction temperature", "°C").axes
    assert not [line for line in axes.lines if len(line.get_xdata()) > 3 and line.get_marker() == "None"]
    assert not any(isinstance(one, PolyCollection) for one in axes.collections)


def test_a_slope_that_may_be_chance_says_so():
    figure = difference_courses([compared(truths=(17.0, 17.2, 17.1, 17.1, 17.0, 17.2))], "reaction temperature", "°C")
    (axes,) = figure.axes
    assert any("not significant" in text.get_text() for text in axes.texts)


@pytest.mark.slow
@pytest.mark.parametrize("size", [ONE_COLUMN, TWO_COLUMN])
def test_six_quantities_fit_a_page(size):
    labels = [f"{600 + 10 * k} °C" for k in range(15)]
    some = compared(truths=np.linspace(22.0, 25.0, 15), labels=labels)
    some = replace(some, variable=np.arange(600.0, 750.0, 10.0))
    for figure in (difference_rows([some] * 6, size=size), difference_courses([some] * 6, "T", "°C", size=size)):
        assert figure.get_size_inches()[1] <= PAGE_IN + 1e-9


LONG = [f"a very long name of a variant and of its furnace run, number {k}" for k in (1, 1, 2, 2, 3, 3)]


@pytest.mark.parametrize("names", [LABELS, LONG])
def test_no_label_is_cut_and_no_two_are_alike(names):
    sizes = compared("domain_size_nm", SIZES, labels=names)
    figure = difference_rows([compared(labels=names), sizes])
    figure.canvas.draw()
    page = figure.bbox
    for axes in figure.axes:
        low, high = axes.get_xlim()
        ticks = [one.label1 for one in axes.xaxis.get_major_ticks() if low <= one.get_loc() <= high]
        for text in [*axes.get_yticklabels(), *ticks, axes.xaxis.label]:
            box = text.get_window_extent()
            assert box.x0 >= page.x0 and box.x1 <= page.x1 and box.y0 >= page.y0, text.get_text()
    written = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert len(set(written)) == 3


def test_what_cannot_be_drawn_is_said_in_one_line():
    with pytest.raises(StudyError, match="one reference"):
        difference_rows([compared(pairs=True)])
    with pytest.raises(StudyError, match="nothing to compare"):
        difference_rows([])
    unknown = replace(compared(), variable=[float("nan")] * 6)
    with pytest.raises(StudyError, match="no sample has a dose"):
        difference_courses([unknown], "dose", "h")
