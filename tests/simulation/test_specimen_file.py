"""Descriptions of specimens: everything has a default, and what is wrong is one line that says what belongs there."""

import re

import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.material import PUBLISHED_SCALE
from xrdorder.simulation import Described, read_description
from xrdorder.simulation.scans import toml_of
from xrdorder.simulation.specimen_file import described


def test_an_empty_file_is_a_whole_specimen(tmp_path):
    path = tmp_path / "specimen.toml"
    path.write_text("")
    assert read_description(path) == Described()


def test_a_description_comes_back_from_its_file(tmp_path):
    made = Described(tin_at_percent=23.1, texture={"nb": 0.3}, dopants_at_percent={"Ta": 2.4}, step_deg=0.03)
    path = tmp_path / "specimen.toml"
    path.write_text(toml_of(made.table()))
    assert read_description(path) == made


def test_the_lattice_follows_tin_unless_it_is_told():
    assert Described(tin_at_percent=23.0).a_nm == pytest.approx(PUBLISHED_SCALE.lattice(0.23), abs=1e-12)
    assert Described(lattice_nm=0.5287).a_nm == 0.5287


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("tin_at_percent = 0.24", "tin_at_percent = 0.24; give at.% inside the A15 field"),
        ("site_order = 1.2", "site_order = 1.2; give r_a"),
        ("domain_size = 100", "domain_size: unknown key; did you mean 'domain_size_nm'?"),
        ("domain_size_nm = 'large'", "domain_size_nm = 'large'; give nm"),
        ("from_deg = 150\nto_deg = 140", "give a range"),
        ("to_deg = 180", "to_deg = 180; give degrees 2 theta that an instrument reaches"),
        ("step_deg = 0.0001", "more than 200000 points"),
        ("[weight_fractions]\nnb = 0.99", "weight_fractions.nb = 0.99"),
        ("[weight_fractions]\nnb3sn = 0.5", "the A15 has what the others leave"),
        ("[weight_fractions]\nnb = 0.6\ncu-sn = 0.4", "leave less than 5 %"),
        ("[texture]\nta = 0.2", "texture.ta: no such phase"),
        ("[dopants_at_percent]\nXx = 2.0", "dopant 'Xx'"),
        ("mount = 'glued'", "mount = 'glued' is unknown"),
        ("weight_fractions = 0.1", "give a table"),
        ("tin_at_percent = ", "cannot be read as TOML"),
        ("seconds_per_step = true", "seconds_per_step = True"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(tmp_path, text, said):
    path = tmp_path / "wrong.toml"
    path.write_text(text)
    with pytest.raises(ValidityError, match=re.escape(said)) as caught:
        read_description(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(ValidityError, match="no such description"):
        read_description(tmp_path / "none.toml")


def test_what_a_table_leaves_out_is_as_in_the_base():
    base = Described(tin_at_percent=22.0)
    assert described({"site_order": 0.9}, base) == Described(tin_at_percent=22.0, site_order=0.9)
