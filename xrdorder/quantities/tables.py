"""A table to be drawn: by the terminal, the page, a notebook, a file. It knows nothing of where it will stand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


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
        head: Iterable[Heading | str | tuple[str, str]],
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

    def texts(self) -> list[tuple[str, ...]]:
        """All cells as text."""
        return [tuple(cell.text for cell in row) for row in self.rows]

    def to_dataframe(self) -> pd.DataFrame:
        """All cells as text in a pandas table; where a row is short, what it says stands in its last cell."""
        import pandas as pd

        width = len(self.head)
        rows = [[*row, *[""] * (width - len(row))] for row in self.texts()]
        return pd.DataFrame(rows, columns=[heading.label for heading in self.head])

    def _repr_html_(self) -> str:
        head = "".join(f'<th title="{escape(heading.meaning)}">{escape(heading.label)}</th>' for heading in self.head)
        rows = []
        for row in self.rows:
            cells = [f"<td>{escape(cell.text)}</td>" for cell in row]
            if 0 < len(row) < len(self.head):
                cells[-1] = f'<td colspan="{len(self.head) - len(row) + 1}">{escape(row[-1].text)}</td>'
            rows.append(f"<tr>{''.join(cells)}</tr>")
        notes = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        title = f"<caption>{escape(self.title)}</caption>" if self.title else ""
        return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>{notes}"


def _heading(heading: Heading | str | tuple[str, str]) -> Heading:
    if isinstance(heading, Heading):
        return heading
    return Heading(heading, numeric=False) if isinstance(heading, str) else Heading(*heading)
