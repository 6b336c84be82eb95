"""A figure beside the results that cannot be drawn is told and costs nothing else."""

import pytest

from tests.figures import made
from xrdorder.cli import drawing
from xrdorder.exceptions import StudyError


@pytest.fixture
def study(tmp_path):
    (tmp_path / "results/samples").mkdir(parents=True)
    (tmp_path / "results/results.nc").touch()
    return tmp_path


def test_a_figure_that_fails_leaves_the_others(study, monkeypatch, capsys):
    def fails(*_):
        raise IndexError("index 3 is out of bounds")

    monkeypatch.setattr(drawing, "trend_figure", fails)
    drawing.draw_study(study, made.results())
    names = [path.name for path in sorted((study / "results/figures").iterdir())]
    assert names == ["differences.png"]
    said = capsys.readouterr().err
    assert said.startswith("xrdorder: figure not drawn: trends.png: IndexError: index 3 is out of bounds (details in ")
    assert said.count("\n") == 1


def test_what_the_disk_refuses_is_raised(study):
    (study / "results/figures").write_text("a file in the way")
    with pytest.raises(StudyError, match="cannot be written"):
        drawing.draw_study(study, made.results())
