"""A suggestion becomes part of the study, and what is found of it is held against what was predicted."""

import tomllib

import numpy as np
import pytest

from tests.planning.lots import study
from xrdorder.description.study import read_study, study_of
from xrdorder.exceptions import StudyError
from xrdorder.planning.adding import add_treatment, waiting
from xrdorder.planning.foretold import foretold, suggested
from xrdorder.planning.study import plan_lot
from xrdorder.results.described_columns import told_words
from xrdorder.superconductivity.currents import Conditions
from xrdorder.treatments import Schedule, Step

TEXT = """# my wires, do not touch
instrument = { file = "instrument.toml" }  # of March

[lots.heron]
route = "bronze"
undoped = true

[[samples]]
name = "heron-650c-100h"   # the first
pattern = "patterns/heron-650c-100h.xy"
radiation = "cu-ka"
mount = "ground-powder"
lot = "heron"
treatment = "210/48 + 650/100"
"""
NEW = Schedule((Step(210, 48, 25), Step(660, 80, 50)))


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "study.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "instrument.toml").write_text("", encoding="utf-8")
    return tmp_path


def test_a_treatment_is_appended_and_nothing_else_changes(folder):
    made = add_treatment(read_study(folder), "heron", NEW, "Ic expected\n+3 %")
    text = made.file.read_text(encoding="utf-8")
    assert text.startswith(TEXT) and "Ic expected +3 %" in text
    after = read_study(folder)
    assert made == (folder / "study.toml", "suggested-1", "heron-660c-80h", "patterns/heron-660c-80h.xy")
    new = after.sample("heron-660c-80h")
    assert new.treatment == NEW and new.lot.name == "heron" and new.mount == "ground-powder"


def test_what_was_added_waits_for_its_pattern(folder):
    """The same once more is refused in one line; another one goes beside it, and once measured it is a replicate."""
    assert waiting(read_study(folder), "heron") == ()
    add_treatment(read_study(folder), "heron", NEW, "")
    said = "heron-660c-80h has no pattern yet at patterns/heron-660c-80h.xy"
    assert [one.words for one in waiting(read_study(folder), "heron")] == [said]
    text = (folder / "study.toml").read_text(encoding="utf-8")
    with pytest.raises(StudyError, match="was added before and waits: heron-660c-80h has no pattern yet") as refused:
        add_treatment(read_study(folder), "heron", NEW, "once more")
    assert "\n" not in str(refused.value) and (folder / "study.toml").read_text(encoding="utf-8") == text
    other = Schedule((Step(210, 48, 25), Step(665, 60, 50)))
    assert add_treatment(read_study(folder), "heron", other, "")[1:3] == ("suggested-2", "heron-665c-60h")
    (folder / "patterns").mkdir()
    (folder / "patterns" / "heron-660c-80h.xy").write_text("", encoding="utf-8")
    assert [one.sample for one in waiting(read_study(folder), "heron")] == ["heron-665c-60h"]
    again = add_treatment(read_study(folder), "heron", NEW, "once more")
    assert (again.treatment, again.sample) == ("suggested-3", "heron-660c-80h-2")


def test_a_file_that_cannot_be_appended_to_stays_as_it_is(folder):
    table = tomllib.loads(TEXT)["samples"][0]
    inline = ", ".join(f'{key} = "{value}"' for key, value in table.items())
    text = TEXT[: TEXT.index("[lots")] + f"samples = [{{ {inline} }}]\nlots = {{ heron = {{ undoped = true }} }}\n"
    (folder / "study.toml").write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match="add the treatment by hand"):
        add_treatment(read_study(folder), "heron", NEW, "")
    assert (folder / "study.toml").read_text(encoding="utf-8") == text


def planned(results, treatments):
    return plan_lot(results, treatments, "heron", Conditions(4.2), (12.0,), route="internal-tin")


def test_what_was_found_is_held_against_the_other_wires():
    results, treatments = study(fields=(12.0,))
    new = list(treatments)[3]
    named = {"suggested-1": treatments[new], "usual": treatments[next(iter(treatments))]}
    assert suggested(treatments, named) == (new,)
    told = foretold(planned(results, treatments), results, (new,))
    assert {one.noun for one in told} >= {"domain size", "tin", "Ic at 12 T"}
    current = next(one for one in told if one.noun == "Ic at 12 T")
    assert current.unit == "A" and abs(current.score) < 3.0
    assert foretold(planned(results, treatments), results, ()) == ()


def test_a_miss_says_what_it_says_of_the_model():
    results, treatments = study(fields=(12.0,), sizes=np.array([80.0, 90, 85, 300, 95, 100, 110, 115]))
    told = foretold(planned(results, treatments), results, (list(treatments)[3],))
    size = next(one for one in told if one.noun == "domain size")
    assert size.score > 2.0 and size.says == "grains grow more than published"
    assert size.found == pytest.approx(300.0) and size.predicted < 150.0


def test_courses_of_conversion_are_files_of_the_study(folder):
    """One or several; written again they are the same, and a file that is not there is refused in one line."""
    (folder / "run.csv").write_text("", encoding="utf-8")
    for told in ('"run.csv"', '["run.csv"]'):
        text = TEXT.replace("undoped = true", f"undoped = true\nconversion = {told}", 1)
        (folder / "study.toml").write_text(text, encoding="utf-8")
        study = read_study(folder)
        assert study.samples[0].lot.conversion == (folder / "run.csv",)
        again = study_of(tomllib.loads(study.to_toml()), folder)
        assert again.samples[0].lot == study.samples[0].lot
        assert "conversion" not in told_words(study.samples[0])  # no result is made from it
    (folder / "run.csv").unlink()
    with pytest.raises(StudyError, match=r"lots\.heron\.conversion no\. 1: there is no file 'run\.csv'"):
        read_study(folder)
