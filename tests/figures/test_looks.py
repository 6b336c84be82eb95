"""A few figures look as they did when somebody last looked at them."""

import pytest
from matplotlib.testing.compare import compare_images

from tests.figures.looks import FIGURES, FOLDER, draw
from xrdorder.drawing import palette

TOLERANCE = 1.0
"""Root mean square difference of pixels, of 255. The same version of matplotlib draws the same pixels; one changed
colour of a small mark makes more than this (below), edges that are smoothed otherwise by another version less."""


def difference(name, folder):
    drawn = folder / f"{name}.png"
    draw(name, drawn)
    found = compare_images(str(FOLDER / f"{name}.png"), str(drawn), 0.0, in_decorator=True)
    return found["rms"] if found else 0.0


@pytest.mark.parametrize("name", FIGURES)
def test_it_looks_as_it_did(name, tmp_path):
    assert difference(name, tmp_path) < TOLERANCE


def test_another_colour_of_one_phase_is_seen(tmp_path, monkeypatch):
    monkeypatch.setattr(palette, "_PHASE_ORDER", (palette.STRAW, *palette._PHASE_ORDER[1:]))
    assert difference("fit", tmp_path) > TOLERANCE
