"""How does a result show itself? In words, as a table, a tidy pandas table, a figure, and by itself in a notebook.

A result inherits `Displayed`. What each kind of result says stands in `xrdorder.views`, which knows figures; it is
looked up when it is asked for, so that what fits and estimates depends on no figure.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from xrdorder.quantities.tables import Part, Table


class Displayed:
    """A result that shows itself: ``class Fit(Displayed, view="fits")`` by what `xrdorder.views.fits` registers."""

    view = "showing"

    def __init_subclass__(cls, view: str = "", **options: Any) -> None:
        super().__init_subclass__(**options)
        cls.view = view or cls.view

    def parts(self, **options: Any) -> list[Part]:
        """Give all that is said of it: paragraphs and tables, as the terminal, the page and a notebook draw them."""
        return self._views().parts(self, **options)  # type: ignore[no-any-return]

    def table(self, **options: Any) -> Table:
        """Give the table that people read: rounded texts with units."""
        return self._views().table(self, **options)  # type: ignore[no-any-return]

    def to_dataframe(self) -> pd.DataFrame:
        """Give the numbers, unrounded, as a tidy pandas table: one row an observation, units in the names."""
        return self._views().frame(self)

    def plot(self, **options: Any) -> Figure:
        """Draw the result; ``size`` is screen, two-column or one-column, other options are those of `xrdorder.figures`.

        The figure is apart from pyplot: a notebook shows it where it is the last value of a cell, and
        ``figure.savefig`` saves it.
        """
        return self._views().plot(self, **options)  # type: ignore[no-any-return]

    def __str__(self) -> str:
        """Title and table as text: what ``print`` shows."""
        return str(self._views().text(self))

    def _repr_html_(self) -> str:
        return str(self._views().notebook(self))

    def _views(self) -> Any:
        import_module(f"xrdorder.views.{self.view}")
        return import_module("xrdorder.views")
