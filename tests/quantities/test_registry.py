"""The registry: every name means one quantity, and what it does not know is an error."""

import math
import re

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from xrdorder.exceptions import UnknownNameError
from xrdorder.quantities.formatting import places_of
from xrdorder.quantities.registry import (
    QUANTITIES,
    bc2_name,
    columns,
    known,
    quantity,
    rank,
    shown,
    standing_in,
    unit_of,
)


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


NAMES = st.one_of(
    st.sampled_from([*QUANTITIES, *(one.column for one in QUANTITIES.values())]),
    st.builds("weight_fraction_{}".format, st.from_regex(r"[a-z][a-z0-9-]{0,8}", fullmatch=True)),
    st.builds("{}_{}".format, st.sampled_from(list(QUANTITIES)), st.sampled_from(["lean", "rich"])),
    st.floats(0.0, 30.0).map(bc2_name),
)


@settings(max_examples=40)
@given(name=NAMES)
def test_every_name_leads_to_one_quantity_of_one_unit(name):
    one = quantity(name)
    assert known(name) == one
    assert quantity(one.name) == one and one.noun and one.long_name
    assert unit_of(one.name) == one.unit
    assert 0 <= rank(one.name) <= len(QUANTITIES)


@settings(max_examples=40)
@given(name=st.text(max_size=40))
def test_any_text_is_a_quantity_or_an_error_that_says_so(name):
    if known(name) is not None:
        quantity(name)
    else:
        with pytest.raises(UnknownNameError, match="there is no quantity"):
            quantity(name)


@settings(max_examples=40)
@given(kelvin=st.integers(0, 30_000_000))
def test_the_name_of_a_bc2_holds_its_temperature(kelvin):
    name = bc2_name(kelvin / 1e6)
    assert float(re.fullmatch(r"Bc2 at ([\d.]+) K", quantity(name).noun)[1]) == kelvin / 1e6


@settings(max_examples=40)
@given(
    one=st.sampled_from(list(QUANTITIES.values())),
    value=st.floats(1e-6, 1e6),
    share=st.floats(1e-5, 2.0),
    sign=st.sampled_from([1.0, -1.0]),
)
def test_what_is_printed_is_the_number_to_its_last_digit(one, value, share, sign):
    shown_value, u = one.people.factor * sign * value, one.people.factor * share * value
    assume(math.isfinite(u))
    number, bracket = re.fullmatch(r"(−?[\d.]+)\(([\d.]+)\)", one.value_text(sign * value, share * value)).groups()
    last = 10.0 ** -places_of(u)
    assert abs(float(number.replace("−", "-")) - shown_value) <= 0.5001 * last
    printed_u = float(bracket) if "." in bracket else float(bracket) * 10.0 ** -len(number.partition(".")[2])
    assert abs(printed_u - u) <= 0.0502 * u + 0.5001 * last
