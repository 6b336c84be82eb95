"""Write tables that a spreadsheet can open without carrying out what stands in them.

Spreadsheets take a cell that begins with one of ``= + - @``, a tab or a carriage return for a formula (OWASP, "CSV
Injection"). A name that somebody gave a lot must stay a name: an apostrophe before it makes it a text.
"""

import csv
from collections.abc import Iterable
from typing import TextIO

_FORMULA = ("=", "+", "-", "@", "\t")


class TableWriter:
    r"""Writes rows of CSV; lines end in a line feed.

    >>> import sys
    >>> TableWriter(sys.stdout).writerows([["lot", "x"], ["=1+1", -0.5], ["-12", "-"]])
    lot,x
    '=1+1,-0.5
    -12,'-
    """

    def __init__(self, stream: TextIO) -> None:
        self._writer = csv.writer(stream, lineterminator="\n")

    def writerow(self, row: Iterable[object]) -> None:
        """Write one row."""
        self._writer.writerow([_plain(cell) for cell in row])

    def writerows(self, rows: Iterable[Iterable[object]]) -> None:
        """Write rows."""
        for row in rows:
            self.writerow(row)


def _plain(cell: object) -> object:
    """Put an apostrophe before a text that a spreadsheet would compute; numbers are left alone."""
    if isinstance(cell, str):
        cell = cell.replace("\r", " ")  # would end the line for some
    # blanks before the sign are cut off by some spreadsheets
    if not isinstance(cell, str) or not (cell.startswith(_FORMULA) or cell.lstrip().startswith(_FORMULA)):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell
