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
from xrdorder.drawing.palette import phase_colour, stroke
from xrdorder.explanation.explanation import explain, quantities_table
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.tables import Table, html
from xrdorder.reports.answer import answer_lines
from xrdorder.reports.cautions import CAUTIONS
from xrdorder.reports.methods import METHODS, libraries, relations_used
from xrdorder.reports.patterns import fit_data
from xrdorder.reports.pictures import Missing, Picture, Scene
from xrdorder.results.study_table import in_short
from xrdorder.views.explanation import about_parts, origin_parts

_OF_ENDS = 3  # columns that a terminal leaves out that early
ANSWER, FIRST = "answer", ("treatment", "published", "differences")
"""The figure beside the answer, and those that stand open below it; all others are folded."""
FILLS = tuple(map(phase_colour, range(6)))
PHASE_STROKES = tuple(map(stroke, FILLS))
_CSS_DPI = 96.0
"""Pixels of a style sheet to the inch (CSS Values and Units, level 3)."""


@dataclass(frozen=True)
class _Shown:
    source: str
    alt: str
    caption: str
    width: int
    height: int


@dataclass(frozen=True)
class _Section:
    """What the page says of a sample; the anchor is safe in a page whatever the name."""

    name: str
    anchor: str
    fitted: bool
    status: str
    quality: str
    about: str
    results: str
    said: Markup


def page(
    scene: Scene,
    pictures: Sequence[Picture | Missing],
    progress: Callable[[int, int, str], None] | None = None,
) -> tuple[str, tuple[Missing, ...]]:
    """Write the page, and say what is missing on it.

    Parameters
    ----------
    scene : Scene
        Of a study that has been run.
    pictures : sequence of Picture or Missing
        Figures to show; the page says of those that could not be made why they are missing.
    progress : callable, optional
        Called with number of samples done, number in all, and a name.

    Raises
    ------
    StudyError
        The result of a sample cannot be read.
    """
    results, look = scene.opened.results, scene.look
    names = [str(name) for name in results["sample"].values]
    ready = [picture if isinstance(picture, Missing) else picture.ready("svg") for picture in pictures]
    missing = [picture for picture in ready if isinstance(picture, Missing)]
    shown = {picture.name: _shown(picture) for picture in ready if isinstance(picture, Picture)}
    sections, fits = [], []
    for k, name in enumerate(names):
        made, data = _section(scene, k, name, missing)
        sections.append(made)
        fits += [{"number": k, "data": data}] * (data is not None)
        if progress is not None:
            progress(k + 1, len(names), name)
    template = Environment(autoescape=True, trim_blocks=True).from_string(_asset("page.html.j2"))
    text = template.render(
        title=scene.title, count=len(names), version=__version__,
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"), look=look, answer=answer_lines(scene),
        estimates=ESTIMATES,
        compared=Markup(html(look.comparison.parts(details=True)) if look.comparison is not None else ""),
        table=_without_intervals(scene.table),
        anchor_of={section.name: section.anchor for section in sections}, beside=shown.pop(ANSWER, None),
        first=[shown.pop(name) for name in FIRST if name in shown], figures=list(shown.values()), missing=missing,
        sections=sections, fits=fits, methods=METHODS,
        relations=relations_used(results, look.library), cautions=CAUTIONS,
        colours=_json({"fills": FILLS, "strokes": PHASE_STROKES}), libraries=libraries(),
        styles=Markup(_asset("vendored/uPlot.min.css") + _asset("page.css")),
        plotting=Markup(_asset("vendored/uPlot.iife.min.js")), script=Markup(_asset("page.js")),
    )  # fmt: skip
    return text, tuple(missing)


def _section(scene: Scene, k: int, name: str, missing: list[Missing]) -> tuple[_Section, Markup | None]:
    """The section of a sample and its fit; one pattern that cannot be drawn costs itself, never the page."""
    sample, row = scene.samples(name), scene.opened.results.isel(sample=k)
    told = explain(sample)
    words = [str(row[key].item()) for key in ("lot", "treatment", "mount") if key in row]
    said = html([*about_parts(told)[1:], quantities_table(told), *origin_parts(told)])
    made = _Section(
        name, f"sample-{k}", not sample.failed and "curves" in sample.groups, sample.status, sample.quality_words,
        " · ".join(filter(None, words)), " · ".join(in_short(row)), Markup(said),
    )  # fmt: skip
    if not made.fitted:
        return made, None
    try:
        return made, _json(fit_data(sample))
    except Exception as error:
        missing.append(Missing.of(f"fit of {name}", error))
        return replace(made, fitted=False, status=f"The fit is not drawn: {missing[-1].reason}."), None


def _without_intervals(table: Table) -> Table:
    """The table without ends of intervals: half of each stands behind its value, the ends with the sample."""
    kept = [k for k, heading in enumerate(table.head) if not (heading.numeric and heading.optional >= _OF_ENDS)]
    rows = tuple(row if len(row) < len(table.head) else tuple(row[k] for k in kept) for row in table.rows)
    return Table(tuple(table.head[k] for k in kept), rows, table.notes, table.title)


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
