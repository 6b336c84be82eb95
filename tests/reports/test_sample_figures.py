"""A figure beside the results that cannot be drawn is told and costs nothing else."""

import pytest

from tests.figures import made
from xrdorder.exceptions import StudyError
from xrdorder.reports import sample_figures


@pytest.fixture
def study(tmp_path):
    (tmp_path / "results/samples").mkdir(parents=True)
    (tmp_path / "results/results.nc").touch()
    return tmp_path


def test_a_figure_that_fails_leaves_the_others(study, monkeypatch):
    def fails(*_):
        raise IndexError("index 3 is out of bounds")

    monkeypatch.setattr(sample_figures, "trend_figure", fails)
    missed = []
    sample_figures.draw_study(study, made.results(), missed.append)
    (missing,) = missed
    assert missing.words.startswith("trends.png: IndexError: index 3 is out of bounds (details in ")
    assert "\n" not in missing.words


def test_what_the_disk_refuses_is_raised(study):
    (study / "results/figures").write_text("a file in the way")
    with pytest.raises(StudyError, match="a file stands where a folder is meant"):
        sample_figures.draw_study(study, made.results(), lambda missing: None)
