"""Which relations a library gives, for which wire."""

import dataclasses

import pytest

from xrdorder.exceptions import UnknownNameError
from xrdorder.relations import KINDS, PUBLISHED, Check, relation

BOLTZMANN = relation("godeke-2006-boltzmann")


def names(kind, wire=None):
    return [entry.name for entry in PUBLISHED.relations(kind, wire)]


def test_at_least_forty_and_each_with_a_source():
    entries = PUBLISHED.relations()
    assert len(entries) >= 40
    assert {entry.kind for entry in entries} == set(KINDS)
    for entry in entries:
        assert entry.source.strip() and entry.equation.strip()
        assert entry.checks, f"{entry.name} has no worked point"


def test_wire_chooses_and_binary_stands_in():
    assert names("tc-from-tin", "Ta") == ["baumgartner-2017-tantalum"]
    binary = names("tc-from-tin", "binary")
    assert "godeke-2006-boltzmann" in binary and "baumgartner-2017-tantalum" not in binary
    assert names("tc-from-tin", "Ti") == binary
    assert names("tc-from-tin", "doped") == binary
    assert names("tc-from-tin") == names("tc-from-tin", "any")
    assert {*binary, "baumgartner-2017-tantalum"} == {*names("tc-from-tin")}
    with pytest.raises(UnknownNameError, match=r"no sort of wire 'Hf'.*binary, doped, Ta, Ti"):
        PUBLISHED.relations("tc-from-tin", "Hf")


def test_a_misspelt_name_is_answered_with_what_is_like_it():
    with pytest.raises(UnknownNameError, match=r"did you mean .*kramer-shape"):
        relation("kramer-shap")


def test_more_entries_leave_the_published_alone():
    more = PUBLISHED.with_entries([dataclasses.replace(BOLTZMANN, name="another")])
    assert more.relation("another").formula == BOLTZMANN.formula
    with pytest.raises(UnknownNameError):
        PUBLISHED.relation("another")
    with pytest.raises(ValueError, match="defined twice"):
        PUBLISHED.with_entries([BOLTZMANN])


def test_a_check_point_that_is_missed_is_refused():
    with pytest.raises(ValueError, match=r"checks is .*the formula gives 17\.[0-9]+ there"):
        dataclasses.replace(BOLTZMANN, checks=(Check((0.24,), 16.0, 0.5, "invented"),))
    with pytest.raises(ValueError, match="wire is 'Hf'"):
        dataclasses.replace(BOLTZMANN, wire="Hf")
