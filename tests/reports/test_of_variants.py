"""Figures of variants: what has nothing to show is left out, and stops nothing."""

from tests.reports import made
from xrdorder.measured.held import Held
from xrdorder.reports import of_variants
from xrdorder.reports.pictures import Scene


def test_measured_values_without_an_estimate_give_no_figure(tmp_path, monkeypatch):
    opened = made.opened(tmp_path)
    monkeypatch.setattr(of_variants, "hold", lambda _: Held("t", (), {}, {}))
    assert of_variants.measured(Scene.of(opened)) is None
