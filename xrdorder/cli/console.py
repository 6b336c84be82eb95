"""The one door to the terminal: paragraphs, tables and progress, drawn by rich.

Tables are as wide as the terminal and no wider: columns that may be missing are left out first, then a table is drawn
in parts below each other. Numbers stand below each other at the decimal point and are never broken; words are broken
between them only. Colour tells the quality grade and nothing else, and only on a terminal that shows colours
(`NO_COLOR` is heeded); what is piped is plain text.
"""

import re
import shutil
import sys
import textwrap
from collections.abc import Sequence
from types import TracebackType
from typing import TYPE_CHECKING, TextIO

import click

from xrdorder.quantities.tables import Cell, Entry, File, Heading, Part, Table

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table as Grid

__all__ = ["Entry", "File", "Part", "Progress", "Table", "details_option", "rendered", "show"]

_PLAIN_WIDTH, _LEAST_WIDTH, _PROSE_WIDTH = 100, 40, 100
_GAPS = (2, 1)  # between columns: where the first is too much for one part, the other
_NARROWEST = 16  # a column of words is not made narrower than this for the sake of others
_COLOURS = {"A": "green", "B": "yellow", "C": "red"}
_UNIT = re.compile(r"(\d) (%|°C|K|T|h|nm|pm|at\.%|wt\.%)(?![\w/])")
_START = re.compile(r"( *)(\d+  )?")
_GRADE = re.compile(r" \(([A-C])\)$")
_NUMBER = re.compile(r"[-+−]?\d+")


def show(*parts: Part) -> None:
    """Print parts, one below the other; an empty text is an empty line."""
    colour = sys.stdout.isatty()
    click.echo(rendered(*parts, width=_width(), colour=colour), color=colour or None)


def rendered(*parts: Part, width: int = _PLAIN_WIDTH, colour: bool = False) -> str:
    """Draw parts as text."""
    from io import StringIO

    from rich.console import Console

    out = StringIO()
    console = Console(
        file=out, width=width, force_terminal=colour, highlight=False, markup=False, emoji=False, legacy_windows=False
    )
    if not colour:
        console.no_color = True
    for part in parts:
        _draw(console, part)
    text = out.getvalue().removesuffix("\n").replace("\u00a0", " ")
    return "\n".join(line.rstrip() for line in text.split("\n"))


def _width() -> int:
    return max(shutil.get_terminal_size((_PLAIN_WIDTH, 24)).columns, _LEAST_WIDTH)


def _draw(console: "Console", part: Part) -> None:
    if isinstance(part, str):
        indent, number = _START.match(part).groups(default="")  # type: ignore[union-attr]
        lines = _broken(part, console.width, indent, indent + " " * len(number))
    elif isinstance(part, Entry):
        lines = _broken(part.text, console.width, f"{part.label:<12} ", " " * 13)
    elif isinstance(part, File):
        lines = [f"{part.label:<12} {part.text}"]
    else:
        return _draw_table(console, part)
    console.print("\n".join(lines), soft_wrap=True)


