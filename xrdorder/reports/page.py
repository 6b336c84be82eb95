"""One page that holds everything about a study, opens from disk and asks no network."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from xrdorder import __version__
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.reports.cautions import CAUTIONS
from xrdorder.reports.first_look import FirstLook
from xrdorder.reports.methods import METHODS, relations_used, sentences
from xrdorder.reports.patterns import fit_data
from xrdorder.reports.pictures import Missing, Picture
from xrdorder.reports.sections import section
from xrdorder.results.collate import own_words
from xrdorder.results.open_study import OpenStudy
from xrdorder.results.study_table import study_table

PLOTTING_VERSION = "1.6.32"
PLOTTING_SHA256 = "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f"
"""Of the vendored plotting script, as it came from the npm registry."""


_DRAWN = ("curves", "lines", "phases")
"""Groups of a sample that a section is made of."""
_CSS_DPI = 96.0
"""Pixels of a style sheet to the inch (CSS Values and Units, level 3)."""


@dataclass(frozen=True)
class _Shown:
    source: str
    alt: str
    caption: str
    width: int
    height: int


def page(
    opened: OpenStudy,
    look: FirstLook,
    pictures: Sequence[Picture | Missing],
    progress: Callable[[int, int, str], None] | None = None,
) -> tuple[str, tuple[Missing, ...]]:
    """Write the page, and say what is missing on it.

    Parameters
    ----------
    opened : OpenStudy
        A study that has been run.
    look : FirstLook
        Its verdicts.
    pictures : sequence of Picture or Missing
        Figures to show; the page says of those that could not be made why they are missing.
    progress : callable, optional
        Called with number of samples done, number in all, and a name.

    Raises
    ------
    StudyError
        The result of a sample cannot be read.
    """
    results = opened.results
    names = [str(name) for name in results["sample"].values]
    ready = [one if isinstance(one, Missing) else one.ready("svg") for one in pictures]
    missing = [one for one in ready if isinstance(one, Missing)]
    sections, fits = [], []
    for k, name in enumerate(names):
        sample = opened.sample(name, _DRAWN)
        made = section(sample, results.isel(sample=k), k)
        if made.fitted:
            try:
                fits.append({"number": k, "data": _json(fit_data(sample))})
            except Exception as error:  # one pattern that cannot be drawn costs itself, never the page
                missing.append(Missing.of(f"fit of {name}", error))
                made = replace(made, fitted=False, status=f"The fit is not drawn: {missing[-1].reason}.")
        sections.append(made)
        if progress is not None:
            progress(k + 1, len(names), name)
    template = Environment(autoescape=True, trim_blocks=True).from_string(_asset("page.html.j2"))
    text = template.render(
        title=str(results.attrs.get("title", "")) or opened.study.folder.name,
        count=len(names),
        version=__version__,
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        look=look,
        estimates=ESTIMATES,
        own=own_words(results),
        table=study_table(results),
        anchor_of={one.name: one.anchor for one in sections},
        figures=[_shown(one) for one in ready if isinstance(one, Picture)],
        missing=missing,
        sections=sections,
        fits=fits,
        methods=METHODS,
        sentences=sentences(look),
        relations=relations_used(results, look.library),
        cautions=CAUTIONS,
        plotting_version=PLOTTING_VERSION,
        styles=Markup(_asset("vendored/uPlot.min.css") + _asset("page.css")),
        plotting=Markup(_asset("vendored/uPlot.iife.min.js")),
        script=Markup(_asset("page.js")),
    )
    return text, tuple(missing)


def _asset(name: str) -> str:
    return files("xrdorder.reports").joinpath(name).read_text(encoding="utf-8")


def _json(data: Any) -> Markup:
    """JSON that no parser of HTML takes for markup."""
    text = json.dumps(data, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _shown(picture: Picture) -> _Shown:
    """A figure within the page, of known size, so that links find their place before it is drawn."""
    data = base64.b64encode(picture.content("svg")).decode("ascii")
    width, height = (round(_CSS_DPI * inches) for inches in picture.figure.get_size_inches())
    return _Shown(f"data:image/svg+xml;base64,{data}", picture.alt, picture.caption, width, height)
