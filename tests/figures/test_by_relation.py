"""Tc and Bc2 by each relation: the joint estimate on top, every relation in its row, refused ones with their reason."""

import pytest

from tests.figures import made
from tests.figures.labels import EVERY_SIZE, troubles
from xrdorder.drawing.layout import ONE_COLUMN
from xrdorder.drawing.palette import PAPER
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.figures.by_relation import _ROW_IN, by_relation_figure


@pytest.fixture(scope="module")
def figure():
    return by_relation_figure(made.results(), ["A-700", "A-625"], title="made")


def marks(axes):
    """Row (down to the first that is refused), value and filling of every mark."""
    found = [line for line in axes.lines if len(line.get_xdata()) == 1]
    places = [(float(line.get_ydata()[0]), float(line.get_xdata()[0])) for line in found]
    filled = [line.get_markerfacecolor() != PAPER for line in found]
    return sorted((int(y / _ROW_IN), round(x, 6), full) for (y, x), full in zip(places, filled, strict=True))


def test_medians_stand_in_their_rows_with_the_joint_estimate_on_top(figure):
    tc, bc2 = figure.axes
    full = [(row, x) for row, x, filled in marks(tc) if filled]
    assert full == [(0, 15.5), (0, 17.0), (1, 15.0), (1, 16.5), (2, 16.0), (2, 17.5)]
    assert [x for row, x, _ in marks(bc2) if row == 0] == [21.5, 23.0]
    bars = [line for line in tc.lines if len(line.get_xdata()) == 2 and line.get_ydata()[0] == line.get_ydata()[1]]
    ends = {tuple(map(float, line.get_xdata())) for line in bars}
    assert {(16.0, 18.0), (14.5, 16.5)} <= ends  # of a relation
    of_both = made.results().sel(sample=["A-625", "A-700"])
    joint = set(zip(of_both["Tc_low_K"].values.tolist(), of_both["Tc_high_K"].values.tolist(), strict=True))
    assert joint <= ends
    words = [text.get_text() for text in tc.texts]
    assert words[:2] == ["joint estimate", "a Tc_K"]


def test_refused_relations_have_open_marks_and_say_why(figure):
    tc = figure.axes[0]
    assert [(row, filled) for row, _, filled in marks(tc) if row == 3] == [(3, False), (3, False)]
    (words,) = [text for text in tc.texts if text.get_text().startswith("refused")]
    assert words.get_text() == "refused: too little tin"
    box = words.get_window_extent()
    assert not any(box.overlaps(line.get_window_extent()) for line in tc.lines if len(line.get_xdata()) == 1)


def test_the_valid_range_is_told_in_the_narrowest_figure():
    results = made.results()
    said = "rho = 13.57 with its uncertainty lies outside the validity 35 to 60 microohm cm"
    results["relation_reason"] = results["relation_reason"].where(results["relation_reason"] != "too little tin", said)
    axes = by_relation_figure(results, ["A-625"], size=ONE_COLUMN).axes[0]
    assert "valid 35 to 60 microohm cm" in " ".join(text.get_text() for text in axes.texts)


@pytest.mark.parametrize("size", EVERY_SIZE)
def test_words_have_room(size):
    pieces = [("$x$ <b>" + "long-name-" * 9 + str(k), *piece[1:]) for k, piece in enumerate(made.PIECES)]
    results = made.results(pieces)
    assert troubles(by_relation_figure(results, [p[0] for p in pieces[:3]], title="$a$ & $b$ " * 12, size=size)) == []
    assert troubles(by_relation_figure(results, [pieces[0][0]], size=size)) == []


def test_what_cannot_be_drawn_is_said():
    results = made.results(more=[("bad", "A", "failed: line 3")])
    with pytest.raises(UnknownNameError, match="A-625"):
        by_relation_figure(results, ["none"])
    with pytest.raises(StudyError, match="choose 1 to 4"):
        by_relation_figure(results, [])
    with pytest.raises(StudyError, match="no published relation"):
        by_relation_figure(results, ["bad"])
