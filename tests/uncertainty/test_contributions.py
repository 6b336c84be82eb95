"""The table of contributions and the views of it."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from xrdorder.exceptions import UnknownNameError
from xrdorder.uncertainty import Contributions


@pytest.fixture
def table():
    return Contributions(
        ("a", "s"),
        ("counting/0", "counting/1", "certificate"),
        np.array([[3.0, 0.0, 4.0], [1.0, 2.0, -2.0]]),
        ("", "", "srm"),
    )


def test_totals_parts_and_budget_are_views_of_one_table(table):
    assert table.total("a") == 5.0
    assert table.part("a", shared=False) == 3.0
    assert table.part("a", shared=True) == 4.0
    assert table.budget("s") == [("counting", pytest.approx(np.sqrt(5.0))), ("certificate", 2.0)]
    assert table.budget("a")[0] == ("certificate", 4.0)
    np.testing.assert_allclose(table.covariance(), [[25.0, -5.0], [-5.0, 9.0]])


def test_unknown_quantity_names_the_known_ones(table):
    with pytest.raises(UnknownNameError, match=r"'b'.*a, s"):
        table.total("b")


def test_a_table_does_not_change_behind_its_owner(table):
    with pytest.raises(ValueError, match="read-only"):
        table.values[0, 0] = 1.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((("a",), ("x", "x"), [[1.0, 2.0]], ("", "")), "occurs twice"),
        ((("a", "a"), ("x",), [[1.0], [2.0]], ("",)), "occurs twice"),
        ((("a",), ("x",), [[1.0, 2.0]], ("",)), "shape"),
        ((("a",), ("x",), [[1.0]], ()), "0 groups"),
    ],
)
def test_tables_that_contradict_themselves_are_refused(arguments, message):
    quantities, sources, values, groups = arguments
    with pytest.raises(ValueError, match=message):
        Contributions(quantities, sources, np.array(values), groups)


def test_the_same_source_in_two_groups_is_two_columns():
    c = Contributions(("a",), ("certificate", "certificate"), np.array([[3.0, 4.0]]), ("one", "two"))
    assert c.total("a") == 5.0
    assert c.budget("a") == [("certificate", 5.0)]


def test_merge_makes_the_same_source_one_column(table):
    other = Contributions(("b",), ("wavelength", "certificate"), np.array([[1.0, 6.0]]), ("cu-ka", "srm"))
    merged = table.merge(other)
    assert merged.quantities == ("a", "s", "b")
    assert merged.sources == ("counting/0", "counting/1", "certificate", "wavelength")
    # Only the certificate is common to a and b: covariance 4 x 6.
    assert merged.covariance()[0, 2] == 24.0
    assert merged.total("a") == table.total("a")
    with pytest.raises(ValueError, match="twice"):
        table.merge(table)


def test_extend_propagates_with_signs_and_adds_to_existing_columns(table):
    c = table.extend("t", {"a": 2.0, "s": -1.0}, {"certificate": (1.0, "srm"), "scale": (7.0, "published")})
    assert c.sources[-1] == "scale"
    # 2 (3, 0, 4) - (1, 2, -2) = (5, -2, 10), the certificate raised by 1.
    np.testing.assert_allclose(c.row("t"), [5.0, -2.0, 11.0, 7.0])
    np.testing.assert_allclose(c.row("a"), [3.0, 0.0, 4.0, 0.0])
    private = table.extend("t", {"a": 1.0}, {"certificate": (1.0, "")})
    np.testing.assert_allclose(private.row("t"), [3.0, 0.0, 4.0, 1.0])


def test_extend_may_replace_a_quantity_by_itself(table):
    c = table.extend("a", {"a": 1.0}, {"strain": (12.0, "")})
    assert c.quantities == table.quantities
    assert c.total("a") == 13.0
    assert c.total("s") == 3.0


def test_select_drops_what_is_not_needed(table):
    c = table.extend("t", {}, {"scale": (7.0, "published")}).select(["t"])
    assert (c.quantities, c.sources, c.groups) == (("t",), ("scale",), ("published",))


def test_what_cannot_be_given_stays_unknown(table):
    c = table.extend("t", {"a": float("nan")})
    assert np.isnan(c.total("t"))
    assert c.budget("t") == []
    assert c.total("a") == 5.0


def test_empty_tables():
    assert Contributions.empty(["a"]).total("a") == 0.0
    assert Contributions.empty().quantities == ()
    assert Contributions.empty(["a"]).extend("a", {"a": 1.0}, {"x": (2.0, "")}).total("a") == 2.0
    assert Contributions.empty().merge(Contributions.empty(["a"])).quantities == ("a",)


NEARLY_ALIKE = np.array([[0.0, 2.0, 2.0], [7.6e-6, 2.0, 2.0], [2.0, 2.0, 2.0], [2.0, 2.0, 2.0]])
"""The second quantity differs from the first by 4e-6 of itself: what is left of its variance has five digits."""


@settings(max_examples=50, deadline=None)
@example(NEARLY_ALIKE, 0)
@given(hnp.arrays(np.float64, (4, 3), elements=st.floats(-3, 3)), st.integers(-9, 3))
def test_columns_give_any_covariance_back(root, exponent):
    # Rank three at most in four dimensions, scales up to 1e-9 apart: what real fits deliver at worst.
    scale = np.array([1.0, 1.0, 10.0**exponent, 1.0])
    covariance = (root @ root.T) * np.outer(scale, scale)
    c = Contributions.from_covariance("abcd", covariance, "fit", "g")
    size = np.sqrt(np.diag(covariance))
    # Dropping remainders below 1e-12 of the variance allows 1e-6 in correlation at the very most.
    np.testing.assert_allclose(c.covariance(), covariance, atol=1e-6 * np.max(np.outer(size, size)) + 1e-300)
    assert set(c.groups) <= {"g"}
    assert all(source.startswith("fit/") for source in c.sources)


@pytest.mark.parametrize(
    ("matrix", "message"),
    [
        ([[1.0, 2.0], [2.0, 1.0]], "correlation beyond one"),
        ([[1.0, 0.0], [0.0, -1.0]], "'b' is below zero"),
        ([[1.0, np.nan], [np.nan, 1.0]], "not finite"),
        ([[1.0]], "shape"),
    ],
)
def test_what_is_not_a_covariance_is_refused(matrix, message):
    with pytest.raises(ValueError, match=message):
        Contributions.from_covariance("ab", matrix, "fit")
