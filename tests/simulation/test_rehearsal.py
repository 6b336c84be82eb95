"""Whole studies that were never measured: treatments act as described, and the folder is a study that can be run."""

import re
import tomllib

import pytest

from tests.simulation.made import instrument_of
from xrdorder.description.study import read_study
from xrdorder.exceptions import ValidityError
from xrdorder.simulation.rehearsal import act, is_study, read_rehearsal, write_rehearsal
from xrdorder.treatments.short_form import schedule_of_holds

TEXT = """
title = "Two treatments"
[specimen]
from_deg = 20.0
to_deg = 60.0
step_deg = 0.1
[lots.one]
dopant_at_percent = { Ta = 2.4 }
[[samples]]
name = "cold"
lot = "one"
treatment = "625/100 h"
wires = 2
[[samples]]
name = "hot"
treatment = [{ ramp_k_per_h = 100, hold_c = 675, hours = 150 }]
domain_size_nm = 88.0
"""


@pytest.fixture
def written(tmp_path):
    path = tmp_path / "described.toml"
    path.write_text(TEXT)
    return path


def test_wires_scatter_and_what_is_told_stands(written):
    pieces = {piece.name: piece for piece in read_rehearsal(written, 4).pieces}
    assert list(pieces) == ["cold-1", "cold-2", "hot"]
    assert pieces["cold-1"].specimen.tin_at_percent != pieces["cold-2"].specimen.tin_at_percent
    assert pieces["hot"].specimen.domain_size_nm == 88.0
    assert pieces["cold-1"].specimen.dopants_at_percent == {"Ta": 2.4}
    assert not pieces["hot"].specimen.dopants_at_percent
    again = {piece.name: piece for piece in read_rehearsal(written, 4).pieces}
    assert again == pieces


def test_more_heat_means_more_tin_order_and_less_niobium(written):
    cold, _, hot = (piece.specimen for piece in read_rehearsal(written, None).pieces)
    assert hot.tin_at_percent > cold.tin_at_percent and hot.site_order > cold.site_order
    assert hot.weight_fractions["nb"] < cold.weight_fractions["nb"]


def test_treatments_act_by_the_kinetics_of_the_planner():
    """Published of a bronze wire (arXiv:1701.08681): 75 % of the reaction after 570 °C/250 h, 96 % with 650 °C/20 h
    after it. The kinetics give 0.74 and 0.95, and ramps to these holds add next to nothing."""
    first, second = (act(schedule_of_holds(text), "bronze").conversion for text in ("570/250 h", "570/250 + 650/20 h"))
    assert first == pytest.approx(0.75, abs=0.03) and second == pytest.approx(0.96, abs=0.03)
    cold, hot = act(schedule_of_holds("625/200 h")), act(schedule_of_holds("675/200 h"))
    assert hot.grain_nm > cold.grain_nm
    # what a layer gains by its temperature of formation: 0.018 T/K over 5.5 T/at.%, some 50 K
    gained = hot.tin_by_formation_at_percent - cold.tin_by_formation_at_percent
    assert gained == pytest.approx(50.0 * 0.018 / 5.5, rel=0.15)
    assert act(schedule_of_holds("650/5 h"), "powder-in-tube") != act(schedule_of_holds("650/5 h"))


def test_the_folder_is_a_study(written, tmp_path):
    target = write_rehearsal(read_rehearsal(written), instrument_of(), tmp_path / "study")
    study = read_study(tmp_path / "study")
    assert [sample.name for sample in study.samples] == ["cold-1", "cold-2", "hot"]
    assert study.samples[0].lot.dopants == {"Ta": 0.024}
    assert study.samples[2].treatment.peak_c == 675.0
    assert all(path.is_file() for sample in study.samples for path in sample.pattern)
    truth = tomllib.loads((tmp_path / "study" / "patterns" / "hot.truth.toml").read_text())
    assert truth["domain_size_nm"] == 88.0 and "treatment" in truth
    assert "no measurement" in target.read_text()
    with pytest.raises(ValidityError, match="is there already"):
        write_rehearsal(read_rehearsal(written), instrument_of(), tmp_path / "study")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("samples = 3", "samples = 3; give a table [[samples]]"),
        ("samples = [1]", "samples = [1]; give a table [[samples]]"),
        ("specimen = 1\n[[samples]]", "specimen = 1; give a table"),
        ("[lots]\none = 1\n[[samples]]", "lots.one = 1; give a table [lots.one]"),
        ("[[samples]]", "samples 1: name = ''"),
        ("[[samples]]\nname = 'a'\ntreatment = 650", "samples 1: treatment:"),
        ("[[samples]]\nname = 'a'\ntreatment = [1]", "samples 1: treatment:"),
    ],
)
def test_what_is_no_study_is_said(tmp_path, text, said):
    path = tmp_path / "wrong.toml"
    path.write_text(text)
    with pytest.raises(ValidityError, match=re.escape(said)) as caught:
        read_rehearsal(path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('lot = "one"', 'lot = "two"', "samples 1: lot 'two' is not described"),
        ("wires = 2", "wires = 0", "samples 1: wires = 0; give a whole number"),
        ('treatment = "625/100 h"', "", "samples 1: no treatment"),
        ('treatment = "625/100 h"', 'treatment = "warm"', "samples 1: treatment:"),
        ("hold_c = 675", "hold = 675", "samples 2: treatment:"),
        ('name = "hot"', 'name = "a/b"', "samples 2: name = 'a/b'"),
        ('name = "hot"', 'name = "cold-1"', "'cold-1' is there twice"),
        ("step_deg = 0.1", "step = 0.1", "step: unknown key"),
        ("[specimen]", "specimen = 3\n[more]", "more: unknown key"),
        ("[lots.one]", "[lots]\none = 3\n[extra]", "extra: unknown key"),
        ("[lots.one]", "[reaction]\norder_after = -1.0\n[lots.one]", "reaction.order_after = -1.0"),
        ("[lots.one]", "[reaction]\nhours = 1.0\n[lots.one]", "reaction.hours: unknown key"),
        ("domain_size_nm = 88.0", "domain_size_nm = -1.0", "samples 2: domain_size_nm = -1.0"),
    ],
)
def test_what_is_wrong_is_said_with_its_place(written, old, new, said):
    assert old in TEXT
    written.write_text(TEXT.replace(old, new, 1))
    assert is_study(written)
    with pytest.raises(ValidityError, match=re.escape(said)) as caught:
        read_rehearsal(written)
    assert "\n" not in str(caught.value)
