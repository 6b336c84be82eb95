"""Bc2 against grains: marks where samples stand, lines relative to the reference."""

import numpy as np
import pytest
from matplotlib.collections import LineCollection

from tests.comparison.test_bc2_grain_size import AT, sample
from tests.figures.labels import EVERY_SIZE, troubles
from xrdorder.comparison.bc2_grain_size import placed
from xrdorder.exceptions import StudyError
from xrdorder.figures.bc2_grain_size import trade_figure

HOSTILE = "$x$ <b> " + "long-name-" * 8


@pytest.fixture(scope="module")
def samples():
    pieces = [("620 °C", 0.230, 70.0, "A"), ("680 °C", 0.234, 100.0, "A"), (HOSTILE, 0.239, 150.0, "B")]
    return [sample(name, tin, size, 0.0005, lot) for name, tin, size, lot in pieces]


def test_marks_and_bars_stand_where_samples_do(samples):
    axes = trade_figure(samples, "620 °C", conditions=AT).axes[0]
    found = placed(samples, "620 °C", AT)
    base = float(samples[0].grain.band.median)
    marks = {(float(x.get_xdata()[0]), float(x.get_ydata()[0])) for x in axes.lines if len(x.get_xdata()) == 1}
    assert marks == {(base * float(one.size_ratio.median), float(one.bc2_difference.median)) for one in found}
    bars = [bar for one in axes.collections if isinstance(one, LineCollection) for bar in one.get_segments()]
    lengths = sorted(float(bar[1, 1] - bar[0, 1]) for bar in bars if bar[0, 0] == bar[1, 0])
    assert lengths == sorted(float(one.bc2_difference.high - one.bc2_difference.low) for one in found[1:])


def test_the_line_of_equal_currents_goes_through_the_reference(samples):
    axes = trade_figure(samples, "620 °C", conditions=AT).axes[0]
    lines = next(one for one in axes.collections if hasattr(one, "levels"))
    equal = lines.get_paths()[list(lines.levels).index(1.0)].vertices
    base = float(samples[0].grain.band.median)
    at = np.interp(base, equal[np.argsort(equal[:, 0]), 0], equal[np.argsort(equal[:, 0]), 1])
    assert abs(at) < 0.02 * np.ptp(axes.get_ylim())
    words = [text.get_text() for text in axes.texts]
    assert any("(reference)" in word for word in words)
    assert any(word.startswith("Uncertainty shared by all") for word in words)


@pytest.mark.parametrize("size", EVERY_SIZE)
def test_words_have_room(samples, size):
    figure = trade_figure(samples, HOSTILE, conditions=AT, named=["620 °C"], title="$a$ & $b$ " * 12, size=size)
    assert troubles(figure) == []


def test_one_sample_has_nothing_to_trade_with(samples):
    with pytest.raises(StudyError, match="nothing to draw"):
        trade_figure(samples[:1], "620 °C")


def test_names_keep_off_the_marks_of_others(samples):
    crowd = [*samples, *[sample(f"near {k}", 0.2305, 74.0 + k, 0.0005, "B") for k in range(3)]]
    axes = trade_figure(crowd, "620 °C", conditions=AT).axes[0]
    (name,) = [text for text in axes.texts if "(reference)" in text.get_text()]
    box = name.get_window_extent()
    marks = [axes.transData.transform((line.get_xdata()[0], line.get_ydata()[0])) for line in axes.lines
             if len(line.get_xdata()) == 1]  # fmt: skip
    assert len(marks) == len(crowd)
    assert not any(box.contains(*mark) for mark in marks)
