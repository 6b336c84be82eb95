"""Figures of a study with the captions that say what is shown, and from which data."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass

import matplotlib
from matplotlib.figure import Figure

from xrdorder.exceptions import XrdorderError
from xrdorder.figures import difference_rows, trend_figure
from xrdorder.reports.cautions import ESTIMATES
from xrdorder.reports.verdicts import FirstLook
from xrdorder.studies.comparison.of_study import compare_quantity, fit_to_compare
from xrdorder.studies.measured_study import hold
from xrdorder.studies.run import OpenStudy

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


def study_pictures(opened: OpenStudy, look: FirstLook) -> Iterator[Picture]:
    """Give the figures that a study has data for."""
    results = opened.results
    source = f"Data: results.nc of '{opened.study.title or opened.study.folder.name}'."
    if look.compared:
        fit, _ = fit_to_compare(results)
        predicted = {quantity: one.values for quantity, one in look.compared.items()}
        against = [compare_quantity(fit, quantity, predicted=predicted) for quantity in look.compared]
        reference = against[0].against
        yield Picture(
            "differences",
            difference_rows(against, title=str(results.attrs.get("title", ""))),
            f"Differences of all variants to {reference}, a row each, quantities side by side",
            f"Differences of all variants to {reference}: filled marks are more than chance. Bars: standard "
            f"uncertainty and 95 %; what both share has cancelled. {ESTIMATES} {source}",
        )
    try:
        trends = trend_figure(results)
    except XrdorderError:
        trends = None
    if trends is not None:
        yield Picture(
            "trends",
            trends,
            "Site order, tin, Tc and Bc2 of all samples against the highest hold temperature",
            "Order, tin, Tc and Bc2 against the highest hold temperature. Bars at marks: what a sample shares with no "
            f"other; at the right edge: what moves all samples of a lot. {ESTIMATES} {source}",
        )
    try:
        held = hold(opened)
    except XrdorderError:
        return
    from xrdorder.figures.measured import measured_figure

    yield Picture(
        "measured",
        measured_figure(held),
        "Predicted against measured values",
        f"Predicted against measured values, with total uncertainties. {source} Measured values: study.toml.",
    )


def encoded(figure: Figure, form: str) -> bytes:
    """A figure as a file of one of `FORMATS`; text stays text in SVG and PDF."""
    stream = io.BytesIO()
    # 42 embeds the letters of a PDF as such; a fixed salt makes equal figures equal files
    with matplotlib.rc_context({"svg.fonttype": "none", "pdf.fonttype": 42, "svg.hashsalt": "xrdorder"}):
        figure.savefig(stream, format=form, metadata=None if form == "png" else _undated(form))
    return stream.getvalue()


def _undated(form: str) -> dict[str, None]:
    return {"Date": None} if form == "svg" else {"CreationDate": None}
