"""Every row of the table of outside checks agrees, and enough of them are independent."""

import pytest

from tests.outside.rows import Row, all_rows

ROWS = list(all_rows())


@pytest.mark.parametrize(("subject", "row"), ROWS, ids=[f"{subject}: {row.quantity}" for subject, row in ROWS])
def test_ours_agrees_with_the_outside(subject: str, row: Row) -> None:
    ours, outside = row.values()
    agrees = ours == pytest.approx(outside, abs=row.tolerance)
    assert agrees == (not row.disagrees), f"{ours} against {outside}: {row.disagrees or row.reason}"


def test_rows_say_where_they_come_from_and_none_stands_twice() -> None:
    names = [row.quantity for _, row in ROWS]
    assert len(set(names)) == len(names)
    for _, row in ROWS:
        assert row.tolerance > 0.0 and row.reason and row.source, row.quantity


def test_at_least_eighty_rows_are_independent() -> None:
    assert sum(row.kind == "independent" for _, row in ROWS) >= 80