def _broken(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Break a text between words, and not between a number and its unit; a longer word sticks out."""
    return textwrap.wrap(
        _glued(text.strip()), min(width, _PROSE_WIDTH), initial_indent=first, subsequent_indent=rest,
        break_long_words=False, break_on_hyphens=False,
    ) or [""]  # fmt: skip


def _glued(text: str) -> str:
    """Put blanks that are not broken at within numbers with units and uncertainties; they are printed as any other."""
    return _UNIT.sub("\\1\u00a0\\2", text).replace(" ± ", "\u00a0±\u00a0").replace("alpha = ", "alpha\u00a0=\u00a0")


def _draw_table(console: "Console", table: Table) -> None:
    full = [row for row in table.rows if len(row) == len(table.head)]
    columns = [_column(head, [row[k].text for row in full]) for k, head in enumerate(table.head)]
    needs = [_need(head, texts) for head, texts in zip(table.head, columns, strict=True)]
    parts, left_out, gap = _parts(table.head, needs, console.width)
    for text in [table.title, ""] if table.title else []:
        _draw(console, text)
    for number, part in enumerate(parts):
        if number:
            console.print()
        console.print(_grid(table, full, columns, part, needs, console.width, gap))
    for row in table.rows:
        if len(row) < len(table.head):
            _draw(console, "  ".join(cell.text for cell in row))
    if left_out:
        _draw(console, f"Not shown for want of room: {', '.join(left_out)}.")
    for text in ["", *table.notes] if table.notes else []:
        _draw(console, text)


def _grid(
    table: Table,
    rows: Sequence[Sequence[Cell]],
    columns: Sequence[Sequence[str]],
    part: Sequence[int],
    needs: Sequence[int],
    width: int,
    gap: int,
) -> "Grid":
    """Some columns of a table, each as wide as its texts if there is room, and at least as it needs."""
    from rich import box
    from rich.table import Table as Grid
    from rich.text import Text

    rule = box.Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)
    grid = Grid(box=rule, show_edge=False, pad_edge=False, padding=(0, gap - 1, 0, 0), header_style="")
    spare = width - sum(needs[k] + gap for k in part) + gap
    wanted = [max([len(table.head[k].words), *map(len, columns[k])]) for k in part]
    widths = _widened([needs[k] for k in part], wanted, spare)
    units = any(table.head[k].unit for k in part)
    heads = [
        [*_broken(table.head[k].words, room), *[table.head[k].unit] * units]
        for k, room in zip(part, widths, strict=True)
    ]
    lines = max(map(len, heads))

    def cell(k: int, text: str, room: int) -> str:
        # broken here, as rich breaks at the blank between a number and its unit
        return text.rjust(room) if table.head[k].numeric else "\n".join(_broken(text, room))

    for k, room, words in zip(part, widths, heads, strict=True):
        above = "\n".join(cell(k, word, room) for word in [*[""] * (lines - len(words)), *words])
        grid.add_column(above, width=room)
    for row, texts in zip(rows, zip(*columns, strict=True), strict=True):
        shown = ((k, cell(k, texts[k], room)) for k, room in zip(part, widths, strict=True))
        grid.add_row(*(Text(text, style=_COLOURS.get(row[k].grade, "")) for k, text in shown))
    return grid


def _widened(widths: Sequence[int], wanted: Sequence[int], spare: int) -> list[int]:
    """Share spare room among columns that want more, letter by letter."""
    wider = list(widths)
    while spare > 0 and (short := [k for k, (have, want) in enumerate(zip(wider, wanted, strict=True)) if have < want]):
        for k in short[:spare]:
            wider[k] += 1
        spare -= len(short)
    return wider


def _column(head: Heading, texts: Sequence[str]) -> list[str]:
    return aligned(texts) if head.numeric else [_glued(text) for text in texts]


def _need(head: Heading, texts: Sequence[str]) -> int:
    """Width below which a column would break a number or a word."""
    own = max(_longest_word(head.words), len(head.unit), 1)
    if head.numeric:
        return max([own, *map(len, texts)])
    widest = max(map(len, texts), default=0)
    return max([own, min(widest, _NARROWEST), *map(_longest_word, texts)])


def _longest_word(text: str) -> int:
    return max(map(len, text.split(" ")), default=0)


def _parts(heads: Sequence[Heading], needs: Sequence[int], width: int) -> tuple[list[list[int]], list[str], int]:
    """Columns of each part of a table that is to fit, headings of those left out, and the gap between columns."""

    def room(columns: Sequence[int], gap: int = _GAPS[0]) -> int:
        return sum(needs[k] + gap for k in columns) - gap

    shown = list(range(len(heads)))
    for k in sorted(range(len(heads)), key=lambda k: (-heads[k].optional, -k)):
        if room(shown) > width and heads[k].optional:
            shown.remove(k)
    left_out = list(dict.fromkeys(head.words for k, head in enumerate(heads) if k not in shown))
    for gap in _GAPS:
        if room(shown, gap) <= width:
            return [shown], left_out, gap
    first = shown[:1]  # stands at the left of every part
    parts, part = [], list(first)
    for k in shown[1:]:
        if len(part) > 1 and room([*part, k]) > width:
            parts.append(part)
            part = list(first)
        part.append(k)
    return [*parts, part], left_out, _GAPS[0]


def aligned(texts: Sequence[str]) -> list[str]:
    """Pad texts so that the decimal points of their first numbers stand below each other.

    >>> aligned(["24.9(5)", "9.75(12)", "102", "-"])
    [' 24.9(5)  ', '  9.75(12)', '102       ', '  -       ']
    """
    numbers = [_NUMBER.search(text) for text in texts]
    before = max((number.end() for number in numbers if number), default=0)
    ends = [number.end() if number else min(len(text), before) for number, text in zip(numbers, texts, strict=True)]
    moved = [" " * (before - end) + text for text, end in zip(texts, ends, strict=True)]
    width = max(map(len, moved), default=0)
    return [text.ljust(width) for text in moved]


details_option = click.option("--details", is_flag=True, help="Everything behind the answer, too.")


class Progress:
    """One bar on the terminal: how many are done, time left, what was done last, grades so far; silent elsewhere.

    Use as a context manager, and call with (number done, number in all, what was just done), which may end in its grade
    in brackets. It is drawn when something is reported, without a thread of its own.

    Parameters
    ----------
    work : str
        What is going on, as "fitting".
    stream : text stream, optional
        Standard error unless given.
    """

    def __init__(self, work: str, stream: TextIO | None = None) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
        from rich.progress import Progress as Bar

        stream = sys.stderr if stream is None else stream
        plain = "default"
        self._grades: dict[str, int] = {}
        self._bar = Bar(
            TextColumn("{task.description}"),
            BarColumn(20, style=plain, complete_style=plain, finished_style=plain, pulse_style=plain),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            TextColumn("{task.fields[now]}", markup=False),
            console=Console(file=stream, highlight=False, no_color=True),
            auto_refresh=False,
            transient=True,
            disable=not stream.isatty(),
        )
        self._task = self._bar.add_task(work, total=None, now="")

    def __enter__(self) -> "Progress":
        self._bar.start()
        self._bar.refresh()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.stop()

    def __call__(self, done: int, total: int, name: str) -> None:
        """Show the state; the grade of what was just done is counted."""
        if match := _GRADE.search(name):
            self._grades[match[1]] = self._grades.get(match[1], 0) + 1
        now = " ".join([*(f"{count} {grade}" for grade, count in sorted(self._grades.items())), name])
        self._bar.update(self._task, completed=done, total=total, now=now)
        self._bar.refresh()
