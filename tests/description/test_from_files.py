"""Patterns that came without a study get one, which reads back as what was told."""

import pytest

from xrdorder.description.from_files import HEADING, ImplicitOptions, implicit_study
from xrdorder.description.study import read_study
from xrdorder.exceptions import StudyError


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A working directory with an instrument file; its content is not looked at here."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "instrument.toml").write_text("")
    return tmp_path


def test_the_study_says_what_was_told(here):
    options = ImplicitOptions(
        phases=("nb3sn", "nb"),
        dopant_at_percent={"Ta": 2.4},
        u_dopant_at_percent={"Ta": 0.2},
        mount="ground-powder",
        temperature_c=23.0,
        specimen_length_mm=20.0,
        divergence_deg=0.5,
        radiation="cu-ka",
        axis="two-theta",
        diffractogram="wire",
        engine="scipy",
        choices={
            "texture_axes": {"nb3sn": (1, 0, 0)},
            "measured_dispersion": {"Nb": (-2.1, 0.6)},
            "roughness": (0.5, 0.05),
            "lattice_distribution": "tail",
            "mu_t": 0.5,
            "seek_phases": False,
        },
    )
    folder = implicit_study("out/study", ["data/a.xy", "b.xy"], "instrument.toml", options)
    study = read_study(folder)
    assert study.folder == here / "out/study"
    assert study.instrument.resolve() == here / "instrument.toml"
    assert (study.phases, study.engine) == (("nb3sn", "nb"), "scipy")
    a, b = study.samples
    assert [a.name, b.name] == ["a", "b"]
    assert [a.patterns[0].resolve(), b.patterns[0].resolve()] == [here / "data/a.xy", here / "b.xy"]
    assert (a.mount, a.temperature_c) == ("ground-powder", 23.0)
    assert (a.specimen_length_mm, a.divergence_deg) == (20.0, 0.5)
    assert (a.reading.radiation, a.reading.axis, a.reading.diffractogram) == ("cu-ka", "two-theta", "wire")
    assert a.choices == b.choices == options.choices
    assert a.lot.dopants == pytest.approx({"Ta": 0.024})
    assert a.lot.u_dopants == pytest.approx({"Ta": 0.002})


def test_nothing_told_takes_the_usual_phases(here):
    study = read_study(implicit_study("study", ["a.xy"], "instrument.toml"))
    assert study.phases == ()
    assert study.samples[0].lot.dopants == {}


def test_a_folder_moved_with_its_patterns_still_finds_them(here):
    (here / "all").mkdir()
    folder = implicit_study("all/study", ["all/a.xy"], "instrument.toml")
    assert 'pattern = "../a.xy"' in (folder / "study.toml").read_text()


def test_names_from_files_are_safe_and_differ(here):
    paths = ["1/wire a.xy", "2/wire a.xy", "3/WIRE-a.cif", 'odd "name".xy', "back\\slash.xy"]
    study = read_study(implicit_study("study", paths, "instrument.toml"))
    assert [s.name for s in study.samples] == ["wire-a", "wire-a-2", "WIRE-a-3", "odd-name", "back-slash"]
    assert study.samples[3].patterns[0].name == 'odd "name".xy'
    assert study.samples[4].patterns[0].name == "back\\slash.xy"


def test_an_implicit_study_is_renewed_but_a_written_one_never(here):
    folder = implicit_study("study", ["a.xy"], "instrument.toml")
    implicit_study("study", ["b.xy"], "instrument.toml")
    assert read_study(folder).samples[0].name == "b"
    file = folder / "study.toml"
    mine = file.read_text().replace(HEADING + "\n", "")
    file.write_text(mine)
    with pytest.raises(StudyError, match="describes a study already and is not replaced"):
        implicit_study("study", ["c.xy"], "instrument.toml")
    assert file.read_text() == mine


def test_no_pattern_and_no_folder(here):
    with pytest.raises(StudyError, match="no pattern was named"):
        implicit_study("study", [], "instrument.toml")
    with pytest.raises(StudyError, match="is a file"):
        implicit_study("instrument.toml", ["a.xy"], "instrument.toml")
