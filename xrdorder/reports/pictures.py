"""A figure with the words that belong to it, and what figures of a study are made of."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, cached_property, partial
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from xrdorder.drawing.layout import SCREEN, Size
from xrdorder.exceptions import XrdorderError
from xrdorder.faults import cause, recorded
from xrdorder.files.atomic import make_folder, write_atomically
from xrdorder.planning.study import LotPlan
from xrdorder.quantities.tables import Table
from xrdorder.reports.first_look import FirstLook, first_look
from xrdorder.reports.next_step import plan_of
from xrdorder.results.open_study import OpenStudy
from xrdorder.results.sample_file import StoredSample
from xrdorder.results.study_table import study_table

FORMATS = ("png", "svg", "pdf")
_DRAWN = ("curves", "lines", "phases", "single_lines", "cross_checks", "parameters")
PANELS = {
    "site-order": "site_order", "tin": "tin_fraction", "lattice": "a_nm", "domain-size": "domain_size_nm",
    "a15-fraction": "a15_fraction", "tc": "Tc_K", "bc2": "Bc2_4K2_T",
}  # fmt: skip
"""Quantities that have panels of their own, as names of figures say them."""
_UNDATED: dict[str, dict[str, None] | None] = {"png": None, "svg": {"Date": None}, "pdf": {"CreationDate": None}}
_QUICKLY: dict[str, Any] = {"png": {"pil_kwargs": {"compress_level": 3}}}  # two thirds of the time, a tenth larger
_PNG_DPI = 170  # as printed in a report


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
    samples : callable
        Gives the stored sample of a name with all that is drawn of it, read once; a `StudyError` where it cannot be.
    size : Size
    chosen : tuple of str
        Samples that figures of single samples show; what each says of itself unless given.
    """

    opened: OpenStudy
    look: FirstLook
    samples: Callable[[str], StoredSample]
    size: Size = SCREEN
    chosen: tuple[str, ...] = ()

    @classmethod
    def of(cls, opened: OpenStudy, size: Size = SCREEN) -> Scene:
        """Make the scene of a study."""
        samples = cache(partial(opened.sample, groups=_DRAWN))
        return cls(opened, first_look(opened.results, opened.library()), samples, size)

    @cached_property
    def plan(self) -> LotPlan | None:
        """What to react next: of the lot that is ahead, else of that with most treatments."""
        return plan_of(self.opened, next(iter(self.look.ahead_and_reference), ""))

    @cached_property
    def table(self) -> Table:
        """The results of all samples."""
        return study_table(self.opened.results)

    @property
    def title(self) -> str:
        """The study, by its title or its folder."""
        return self.opened.study.title or self.opened.study.folder.name

    def headed(self, what: str) -> dict[str, Any]:
        """Title of a figure and its size; of which study it is, its caption says."""
        return {"title": what, "size": self.size}

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
    draw : callable
        Gives the picture; raises an `XrdorderError` where the study has no data for it.
    alone : bool
        Made only where it is asked for: others show it as one of their panels.
    """

    name: str
    draw: Callable[[Scene], Picture]
    alone: bool = False

    def make(self, scene: Scene) -> Picture | None:
        """Give the picture, None where the study has no data for it."""
        try:
            return self.draw(scene)
        except XrdorderError:
            return None


def drawn(name: str, make: Callable[[], Picture | None]) -> Picture | Missing | None:
    """Make a figure: whatever goes wrong costs this figure and nothing else."""
    try:
        return make()
    except Exception as error:
        return Missing.of(name, error)


def encoded(figure: Figure, form: str, dpi: float = _PNG_DPI) -> bytes:
    """A figure as a file of one of `FORMATS`: letters are outlines in SVG and embedded in PDF: no font is needed."""
    stream = io.BytesIO()
    # 42 embeds the letters of a PDF as such; a fixed salt makes equal figures equal files
    choices = {"svg.fonttype": "path", "pdf.fonttype": 42, "svg.hashsalt": "xrdorder"}
    with matplotlib.rc_context(choices), warnings.catch_warnings():
        # names may be written in letters that the font lacks: boxes
        warnings.filterwarnings("ignore", "Glyph .* missing from font", UserWarning)
        figure.savefig(stream, format=form, metadata=_UNDATED.get(form), dpi=dpi, **_QUICKLY.get(form, {}))
    return stream.getvalue()


def save(figure: Figure, path: Path) -> None:
    """Save a figure, whole or not at all; the ending of the name says in which format.

    Raises
    ------
    StudyError
        The disk refuses.
    """
    make_folder(path.parent)
    content = encoded(figure, path.suffix.lstrip(".").casefold(), figure.get_dpi())
    write_atomically(path, lambda part: part.write_bytes(content))
