"""A figure beside the results that cannot be drawn is told and costs nothing else."""

import os

import pytest

from tests.figures import made
from xrdorder.drawing.layout import sheet
from xrdorder.exceptions import StudyError
from xrdorder.reports import sample_figures
from xrdorder.running.pool import Processes


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


def drawn(study, results, only=None):
    """Draw fits in this process: titles of those that were done, and reasons of those missing."""
    done, missed = [], []
    figures = sample_figures.FitFigures(study, Processes(1), only)
    figures.begin(results)
    figures.finish(missed.append, lambda count, number, name: done.append((count, number, name)))
    assert [count for count, _, _ in done] == list(range(1, len(done) + 1))
    assert {number for _, number, _ in done} <= {len(done)}
    return [name for *_, name in done], [missing.name for missing in missed]


def test_fits_are_drawn_that_are_younger_than_their_figures(study, monkeypatch):
    def figure(picture):
        if picture.title == "w3":
            raise IndexError("index 3 is out of bounds")
        return sheet(1.0, 1.0)

    monkeypatch.setattr(sample_figures, "_figure", figure)
    results = made.results().isel(sample=slice(5))
    names = [f"w{k}" for k in range(5)]
    results = results.assign_coords(sample=names)
    results["flag_messages"] = ("sample", ["[]"] * 5)
    results["status"] = ("sample", ["ok", "failed: no such file", "ok", "ok", "ok"])
    for file in ("samples/w0.nc", "samples/w1.nc", "samples/w3.nc", "samples/w4.nc", "calibration-mo.nc"):
        (study / "results" / file).touch()
    fitted = ["w0", "w3", "w4"]  # w1 failed this time, w2 has no file
    assert drawn(study, results) == ([*fitted, "Calibration mo"], ["w3.png"])
    folder = study / "results/figures"
    assert {path.name for path in folder.rglob("*.png")} == {"w0.png", "w4.png", "calibration-mo.png"}
    assert drawn(study, results) == (["w3"], ["w3.png"])
    young = (folder / "samples/w4.png").stat().st_mtime + 10.0
    os.utime(study / "results/samples/w4.nc", (young, young))
    assert drawn(study, results, ["w0", "w4"]) == (["w4"], [])
