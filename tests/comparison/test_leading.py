"""The answer of a run and the table below it give one wire one value."""

import pytest

from tests.figures.made import collated
from xrdorder.comparison.leading import leading
from xrdorder.estimates.study_draws import estimated


def test_a_single_wire_has_the_uncertainty_of_its_row():
    results = estimated(collated(), n=200)
    tc = next(one for one in leading(results) if one.quantity == "Tc_K")
    row = results.sel(sample=tc.first)
    assert tc.value == float(row["Tc_K"])
    assert tc.u == pytest.approx(float(row["Tc_high_K"] - row["Tc_low_K"]) / 2.0)
    assert tc.difference.u > 0.0
