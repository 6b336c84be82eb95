"""The one door to the terminal: widths, decimal points, whole words, no colour where none is wanted, one bar."""

import io
import re

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from xrdorder.cli import console, main
from xrdorder.cli.console import Entry, File, Progress, aligned, rendered
from xrdorder.quantities.tables import Cell, Heading, Table

NAMES = ("heron-625c-100h", "heron-725c-50h")
TABLE = Table.of(
    [
        Heading("sample", numeric=False),
        Heading("treatment", numeric=False, optional=2),
        Heading("a", "nm"),
        Heading("tin content", "at.%"),
        Heading("domain size", "nm", optional=1),
        Heading("Bc2 at 4.2 K", "T"),
        Heading("grade", numeric=False),
    ],
    [
        (NAMES[0], "205/60 + 385/36 + 625/99 h", "0.528822(6)", "23.7(1.5)", "65(4)", "21.0(3.4)", Cell("A", "A", "A")),
        (NAMES[1], "205/60 + 385/36 + 725/50 h", "0.52896(6)", "9.75(12)", "-", "9.5(2)", Cell("B 1", "B", "B")),
    ],
    ["1  lines broaden symmetrically with tan(theta), which may be strain or a gradient of tin: heron-725c-50h"],
)


def test_numbers_stand_below_each_other_at_the_decimal_point():
    lines = rendered(TABLE, width=160).splitlines()
    first, second = (next(line for line in lines if line.startswith(name)) for name in NAMES)
    points = [[match.start() for match in re.finditer(r"\.", line)] for line in (first, second)]
    # a, tin content, Bc2: both rows have a point in each, and in the same column of the screen
    for place in (points[0][0], points[1][1], points[1][-1]):
        assert place in points[0] and place in points[1]
    assert aligned(["24.9(5)", "9.75(12)", "102", "-", "+0.5 ± 0.1"])[2].index("102") == 0 + len("+0") - len("102") + 1


@pytest.mark.parametrize("width", [60, 80, 100, 160])
def test_a_table_fits_and_no_number_and_no_word_is_broken(width):
    text = rendered(TABLE, width=width)
    assert max(map(len, text.splitlines())) <= width
    shown = set(text.split())
    for row in TABLE.rows:
        for heading, cell in zip(TABLE.head, row, strict=True):
            if not heading.optional:
                assert set(cell.text.split()) <= shown
    assert ("205/60" in shown) is (width >= 100) and ("65(4)" in shown) is (width >= 80)
    if width < 160:
        assert "Not shown for want of room" in text or width == 100


def test_columns_that_do_not_fit_stand_below_with_the_first_one_again():
    text = rendered(TABLE.whole(), width=60)
    assert max(map(len, text.splitlines())) <= 60 and "Not shown" not in text
    assert text.count(NAMES[0]) >= 2 and "65(4)" in text and "205/60" in text


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(*[st.from_regex(r"-?[0-9]{1,5}(\.[0-9]{1,4})?", fullmatch=True)] * 3), max_size=4),
    st.integers(40, 120),
)
def test_any_numbers_stay_whole(rows, width):
    text = rendered(Table.of(["name", ("x", "nm"), ("y", ""), ("z", "")], [("a b", *row) for row in rows]), width=width)
    for row in rows:
        assert set(row) <= set(text.split())


def test_paragraphs_are_broken_between_words_and_never_before_a_unit():
    path = "/a/" + "long" * 40
    indented = "  " + "word " * 30 + "at 12 T and 0.5 at.% of " * 8
    text = rendered(indented, Entry("Why", "because " * 20), File("Table", path))
    lines = text.splitlines()
    assert all(line.startswith("  ") for line in lines if "word" in line or "12" in line)
    assert not [line for line in lines if line.rstrip().endswith(("12", "0.5"))]
    assert f"Table        {path}" in lines  # a path can be copied as it is
    hanging = [line for line in lines if "because" in line]
    assert hanging[0].startswith("Why          because") and hanging[1].startswith(" " * 13 + "because")


def test_a_row_without_numbers_says_why_below_the_table():
    rows = [("one", "0.5288", "1"), ("two", "failed: no numbers")]
    text = rendered(Table.of(["sample", ("a", "nm"), ("b", "")], rows))
    assert "two  failed: no numbers" in text.splitlines()


def test_only_the_grade_has_a_colour_and_only_where_colours_are_shown(monkeypatch):
    coloured = rendered(TABLE, width=160, colour=True)
    assert re.findall(r"\x1b\[3\dm(\w[^\x1b]*)", coloured) == ["A    ", "B 1  "]
    assert "\x1b" not in rendered(TABLE, width=160)
    monkeypatch.setenv("NO_COLOR", "1")
    assert not re.search(r"\x1b\[3\dm", rendered(TABLE, width=160, colour=True))


def test_what_is_piped_is_plain():
    said = CliRunner().invoke(main, ["relations", "--kind", "tc"])
    assert said.exit_code == 0 and "\x1b" not in said.output


@pytest.mark.parametrize("columns", ["80", "100", "160"])
def test_a_screen_is_as_wide_as_the_terminal(monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", columns)
    text = CliRunner().invoke(main, ["relations"]).output
    widest = max(map(len, text.splitlines()))
    assert widest <= int(columns)
    assert widest > 0.7 * int(columns) or "Not shown" not in text  # room is left only where nothing is missing


class Terminal(io.StringIO):
    def isatty(self):
        return True


def drawn(*reports):
    """What a bar leaves on a terminal, without the codes that move about."""
    terminal = Terminal()
    with Progress("fitting", terminal) as progress:
        for report in reports:
            progress(*report)
    return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", terminal.getvalue()).replace("\r", "\n")


def test_the_bar_tells_number_time_name_and_grades(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    text = drawn((1, 3, "heron-a (A)"), (2, 3, "heron-b (B)"), (3, 3, "heron-c (A)"))
    last = [line for line in text.splitlines() if "3/3" in line][-1]
    assert last.startswith("fitting") and "2 A 1 B heron-c" in last
    assert re.search(r"\d:\d\d:\d\d", last)
    assert "1/3" in text and "1 A heron-a" in text


def test_nothing_is_written_where_there_is_no_terminal():
    stream = io.StringIO()
    with Progress("fitting", stream) as progress:
        progress(1, 2, "a")
    assert stream.getvalue() == ""


def test_the_bar_is_gone_after_an_error():
    terminal = Terminal()
    with pytest.raises(ValueError), Progress("fitting", terminal) as progress:
        progress(1, 2, "a")
        raise ValueError
    assert terminal.getvalue().rstrip().endswith("\x1b[2K")  # the line is wiped


def test_no_line_of_a_long_text_is_lost():
    texts = [f"sentence {k} of many" for k in range(200)]
    assert " ".join(rendered(". ".join(texts)).split()) == ". ".join(texts)
    assert console._width() == 160  # of the tests: see conftest
