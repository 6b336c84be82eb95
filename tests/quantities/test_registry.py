"""The registry: every name means one quantity, and what it does not know is an error."""

import pytest

from xrdorder.exceptions import UnknownNameError
from xrdorder.quantities.registry import QUANTITIES, columns, quantity, shown, standing_in


def test_what_it_does_not_know_is_an_error_that_names_the_closest():
    with pytest.raises(UnknownNameError, match="there is no quantity 'tin_fracton'; did you mean 'tin_fraction'"):
        quantity("tin_fracton")
    with pytest.raises(UnknownNameError):
        quantity("weight_fraction_")


def test_names_of_columns_are_unlike_and_lead_back():
    names = [column.name for column in columns()]
    assert len(set(names)) == len(names)
    for column in columns():
        if column.kind in ("value", "median"):
            assert quantity(column.name).name == column.quantity


def test_bc2_has_one_noun_whether_it_has_an_entry_or_not():
    entry, family = quantity("Bc2_4K2_T"), quantity("Bc2_4K21_T")
    assert (entry.noun, family.noun) == ("Bc2 at 4.2 K", "Bc2 at 4.21 K")
    assert (family.unit, family.parts, family.predicted) == (entry.unit, entry.parts, True)


def test_fractions_are_per_cent_for_people_wherever_the_number_comes_from():
    # 0.947 and 94.7 wt.% are one number: the column holds the fraction, as promised, and is shown in per cent
    assert shown("a15_fraction").factor == shown("weight_fraction_nb").factor == 100.0
    assert shown("tin_fraction").factor == 100.0 * shown("tin_at_percent").factor
    fractions = [one for one in QUANTITIES.values() if one.name.startswith(("tin_", "a15_f"))]
    assert all(one.people.unit in ("at.%", "wt.%") for one in fractions)


def test_headings_of_one_table_differ():
    shown_there = [*standing_in("study"), *standing_in("wide")]
    assert len({one.heading for one in shown_there}) == len(shown_there)
