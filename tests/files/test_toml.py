"""TOML that anybody may have written."""

import tomllib

import pytest

from xrdorder.crystals import phase
from xrdorder.description.study import read_study
from xrdorder.exceptions import XrdorderError
from xrdorder.files import toml_table
from xrdorder.material.tin_scale_files import read_tin_scale
from xrdorder.profiles.instrument import read_instrument
from xrdorder.relations.own import read_relations

BAD = {
    "lists": ("a = " + "[" * 100_000, "nested more than 40 deep"),
    "closed lists": ("a = " + "[" * 300 + "]" * 300, "nested more than 40 deep"),
    "tables": ("a = " + "{a=" * 100_000, "nested more than 40 deep"),
    "dotted keys": (".".join(["a"] * 100_000) + " = 1", "nested more than 40 deep"),
    "quoted dotted keys": (" . ".join(['"a"', "'b'"] * 50_000) + " = 1", "nested more than 40 deep"),
    "a header": ("[" + ".".join(["a"] * 100_000) + "]", "nested more than 40 deep"),
    "a number of thousands of digits": ("a = " + "1" * 5000, "a value that cannot be"),
    "a number beyond 64 bits": (f"a = [{2**63}]", "a whole number of more than 64 bits"),
    "no TOML": ("a", "Expected"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_is_refused(case):
    text, message = BAD[case]
    with pytest.raises(tomllib.TOMLDecodeError, match=message):
        toml_table(text)


def test_what_can_be_is_read():
    text = f"a = {2**63 - 1}\nb.c.d = '{'x.y.' * 100}'\n[[e]]\nf = [[1.5]]\n[[e]]\n"
    assert toml_table(text) == tomllib.loads(text)


READERS = {
    "phase.toml": phase,
    "instrument.toml": read_instrument,
    "relations.toml": read_relations,
    "scale.toml": read_tin_scale,
    "study.toml": lambda path: read_study(path.parent),
}


@pytest.mark.parametrize("case", BAD)
@pytest.mark.parametrize("name", READERS)
def test_every_reader_says_so_in_one_line(tmp_path, name, case):
    (tmp_path / name).write_text(BAD[case][0])
    with pytest.raises(XrdorderError) as error:
        READERS[name](tmp_path / name)
    assert "TOML" in str(error.value)
    assert "\n" not in str(error.value)
