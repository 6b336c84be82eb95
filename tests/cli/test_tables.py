"""Numbers as text: as many digits as the uncertainty allows."""

import math

import pytest

from xrdorder.cli.tables import concise, interval, table


@pytest.mark.parametrize(
    "value, u, text",
    [
        (0.52882076, 5.9e-6, "0.5288208(59)"),
        (0.0, 0.0012, "0.0000(12)"),
        (-0.0205, 0.0020, "-0.0205(20)"),
        (23.68, 1.51, "23.7(1.5)"),
        (23.68, 0.0996, "23.68(10)"),
        (65.8, 12.3, "66(12)"),
        (1234.0, 150.0, "1234(150)"),
        (99.96, 9.96, "100(10)"),
        (0.93, 0.0, "0.93"),
        (0.93, math.nan, "0.93"),
        (math.nan, 0.1, "-"),
    ],
)
def test_a_value_with_its_uncertainty(value, u, text):
    assert concise(value, u) == text


def test_an_interval_that_is_none():
    assert interval(math.nan, 3.0) == "-"


def test_short_rows_may_hold_a_long_last_cell():
    text = table(
        [("a", "b", "c")], [("x", "1", "2"), ("long name", "failed: this is much longer than the columns")]
    )
    head, rule, *lines = text.splitlines()
    assert head.index("b") == lines[0].index("1") == lines[1].index("failed")
    assert set(rule) == {"-"}
