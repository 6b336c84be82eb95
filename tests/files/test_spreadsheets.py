"""No cell of a written table is a formula for a spreadsheet."""

import csv
import io
from pathlib import Path

import pytest

import xrdorder
from xrdorder.files import TableWriter


def _written(*cells):
    stream = io.StringIO(newline="")
    TableWriter(stream).writerow(cells)
    return next(csv.reader([stream.getvalue()]))


@pytest.mark.parametrize(
    "text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", " =1", "-", "=HYPERLINK(\"x\")"]
)  # fmt: skip
def test_texts_that_would_be_computed_get_an_apostrophe(text):
    # A list of such signs: OWASP, "CSV Injection" (from memory).
    assert _written("a", text) == ["a", f"'{text}"]


def test_a_carriage_return_ends_no_line():
    assert _written("\r=1") == ["' =1"]


@pytest.mark.parametrize("cell", [-0.5, "-0.5", "+3", "-1e-05", "", "Nb3Sn", "a=b", "−3 ± 1", "0.5"])
def test_numbers_and_other_texts_stay(cell):
    assert _written(cell) == [str(cell)]


def test_there_is_no_other_way_to_write_a_table():
    package = Path(xrdorder.__file__).parent
    found = [
        path.relative_to(package).as_posix()
        for path in package.rglob("*.py")
        if any(word in path.read_text(encoding="utf-8") for word in ("csv.writer", "csv.DictWriter", ".to_csv("))
    ]
    assert found == ["files/spreadsheets.py"]
