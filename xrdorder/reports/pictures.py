"""A figure with the words that belong to it, and what figures of a study are made of."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import matplotlib
from matplotlib.figure import Figure

from xrdorder.faults import cause, recorded
from xrdorder.figures.layout import SCREEN, Size
from xrdorder.reports.first_look import FirstLook
from xrdorder.results.open_study import OpenStudy

FORMATS = ("png", "svg", "pdf")


@dataclass(frozen=True)
class Picture:
    """A figure to save or to show.

    Attributes
    ----------
    name : str
        Stem of its file.
    figure : Figure
    alt : str
        What is seen, in one sentence, for whoever cannot see it.
    caption : str
        What is shown, and from which data.
    """

    name: str
    figure: Figure
    alt: str
    caption: str
    _contents: dict[str, bytes] = field(default_factory=dict, init=False, repr=False, compare=False)

    def content(self, form: str) -> bytes:
        """Content of a file of one of `FORMATS`, made once: the page and a file both take it."""
        if form not in self._contents:
            self._contents[form] = encoded(self.figure, form)
        return self._contents[form]

    def ready(self, form: str) -> Picture | Missing:
        """Itself with the content of its file made; what is missing instead where that cannot be made."""
        try:
            self.content(form)
        except Exception as error:
            return Missing.of(self.name, error)
        return self


@dataclass(frozen=True)
class Missing:
    """A figure that could not be made.

    Attributes
    ----------
    name : str
    reason : str
        On one line.
    log : Path or None
        File that holds the details, where there are any.
    """

    name: str
    reason: str
    log: Path | None = None

    @classmethod
    def of(cls, name: str, error: Exception) -> Missing:
        """What an error leaves of a figure."""
        return cls(name, cause(error), recorded(error))

    @property
    def words(self) -> str:
        """All on one line, for whoever has the log file."""
        return f"{self.name}: {self.reason}" + (f" (details in {self.log})" if self.log else "")


@dataclass(frozen=True)
class Scene:
    """What figures are made of.

    Attributes
    ----------
    opened : OpenStudy
    look : FirstLook
        Verdicts on it, made once.
    size : Size
    """

    opened: OpenStudy
    look: FirstLook
    size: Size = SCREEN

    @property
    def title(self) -> str:
        """The study, by its title or its folder."""
        return self.opened.study.title or self.opened.study.folder.name

    def headed(self, what: str) -> str:
        """Say what a figure shows, and of which study."""
        return f"{what}: {self.title}"

    @property
    def data(self) -> str:
        """Where the numbers of a figure come from, as a caption says it."""
        return f"Data: results.nc of '{self.title}'."


@dataclass(frozen=True)
class Maker:
    """How a figure is made.

    Attributes
    ----------
    name : str
        By which it is asked for.
    make : callable
        Gives the picture, or None where the study has no data for it.
    """

    name: str
    make: Callable[[Scene], Picture | None]


def drawn(name: str, make: Callable[[], Picture | None]) -> Picture | Missing | None:
    """Make a figure: whatever goes wrong costs this figure and nothing else."""
    try:
        return make()
    except Exception as error:
        return Missing.of(name, error)


def encoded(figure: Figure, form: str) -> bytes:
    """A figure as a file of one of `FORMATS`; text stays text in SVG and PDF."""
    stream = io.BytesIO()
    # 42 embeds the letters of a PDF as such; a fixed salt makes equal figures equal files
    choices = {"svg.fonttype": "none", "pdf.fonttype": 42, "svg.hashsalt": "xrdorder"}
    with matplotlib.rc_context(choices), warnings.catch_warnings():
        # names may be written in letters that the font lacks: boxes in a picture, whole where text stays text
        warnings.filterwarnings("ignore", "Glyph .* missing from font", UserWarning)
        figure.savefig(stream, format=form, metadata=None if form == "png" else _undated(form))
    return stream.getvalue()


def _undated(form: str) -> dict[str, None]:
    return {"Date": None} if form == "svg" else {"CreationDate": None}
