"""The figure of predicted against measured: what is drawn is what was compared."""

import io
import math

import pytest

from tests.descriptions import measured
from xrdorder.exceptions import StudyError
from xrdorder.figures.measured import measured_figure
from xrdorder.measured.agreement import Agreement
from xrdorder.measured.held import Held
from xrdorder.measured.rows import Row
from xrdorder.relations import PUBLISHED

NAMES = ("godeke-2006-boltzmann", "devantay-1981-line", "order-resistivity-chain")


def held(rows=None):
    tc, tin = measured("Tc_K", 16.9, 0.1), measured("tin_at_percent", 24.0, 0.4)
    found = tuple(
        Agreement((PUBLISHED.relation(name),), probability=p, difference=d, u_own=0.2, u_common=0.5)
        for name, p, d in zip(NAMES, (0.7, 0.2, 0.1), (-0.2, 0.4, math.nan), strict=True)
    )
    usual = (
        Row("one", "A", tc, "4 relations", 16.4, 15.0, 17.5),
        Row("two", "B", tc, "4 relations", 17.0, 16.0, 17.8),
        Row("one", "A", tin, "lattice", 23.6, 22.1, 25.1),
        Row("one", "A", tin, "lattice and order", 23.8, 23.3, 24.3),
        Row("one", "A", measured("grain_size_nm", 140.0, 15.0), "domain size", 110.0, 108.0, 112.0, comparable=False),
        Row("one", "A", measured("rrr_copper", 140.0, 15.0), note="not estimated", comparable=False),
    )
    return Held("A study", usual if rows is None else rows, {("A", "Tc_K"): found}, {"A": "any", "B": "any"})


def test_each_quantity_has_a_panel_with_one_mark_for_each_value_and_relations_stand_beside():
    figure = measured_figure(held())
    tin, tc, relations = figure.axes
    marks = [line.get_xydata()[0] for line in tc.lines if len(line.get_xdata()) == 1]
    assert [tuple(mark) for mark in marks] == [(16.4, 16.9), (17.0, 16.9)]
    (mark,) = [line.get_xydata()[0] for line in tin.lines if len(line.get_xdata()) == 1]
    assert tuple(mark) == (23.8, 24.0)  # of several routes the one that uses most
    assert "lattice and order" in tin.get_xlabel()
    assert tc.get_xlim() == tc.get_ylim()  # the line of equality is the diagonal
    assert [label.get_text() for label in relations.get_yticklabels()] == list(NAMES[:2])  # without a number: no line
    assert [text.get_text() for text in relations.texts] == ["p 0.70", "p 0.20"]
    figure.savefig(io.BytesIO(), format="png")


def test_nothing_to_compare_is_said():
    alone = Row("one", "A", measured("rrr_copper", 140.0, 15.0), note="not estimated", comparable=False)
    with pytest.raises(StudyError, match="there is nothing to draw"):
        measured_figure(held((alone,)))
