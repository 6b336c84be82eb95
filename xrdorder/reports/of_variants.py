"""Figures of what variants do: differences, courses over treatments, predicted against measured."""

from __future__ import annotations

from xrdorder.exceptions import XrdorderError
from xrdorder.figures import difference_rows, trend_figure
from xrdorder.figures.measured import measured_figure
from xrdorder.reports.cautions import ESTIMATES
from xrdorder.reports.pictures import Maker, Picture, Scene
from xrdorder.studies.comparison.of_study import compare_quantity, fit_to_compare
from xrdorder.studies.measured_study import hold


def differences(scene: Scene) -> Picture | None:
    """Draw the differences of all variants to the first, a row each."""
    look, results = scene.look, scene.opened.results
    if not look.compared:
        return None
    fit, _ = fit_to_compare(results)
    predicted = {quantity: one.values for quantity, one in look.compared.items()}
    against = [compare_quantity(fit, quantity, predicted=predicted) for quantity in look.compared]
    reference = against[0].against
    return Picture(
        "differences",
        difference_rows(against, title=scene.title, size=scene.size),
        f"Differences of all variants to {reference}, a row each, quantities side by side",
        f"Differences of all variants to {reference}: filled marks are more than chance. Bars: standard "
        f"uncertainty and 95 %; what both share has cancelled; small strokes: single wires. {ESTIMATES} {scene.data}",
    )


def trends(scene: Scene) -> Picture | None:
    """Draw absolutes over the reaction temperature, common parts apart."""
    try:
        figure = trend_figure(scene.opened.results, title=scene.title, size=scene.size)
    except XrdorderError:
        return None
    return Picture(
        "trends",
        figure,
        "Site order, tin, Tc and Bc2 of all samples against the highest hold temperature",
        "Order, tin, Tc and Bc2 against the highest hold temperature. Bars at marks: what a sample shares with no "
        f"other; at the right edge: what moves all samples of a lot. {ESTIMATES} {scene.data}",
    )


def measured(scene: Scene) -> Picture | None:
    """Draw predicted against measured values, where any were measured."""
    try:
        held = hold(scene.opened)
    except XrdorderError:
        return None
    return Picture(
        "measured",
        measured_figure(held, size=scene.size),
        "Predicted against measured values",
        f"Predicted against measured values, with total uncertainties. {scene.data} Measured values: study.toml.",
    )


MAKERS = (Maker("differences", differences), Maker("trends", trends), Maker("measured", measured))
