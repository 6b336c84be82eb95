"""What `import xrdorder` offers a notebook: names, faces, tidy numbers, figures; the page of the docs runs."""

import html
import inspect
import re
import subprocess
import sys
import typing
from pathlib import Path

import matplotlib.figure
import numpy as np
import pytest

import xrdorder
from tests.cli.test_commands import STUDY
from tests.figures.test_measured import held as held_against_measurements
from xrdorder.cli.console import rendered
from xrdorder.display import Displayed

PAGE = Path(__file__).parents[2] / "docs/howto/notebooks.md"
BLOCKS = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)


def test_the_entrance_hands_on_what_it_names_and_loads_nothing_heavy():
    for name in xrdorder.__all__:
        assert getattr(xrdorder, name) is not None
    assert set(xrdorder.__all__) == set(dir(xrdorder))
    assert xrdorder.relations.relation("godeke-2006-boltzmann").kind == "tc-from-tin"
    with pytest.raises(AttributeError, match="no attribute 'moon'"):
        xrdorder.moon  # noqa: B018
    code = "import sys, xrdorder; sys.exit(bool({'numpy', 'xarray', 'matplotlib', 'lmfit'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0


def test_calls_are_typed():
    for name in "read_pattern calibrate fit_pattern open_study run_study compare suggest estimate plot".split():
        function = getattr(xrdorder, name)
        assert "return" in typing.cast("dict[str, object]", inspect.get_annotations(function)), name


def test_an_estimate_shows_itself():
    found = xrdorder.estimate(lattice_nm=0.52880, site_order=0.93, n=500)
    frame = found.to_dataframe()
    tc = frame[(frame["quantity"] == "Tc") & (frame["by"] == "joint model")]
    assert len(tc) == 1 and float(tc["low"].iloc[0]) < float(tc["value"].iloc[0]) < float(tc["high"].iloc[0])
    assert "<table" in found._repr_html_() and "not a measurement" in found._repr_html_()
    figure = xrdorder.plot(found)
    assert isinstance(figure, matplotlib.figure.Figure)
    drawn = {text.get_text() for text in figure.findobj(matplotlib.text.Text)}
    assert set(frame.loc[frame["unit"].isin(["K", "T"]) & np.isfinite(frame["low"]), "by"]) <= drawn


def test_figures_have_the_width_of_a_column_by_name():
    found = xrdorder.estimate(lattice_nm=0.52880, site_order=0.93, n=200)
    assert found.plot(size="one-column").get_size_inches()[0] == pytest.approx(89 / 25.4, abs=0.01)
    with pytest.raises(ValueError, match="size 'wide': use screen, two-column, one-column"):
        found.plot(size="wide")


def test_what_cannot_be_drawn_says_so():
    class Nothing(Displayed):
        pass

    for ask in (Nothing().plot, Nothing().to_dataframe, Nothing().table):
        with pytest.raises(TypeError, match="a Nothing"):
            ask()


def test_a_notebook_shows_what_the_terminal_shows():
    held = held_against_measurements()
    screen, face = (" ".join(text.split()) for text in (rendered(*held.parts(), width=300), held._repr_html_()))
    shown = html.unescape(re.sub(r"<[^>]+>", " ", face))
    # in any order: units stand in a line of their own on a terminal, below each heading in a browser
    there, here = (sorted(word for word in text.split() if word.strip("-")) for text in (screen, shown))
    assert there == here and len(here) > 50
    assert held.table() in held.parts()


@pytest.mark.slow
def test_the_page_on_notebooks_runs(scans, instrument, tmp_path, monkeypatch):
    folder = tmp_path / "study"
    folder.mkdir()
    for name in ("one.xy", "two.xy", "lab6.xy", "instrument.toml"):
        for target in (tmp_path, folder):
            (target / name).write_bytes((scans / name).read_bytes())
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for block in BLOCKS:
        exec(compile(block, str(PAGE), "exec"), names)  # the page is ours
    assert len(BLOCKS) == 4
    assert (tmp_path / "one.png").is_file() and (tmp_path / "differences.pdf").is_file()
    for result in (names["fit"], names["calibration"], names["study"], names["comparison"], *names["plans"]):
        assert isinstance(result, Displayed) and "<table" in result._repr_html_()
        assert max(map(len, str(result).splitlines())) < 300  # a table, not the fields of the object
        assert len(result.to_dataframe()) > 0
    fit, frame = names["fit"], names["fit"].to_dataframe().set_index("quantity")
    assert frame.loc["a_nm", "value"] == fit.values["a_nm"] and frame.loc["a_nm", "u"] == fit.u("a_nm")
    study = names["study"].to_dataframe().set_index("sample")
    assert study.loc["one", "a_nm"] == float(names["results"]["a_nm"].sel(sample="one"))
    differences = names["comparison"].to_dataframe()
    (row,) = differences[differences["quantity"] == "site_order"].to_dict("records")
    expected = study.loc["two", "site_order"] - study.loc["one", "site_order"]
    assert row["difference"] == pytest.approx(expected)
