"""Write tables that a spreadsheet can open without carrying out what stands in them.

Spreadsheets take a cell that begins with one of ``= + - @``, a tab or a carriage return for a formula (OWASP, "CSV
Injection"). A name that somebody gave a lot must stay a name: an apostrophe before it makes it a text.
"""

import csv
import io
from collections.abc import Iterable

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def csv_text(rows: Iterable[Iterable[object]]) -> str:
    r"""Write rows as CSV; lines end in a line feed.

    >>> csv_text([["lot", "x"], ["=1+1", -0.5], ["-12", "-"]])
    "lot,x\n'=1+1,-0.5\n-12,'-\n"
    """
    stream = io.StringIO(newline="")
    csv.writer(stream, lineterminator="\n").writerows([_plain(cell) for cell in row] for row in rows)
    return stream.getvalue()


def _plain(cell: object) -> object:
    """Put an apostrophe before a text that a spreadsheet would compute; numbers are left alone."""
    # blanks before the sign are cut off by some spreadsheets
    if not isinstance(cell, str) or not (cell.startswith(_FORMULA) or cell.lstrip().startswith(_FORMULA)):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell
