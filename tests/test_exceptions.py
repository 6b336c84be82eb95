"""Messages can be read, whatever they quote."""

import copy

import pytest

from xrdorder.exceptions import LONGEST_LINE, PatternError, StudyError, XrdorderError


@pytest.mark.parametrize("quoted", ["\x1b[2J\x1b]0;a\x07", "a\rb", "\u2028", "\ud800", "\x00"])
def test_what_would_command_a_terminal_is_a_question_mark(quoted):
    text = str(PatternError(f"a.xy: '{quoted}' is no number"))
    assert text.isprintable() and text.encode()
    assert text.startswith("a.xy: '") and text.endswith("' is no number")


def test_what_is_too_long_loses_its_middle():
    text = str(StudyError(f"a.csv: column {'x' * 10_000}; correct it\nb.csv: {'a b ' * 10_000}; delete it"))
    first, second = text.split("\n")
    assert first.startswith("a.csv: column xxx") and first.endswith("xxx; correct it") and len(first) < 500
    assert second.startswith("b.csv: a b") and second.endswith("; delete it") and len(second) == LONGEST_LINE


def test_others_stay_as_they_are():
    text = "d\u00e9j\u00e0 vu: 2\u03b8 \u2260 3 \u00c5; one line\nand another"
    error = copy.copy(XrdorderError(text))  # made anew from its arguments, as between processes
    assert str(error) == text
