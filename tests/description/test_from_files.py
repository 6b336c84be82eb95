"""Patterns that came without a study get one, which reads back as what was told."""

import os

import pytest

from xrdorder.description.new_study import HEADING, LOT, study_from_files, write_study
from xrdorder.description.study import read_study
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.files.checked_table import Refused


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A working directory with an instrument file; its content is not looked at here."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "instrument.toml").write_text("")
    return tmp_path


def written(*told):
    """The folder of a study from files, written."""
    return write_study(study_from_files(*told))


def test_the_study_says_what_was_told(here):
    choices = {
        "texture_axes": {"nb3sn": (1, 0, 0)},
        "measured_dispersion": {"Nb": (-2.1, 0.6)},
        "roughness": (0.5, 0.05),
        "lattice_distribution": "tail",
        "mu_t": 0.5,
        "identify_phases": False,
    }
    defaults = {
        "mount": "ground-powder",
        "temperature_c": 23.0,
        "specimen_length_mm": 20.0,
        "divergence_deg": 0.5,
        "radiation": "cu-ka",
        "axis": "two-theta",
        "diffractogram": "wire",
        "fit": choices,
    }
    described = study_from_files(
        "out/study",
        ["data/a.xy", "b.xy"],
        "instrument.toml",
        phases=("nb3sn", "nb"),
        engine="scipy",
        lot={"dopant_at_percent": {"Ta": 2.4}, "u_dopant_at_percent": {"Ta": 0.2}},
        defaults=defaults,
    )
    study = read_study(write_study(described))
    assert study.folder == here / "out/study"
    assert study.instrument.resolve() == here / "instrument.toml"
    assert (study.phases, study.engine) == (("nb3sn", "nb"), "scipy")
    a, b = study.samples
    assert [a.name, b.name] == ["a", "b"]
    assert [a.pattern[0].resolve(), b.pattern[0].resolve()] == [here / "data/a.xy", here / "b.xy"]
    assert (a.mount, a.temperature_c) == ("ground-powder", 23.0)
    assert (a.specimen_length_mm, a.divergence_deg) == (20.0, 0.5)
    assert (a.radiation, a.axis, a.diffractogram) == ("cu-ka", "two-theta", "wire")
    assert a.choices == b.choices == choices
    assert a.lot.dopants == pytest.approx({"Ta": 0.024})
    assert a.lot.u_dopants == pytest.approx({"Ta": 0.002})


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_phase_file_that_is_a_pipe_is_told_as_one(here):
    os.mkfifo(here / "f.toml")
    (here / "nb").write_text("")  # a catalogue name is none of a file
    with pytest.raises(XrdorderError, match=r"f\.toml: cannot be read \(not a regular file but a pipe or device\)"):
        study_from_files("out/study", ["a.xy"], "instrument.toml", phases=("nb", "./f.toml"))


def test_nothing_told_takes_the_usual_phases(here):
    study = read_study(written("study", ["a.xy"], "instrument.toml"))
    assert study.phases == ()
    assert study.samples[0].lot.dopants == {}


def test_a_folder_moved_with_its_patterns_still_finds_them(here):
    (here / "all").mkdir()
    folder = written("all/study", ["all/a.xy"], "instrument.toml")
    assert 'pattern = "../a.xy"' in (folder / "study.toml").read_text()


def test_names_from_files_are_safe_and_differ(here):
    paths = ["1/wire a.xy", "2/wire a.xy", "3/WIRE-a.cif", 'odd "name".xy', "back\\slash.xy"]
    study = read_study(written("study", paths, "instrument.toml"))
    assert [s.name for s in study.samples] == ["wire-a", "wire-a-2", "WIRE-a-3", "odd-name", "back-slash"]
    assert study.samples[3].pattern[0].name == 'odd "name".xy'
    assert study.samples[4].pattern[0].name == "back\\slash.xy"


def test_an_implicit_study_is_renewed_but_a_written_one_never(here):
    folder = written("study", ["a.xy"], "instrument.toml")
    written("study", ["b.xy"], "instrument.toml")
    assert read_study(folder).samples[0].name == "b"
    file = folder / "study.toml"
    mine = file.read_text().replace(HEADING + "\n", "")
    file.write_text(mine)
    with pytest.raises(StudyError, match="describes a study already and is not replaced"):
        written("study", ["c.xy"], "instrument.toml")
    assert file.read_text() == mine


def test_no_pattern_and_no_folder(here):
    with pytest.raises(StudyError, match="no pattern was named"):
        written("study", [], "instrument.toml")
    with pytest.raises(StudyError, match="is a file"):
        written("instrument.toml", ["a.xy"], "instrument.toml")


def test_what_was_told_wrong_is_told_before_anything_is_written(here):
    lot, defaults = {"dopant_at_percent": {"Xx": 2.4}}, {"mount": "powder", "fit": {"mu_t": -1.0}}
    with pytest.raises(Refused) as caught:
        study_from_files("out", ["a.xy"], "instrument.toml", lot=lot, defaults=defaults)
    assert [location for location, _ in caught.value.problems] == [
        ("defaults", "mount"),
        ("defaults", "fit", "mu_t"),
        ("lots", LOT, "dopant_at_percent", "Xx"),
    ]
    assert not (here / "out").exists()
