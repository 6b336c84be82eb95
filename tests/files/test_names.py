"""Suggestions, and names that every file system takes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xrdorder.exceptions import did_you_mean
from xrdorder.files.names import MAX_NAME_BYTES, is_safe_name, safe_name


@pytest.mark.parametrize(
    ("word", "hint"),
    [
        ("holdc", "did you mean 'hold_c'?"),
        ("HOLD_C", "did you mean 'hold_c'?"),
        ("ho", "did you mean 'hold_c'?"),
        ("zebra", "known: hold_c, hours"),
    ],
)
def test_suggestions(word, hint):
    assert did_you_mean(word, ["hours", "hold_c"]) == hint


def test_no_suggestion_where_there_is_nothing():
    assert did_you_mean("a", []) == "there are none"


@pytest.mark.parametrize("name", ["A-650-100", "wire_3.b", "Probe-Ü2", "7", "a+b=c,d@e"])
def test_plain_names_stay(name):
    assert is_safe_name(name)


@pytest.mark.parametrize(
    "name", ["", ".", "..", "a/b", "a\\b", "a b", "-a", ".a", "a.", "CON", "nul.x", "a\n"]
)
def test_unsafe_names_are_noticed(name):
    assert not is_safe_name(name)


@given(st.text(max_size=400))
def test_any_text_becomes_a_safe_name(text):
    name = safe_name(text)
    assert is_safe_name(name)
    assert 0 < len(name.encode()) <= MAX_NAME_BYTES + len("sample-sample")
    assert not set(name) & set('/\\:*?"<>| \0')
