"""One page to hand around: the answer, the table and three figures, as PDF and as a document to edit.

Figures of the sheet are those of one column at their size, so that their letters are read in print.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import files

import matplotlib
from jinja2 import Environment
from matplotlib.figure import Figure
from matplotlib.image import imread

from xrdorder.drawing.layout import ONE_COLUMN, THIN, font, sheet
from xrdorder.drawing.palette import FOG, SLATE
from xrdorder.drawing.text import fitted, plain, typeset, wrapped_in
from xrdorder.quantities.tables import Table
from xrdorder.reports.answer import answer_lines
from xrdorder.reports.cautions import BRIEF
from xrdorder.reports.gallery import study_pictures
from xrdorder.reports.page import FIRST
from xrdorder.reports.pictures import Missing, Picture, Scene, encoded
from xrdorder.results.study_table import extremes

PDF, DOCUMENT = "summary.pdf", "summary.html"

_WIDE_IN, _TALL_IN, _MARGIN_IN, _GAP_IN = 8.27, 11.69, 0.6, 0.1
_TEXT_PT, _TABLE_PT, _LINE_IN, _ROW_IN, _HEADING_IN = 8.5, 6.6, 0.155, 0.128, 2.05
_TITLE_PT, _PRINT_DPI = 12.0, 300.0
_ON_SHEET = ("treatment", "answer", "bc2-tc")
"""Figures of the sheet: one in a column, two in the other."""
_LEFT_OUT = ("lot", "treatment")
"""Columns that the names of samples mostly say already, beside those that a narrow terminal leaves out."""


def summary(scene: Scene, pictures: Sequence[Picture | Missing]) -> Iterator[tuple[str, bytes | Missing]]:
    """Give the files of the summary, or what is missing of them."""
    ready = [picture.ready("png") for picture in pictures if isinstance(picture, Picture) and picture.name in FIRST]
    shown = [picture for picture in ready if isinstance(picture, Picture)]
    narrow = [
        picture
        for picture in study_pictures(replace(scene, size=ONE_COLUMN), _ON_SHEET)
        if isinstance(picture, Picture)
    ]
    narrow.sort(key=lambda picture: _ON_SHEET.index(picture.name))
    shown.sort(key=lambda picture: FIRST.index(picture.name))
    for picture in ready:
        if isinstance(picture, Missing):
            yield picture.name, picture
    table, words = extremes(scene.table)
    for name, make, drawn in ((PDF, _pdf, narrow), (DOCUMENT, _document, shown)):
        try:
            yield name, make(scene, table, words, drawn)
        except Exception as error:  # costs itself, never the report
            yield name, Missing.of(name, error)


def _columns(table: Table) -> list[int]:
    return [k for k, heading in enumerate(table.head) if heading.optional < 2 and heading.words not in _LEFT_OUT]


def _document(scene: Scene, table: Table, words: str, pictures: Sequence[Picture]) -> bytes:
    """A page without scripts and with styles on each element: it keeps its look where it is pasted."""
    template = Environment(autoescape=True, trim_blocks=True).from_string(
        files("xrdorder.reports").joinpath("summary.html.j2").read_text(encoding="utf-8")
    )
    images = [
        (base64.b64encode(picture.content("png")).decode("ascii"), picture.alt, f"Figure {k}. {picture.caption}")
        for k, picture in enumerate(pictures, start=1)
    ]
    kept = _columns(table)
    return template.render(
        title=scene.title, made=_today(), answer=answer_lines(scene), head=[table.head[k] for k in kept],
        rows=[[row[k] for k in kept if k < len(row)] for row in table.rows], words=words, images=images, cautions=BRIEF,
    ).encode("utf-8")  # fmt: skip


def _pdf(scene: Scene, table: Table, words: str, pictures: Sequence[Picture]) -> bytes:
    figure = sheet(_WIDE_IN, _TALL_IN)
    title = fitted(scene.title, _WIDE_IN - 2 * _MARGIN_IN, _TITLE_PT, bold=True, whole_end=False)
    figure.text(_x(0.0), _y(_MARGIN_IN), typeset(title), va="top", **font(_TITLE_PT, weight="bold"))
    top = _MARGIN_IN + 0.32
    for heading, text in answer_lines(scene):
        figure.text(_x(0.0), _y(top), typeset(plain(heading)), va="top", **font(_TEXT_PT, weight="bold"))
        for line in wrapped_in(text, _WIDE_IN - 2 * _MARGIN_IN - _HEADING_IN - 0.2, _TEXT_PT):
            figure.text(_x(_HEADING_IN + 0.2), _y(top), typeset(plain(line)), va="top", **font(_TEXT_PT))
            top += _LINE_IN
    top = _draw_table(figure, table, words, top + _GAP_IN)
    for column, ones in enumerate((pictures[:1], pictures[1:])):
        _stack(figure, ones, column, top)
    words = typeset(plain("\n".join((*BRIEF, _today()))))
    figure.text(_x(0.0), 0.35 / _TALL_IN, words, va="bottom", **font(6.0, color=SLATE))
    stream = io.BytesIO()
    with matplotlib.rc_context({"pdf.fonttype": 42}):
        figure.savefig(stream, format="pdf", metadata={"CreationDate": None, "Title": scene.title})
    return stream.getvalue()


def _stack(figure: Figure, pictures: Sequence[Picture], column: int, top: float) -> None:
    """Put figures below each other into one of two columns, smaller where they have no room."""
    wide = 0.5 * (_WIDE_IN - 2 * _MARGIN_IN) - _GAP_IN
    sizes = [picture.figure.get_size_inches() for picture in pictures]
    tall = sum(height / width for width, height in sizes) * wide + _GAP_IN * len(sizes)
    share = min(1.0, (_TALL_IN - top - _MARGIN_IN - 0.3) / tall) if tall else 1.0
    for drawing, (width, height) in zip(pictures, sizes, strict=True):
        each = share * wide * height / width
        left = _x(column * (wide + 2 * _GAP_IN))
        axes = figure.add_axes((left, _y(top + each), share * wide / _WIDE_IN, each / _TALL_IN))
        picture = imread(io.BytesIO(encoded(drawing.figure, "png", _PRINT_DPI)))
        axes.imshow(picture, aspect="auto", interpolation="none")  # as it is, not drawn anew
        axes.set_axis_off()
        top += each + share * _GAP_IN


def _draw_table(figure: Figure, table: Table, words: str, top: float) -> float:
    """Draw the table, numbers to the right, and give where it ends."""
    kept = _columns(table)
    wide = _WIDE_IN - 2 * _MARGIN_IN
    first = 0.26 * wide
    each = (wide - first) / max(len(kept) - 1, 1)
    rows = [[f"{table.head[k].words}" for k in kept], [table.head[k].unit for k in kept]]
    rows += [[row[k].text for k in kept if k < len(row)] for row in table.rows]
    for i, row in enumerate(rows):
        if i == 2:
            figure.add_artist(_rule(top - 0.015))
        for j, text in enumerate(row):
            bold = {"weight": "bold"} if i == 0 else {}
            at, side = (0.0, "left") if j == 0 else (first + each * j, "right")
            figure.text(_x(at), _y(top), typeset(plain(text)), va="top", ha=side, **font(_TABLE_PT, **bold))
        top += _ROW_IN
    if words:
        figure.text(_x(0.0), _y(top), plain(words), va="top", **font(6.0, color=SLATE))
        top += _ROW_IN
    return top + _GAP_IN


def _rule(at: float) -> matplotlib.lines.Line2D:
    return matplotlib.lines.Line2D([_x(0.0), 1.0 - _x(0.0)], [_y(at)] * 2, color=FOG, linewidth=THIN)


def _x(inches: float) -> float:
    return (_MARGIN_IN + inches) / _WIDE_IN


def _y(inches: float) -> float:
    """From the upper edge."""
    return 1.0 - inches / _TALL_IN


def _today() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%d")
