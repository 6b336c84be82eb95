"""The ways in which a result shows itself; each kind of result registers its own."""

from __future__ import annotations

from functools import singledispatch
from importlib import import_module
from typing import TYPE_CHECKING, Any

from xrdorder.display import Displayed
from xrdorder.quantities.tables import Part, Table, html

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


@singledispatch
def parts(result: Any, **options: Any) -> list[Part]:
    """Give everything that is said of a result; title and table unless there is more."""
    return [title(result), "", table(result, **options)]


@singledispatch
def table(result: Any, **options: Any) -> Table:
    """Give the table of a result."""
    raise TypeError(f"a {type(result).__name__} has no table")


@singledispatch
def frame(result: Any) -> pd.DataFrame:
    """Give the numbers of a result as a tidy pandas table."""
    raise TypeError(f"a {type(result).__name__} has no numbers to tabulate")


@singledispatch
def figure(result: Any, **options: Any) -> Figure:
    """Draw a result by the function of `xrdorder.figures` that does."""
    raise TypeError(f"a {type(result).__name__} cannot be drawn")


@singledispatch
def title(result: Any) -> str:
    """Say in one line what a result is and how good."""
    return type(result).__name__


def plot(result: Any, *, size: str = "screen", **options: Any) -> Figure:
    """Draw a result; a pattern as `xrdorder.read_pattern` gives it draws itself by xarray's ``pattern.plot()``.

    Parameters
    ----------
    result : Displayed
    size : str
        "screen" (with title and remark), "two-column" or "one-column" (180 or 89 mm wide).
    **options
        Those of the function of `xrdorder.figures` that draws it.

    Raises
    ------
    ValueError
        If there is no such size.
    TypeError
        If it is nothing that can be drawn.
    """
    from xrdorder.drawing.layout import SIZES  # with matplotlib, which the terminal does without

    if isinstance(result, Displayed):
        import_module(f"xrdorder.views.{result.view}")
    if size not in SIZES:
        raise ValueError(f"size '{size}': use {', '.join(SIZES)}")
    return figure(result, size=SIZES[size], **options)


def text(result: Any) -> str:
    """Give title and table as plain text, for print."""
    return f"{title(result)}\n{table(result).to_dataframe().to_string(index=False)}"


def notebook(result: Any) -> str:
    """Give everything that is said, for a notebook."""
    return html(parts(result))
