"""Figures of variants: what has nothing to show is left out, and stops nothing."""

import pytest

from tests.reports import made
from xrdorder.exceptions import StudyError
from xrdorder.measured.held import Held
from xrdorder.reports import of_variants
from xrdorder.reports.pictures import Scene


def test_measured_values_without_an_estimate_give_no_figure(tmp_path, monkeypatch):
    opened = made.opened(tmp_path)
    monkeypatch.setattr(of_variants, "hold", lambda _: Held("t", (), {}, {}))
    (maker,) = [one for one in of_variants.MAKERS if one.name == "measured"]
    assert maker.make(Scene.of(opened)) is None
    with pytest.raises(StudyError, match="nothing to draw"):
        maker.draw(Scene.of(opened))  # asked for by its name it says why
