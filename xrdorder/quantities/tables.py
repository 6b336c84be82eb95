"""What is said of a result, paragraphs and tables, to be drawn: by the terminal, the page, a notebook, a file.

Nothing here knows where it will stand. `Table.html` and `html` draw for the page and for notebooks alike.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import TYPE_CHECKING, NamedTuple, TypeAlias, TypeVar

if TYPE_CHECKING:
    import pandas as pd

Item = TypeVar("Item")
_LONG = 30  # letters of a cell; longer ones are broken into lines


@dataclass(frozen=True)
class Heading:
    """Head of a column.

    Attributes
    ----------
    words, unit : str
    meaning : str
        What stands below it, for whoever asks.
    numeric : bool
        Whether its cells are numbers, set at the point and sorted by size.
    optional : int
        A terminal that is too narrow for all columns leaves out those with the largest number first; 0: never.
    """

    words: str
    unit: str = ""
    meaning: str = ""
    numeric: bool = True
    optional: int = 0

    @property
    def label(self) -> str:
        """Words and unit in one line."""
        return f"{self.words} ({self.unit})" if self.unit else self.words


Head: TypeAlias = Heading | str | tuple[str, str]
"""A heading, or its words alone (of words), or with a unit (of numbers)."""
Column: TypeAlias = tuple[Head, Callable[[Item], str]]
"""A heading, and what gives the cell of an item."""


@dataclass(frozen=True)
class Cell:
    """A cell.

    Attributes
    ----------
    text : str
        What is read.
    key : str
        What it is sorted by; empty: nothing, last.
    grade : str
        Quality grade that it shows; empty for none.
    """

    text: str
    key: str = ""
    grade: str = ""


@dataclass(frozen=True)
class Table:
    """Head, rows, notes.

    Attributes
    ----------
    head : tuple of Heading
    rows : tuple of tuple of Cell
        One shorter than the head has a last cell that takes the rest of the line: why there are no numbers.
    notes : tuple of str
        What a reader has to know, a paragraph each.
    title : str
        What stands above it.

    Raises
    ------
    ValueError
        A row has more cells than the head.

    Examples
    --------
    >>> table = Table.of(("sample", ("a", "nm")), [("heron", "0.52882(1)")])
    >>> table.head[1].label, table.texts()
    ('a (nm)', [('heron', '0.52882(1)')])
    """

    head: tuple[Heading, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()
    title: str = ""

    def __post_init__(self) -> None:
        if longest := max((len(row) for row in self.rows if len(row) > len(self.head)), default=0):
            raise ValueError(f"table of {len(self.head)} columns: a row has {longest} cells")

    @classmethod
    def of(
        cls,
        head: Iterable[Head],
        rows: Iterable[Sequence[Cell | str]],
        notes: Iterable[str] = (),
        title: str = "",
    ) -> Table:
        """Make a table of words: heads as text or (words, unit), cells as text."""
        return cls(
            tuple(_heading(heading) for heading in head),
            tuple(tuple(Cell(cell, cell) if isinstance(cell, str) else cell for cell in row) for row in rows),
            tuple(notes),
            title,
        )

    @classmethod
    def by(
        cls,
        items: Iterable[Item],
        columns: Iterable[Column[Item] | None],
        notes: Iterable[str] = (),
        title: str = "",
        *,
        filled: bool = False,
    ) -> Table:
        """Make a row of each item by columns: head, and what gives the cell of an item.

        Columns that are None are left out, with `filled` those that hold nothing, too.

        >>> Table.by([1, 2], [("n", str), (("square", "m2"), lambda n: f"{n * n}"), ("", lambda n: "")], filled=True)
        ... # doctest: +ELLIPSIS
        Table(head=(Heading(words='n', ...), Heading(words='square', unit='m2', ...)), rows=...)
        """
        some, lines = [column for column in columns if column is not None], list(items)
        cells = [[cell(item) for item in lines] for _, cell in some]
        kept = [k for k, texts in enumerate(cells) if any(texts) or not filled]
        rows = [[cells[k][j] for k in kept] for j in range(len(lines))]
        return cls.of([some[k][0] for k in kept], rows, notes, title)

    def whole(self) -> Table:
        """Give it with columns of which none may be left out."""
        return replace(self, head=tuple(replace(heading, optional=0) for heading in self.head))

    def texts(self) -> list[tuple[str, ...]]:
        """All cells as text."""
        return [tuple(cell.text for cell in row) for row in self.rows]

    def to_dataframe(self) -> pd.DataFrame:
        """All cells as text in a pandas table; where a row is short, what it says stands in its last cell."""
        import pandas as pd

        width = len(self.head)
        rows = [[*row, *[""] * (width - len(row))] for row in self.texts()]
        return pd.DataFrame(rows, columns=[heading.label for heading in self.head])

    def html(self, label: str = "", name: str = "", links: Mapping[str, str] | None = None) -> str:
        """Draw it for a browser, in a region that scrolls by itself where it is wider than the page.

        Parameters
        ----------
        label : str
            What the region is called to whoever cannot see it; the title unless given.
        name : str
            Id of the table, where others ask for it.
        links : mapping of str to str, optional
            Where words in the first column lead to.
        """
        heads = (
            f'<th scope="col"{_number(heading)} title="{escape(heading.meaning)}">{escape(heading.words)}'
            f"{f' <br><span class=unit>{escape(heading.unit)}</span>' if heading.unit else ''}</th>"
            for heading in self.head
        )
        rows = "\n".join(f"<tr>{''.join(self._cells(row, links or {}))}</tr>" for row in self.rows)
        notes = "".join(f'<p class="note">{escape(note)}</p>' for note in self.notes)
        title = f"<caption>{escape(self.title)}</caption>" if self.title else ""
        table = f"<table{f' id={name}' if name else ''}>{title}<thead><tr>{''.join(heads)}</tr></thead>"
        region = f'<div class="wide" tabindex="0" role="region" aria-label="{escape(label or self.title or "Table")}">'
        return f"{region}{table}<tbody>\n{rows}\n</tbody></table></div>{notes}"

    _repr_html_ = __html__ = html  # the second is what templates ask for

    def _cells(self, row: Sequence[Cell], links: Mapping[str, str]) -> Iterable[str]:
        for k, (heading, cell) in enumerate(zip(self.head, row, strict=False)):
            text = escape(cell.text)
            text = f'<a href="#{links[cell.text]}">{text}</a>' if k == 0 and cell.text in links else text
            key = "" if cell.key == cell.text else f' data-key="{escape(cell.key)}"'
            rest = len(self.head) - len(row) if k == len(row) - 1 else 0
            wide = f' colspan="{1 + rest}"' if rest else ""
            kind = _number(heading) or (' class="text"' if len(cell.text) > _LONG or rest else "")
            yield f'<th scope="row"{key}>{text}</th>' if k == 0 else f"<td{kind}{wide}{key}>{text}</td>"


def _number(heading: Heading) -> str:
    return ' class="number"' if heading.numeric else ""


class Entry(NamedTuple):
    """A label, and a text beside it that hangs."""

    label: str
    text: str


class File(NamedTuple):
    """A label and the place of a file or a command, which is never broken."""

    label: str
    text: str


Part: TypeAlias = str | Entry | File | Table
"""A paragraph (leading blanks indent all of it; an empty one is an empty line), an entry, a file, or a table."""


def entries(label: str, texts: Iterable[str], others: str = "") -> list[Entry]:
    """Give texts below each other, the first with a label, the others with another or none."""
    return [Entry(others if k else label, text) for k, text in enumerate(texts)]


def html(parts: Iterable[Part]) -> str:
    """Draw parts for a browser; a line above indented ones is their heading.

    >>> html(["A < B", "", Entry("Next", "measure"), "In words", "  A is less"])
    '<p>A &lt; B</p><p><b>Next</b> measure</p><h3>In words</h3><p class="inner">A is less</p>'
    """
    several = list(parts)
    inner = [isinstance(part, str) and part.startswith(" ") for part in [*several, ""]]
    drawn = []
    for k, part in enumerate(several):
        if isinstance(part, Table):
            drawn.append(part.html())
        elif isinstance(part, Entry | File):
            label = f"<b>{escape(part.label)}</b> " if part.label else ""
            drawn.append(f"<p>{label}{escape(part.text)}</p>")
        elif part:
            text = escape(part.strip())
            heading = f"<h3>{text}</h3>" if inner[k + 1] else f"<p>{text}</p>"
            drawn.append(f'<p class="inner">{text}</p>' if inner[k] else heading)
    return "".join(drawn)


def _heading(heading: Head) -> Heading:
    if isinstance(heading, Heading):
        return heading
    return Heading(heading, numeric=False) if isinstance(heading, str) else Heading(*heading)
