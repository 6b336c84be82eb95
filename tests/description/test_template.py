"""A study to begin with is valid, shows keys that exist, and never replaces anything."""

import re

import pytest

from xrdorder.description.new_study import new_study
from xrdorder.description.study import read_study
from xrdorder.exceptions import StudyError
from xrdorder.running.run import run_study

SHOWN = re.compile(r"^# (?=[\w.]+ = )", re.MULTILINE)


def test_it_is_valid_as_it_stands(tmp_path):
    path = new_study(tmp_path / "wires")
    assert path == tmp_path / "wires/study.toml" and (tmp_path / "wires/patterns").is_dir()
    found = read_study(tmp_path / "wires")
    assert found.title == "wires"
    assert [one.treatment.short_name for one in found.samples] == ["210/48 + 650/100 h", "680 °C/50 h"]
    assert all(one.lot.name == "A" for one in found.samples)


def test_a_title_of_any_letters(tmp_path):
    new_study(tmp_path, 'The "new" wires {µ}\\')
    assert read_study(tmp_path).title == 'The "new" wires {µ}\\'


def test_every_line_that_is_shown_may_be_used(tmp_path):
    path = new_study(tmp_path)
    (tmp_path / "samples.csv").write_text("name,pattern\ns1,a.xy\n")
    text = path.read_text(encoding="utf-8")
    places = [match.start() for match in SHOWN.finditer(text)]
    assert len(places) > 15
    for at in places:
        line = text[at:].split("\n", 1)[0]
        needs = "dopant_at_percent" if line.startswith("# u_dopant") else ""
        used = text[:at] + text[at + 2 :]
        path.write_text(used.replace(f"# {needs}", needs) if needs else used, encoding="utf-8")
        read_study(tmp_path)
    # and all of them together, but for the one that says the opposite
    together = SHOWN.sub("", text).replace("undoped = true", "")
    path.write_text(together, encoding="utf-8")
    assert len(read_study(tmp_path).samples) == 3


def test_a_first_run_says_what_is_missing(tmp_path):
    new_study(tmp_path)
    with pytest.raises(StudyError) as caught:
        run_study(tmp_path)
    first, *others = str(caught.value).splitlines()
    assert "instrument.calibrate.pattern: there is no file 'patterns/lab6.xy'" in first
    assert all("pattern: there is no file 'patterns/" in line for line in others) and len(others) == 2


def test_nothing_is_replaced(tmp_path):
    path = new_study(tmp_path)
    path.write_text("mine")
    with pytest.raises(StudyError, match=r"study\.toml: describes a study already and is not replaced; edit it"):
        new_study(tmp_path)
    assert path.read_text() == "mine"
    with pytest.raises(StudyError, match="is a file; name a folder"):
        new_study(path)
