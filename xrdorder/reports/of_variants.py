"""Figures of what variants do: differences, courses over treatments, predicted against measured."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from xrdorder.comparison import Compared
from xrdorder.comparison.variants import fit_to_compare
from xrdorder.exceptions import XrdorderError
from xrdorder.figures import difference_courses, difference_rows, trend_figure
from xrdorder.figures.measured import measured_figure
from xrdorder.figures.treatment_axis import Variable, usual_variable
from xrdorder.measured.held import hold
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import digits
from xrdorder.reports.pictures import Maker, Picture, Scene

_MOST_PLACES = 12


def differences(scene: Scene) -> Picture | None:
    """Draw the differences of all variants to the first, a row each."""
    against = list(scene.look.to_first.values())
    if not against:
        return None
    reference = against[0].against
    return Picture(
        "differences",
        difference_rows(against, title=scene.headed("Differences of variants"), size=scene.size),
        f"Differences of all variants to {reference}, a row each, quantities side by side",
        f"Differences of all variants to {reference}: {_read_differences(against)} {ESTIMATES} {scene.data}",
    )


def _read_differences(found: Sequence[Compared]) -> str:
    """Say how marks of differences are read."""
    number = max(one.comparison.first.size for one in found)
    return (
        f"filled marks are significant (5 % for {_all_of(number)} of a quantity together), open ones are not. "
        "Thick bars: standard uncertainty (k = 1), thin ones: 95 %; what both share has cancelled; small strokes: "
        "single wires."
    )


def _all_of(number: int) -> str:
    return "the one comparison" if number == 1 else f"all {number} comparisons"


def courses(scene: Scene) -> Picture | None:
    """Draw the differences to the first variant over what varies."""
    results = scene.opened.results
    variable = usual_variable(results)
    number = dict(zip(results["sample"].values.astype(str), results[variable.column].values, strict=True))
    lots = dict(zip(results["sample"].values.astype(str), results["lot"].values.astype(str), strict=True))
    found = [
        one._replace(variable=[float(number[name]) for name in one.values.samples])
        for one in scene.look.to_first.values()
    ]
    if not any(np.unique(np.asarray(one.variable)[np.isfinite(one.variable)]).size > 1 for one in found):
        return None
    reference = found[0].against
    return Picture(
        "courses",
        difference_courses(
            found, variable.title, variable.unit, lots=lots, logarithmic=variable.logarithmic,
            title=scene.headed(f"Differences over the {variable.title}"), size=scene.size,
        ),
        f"Differences of all variants to {reference} over the {variable.title}, with lines",
        f"Differences of all variants to {reference} over the {variable.title}: {_read_differences(found)} Lines: "
        "straight through the samples, dashed where the slope may be chance; bands: standard uncertainty of their "
        f"shape. {ESTIMATES} {scene.data}",
    )


def trends(scene: Scene) -> Picture | None:
    """Draw absolutes over what varies, common parts apart."""
    results, _ = fit_to_compare(scene.opened.results)
    variable = usual_variable(results)
    try:
        figure = trend_figure(
            results, variable=variable, title=scene.headed(f"Samples over the {variable.title}"), size=scene.size
        )
    except XrdorderError:
        return None
    return Picture(
        "trends",
        figure,
        f"Order, tin, domain size, A15 fraction, Tc and Bc2 of all samples against the {variable.title}",
        f"What each sample has, against the {variable.title}. Bars at marks: what a sample shares with no other; at "
        "the right edge: what moves all samples of a lot. Tc and Bc2: 68 % interval over all published relations, "
        "ticks: each alone. Lines: straight through a lot (dashed: slope not significant); bands: standard "
        f"uncertainty of their shape. Marks of equal places stand beside each other{_beside(results, variable)}. "
        f"{ESTIMATES} {scene.data}",
    )


def _beside(results: xr.Dataset, variable: Variable) -> str:
    """Say what the other variable was at each place: narrow figures have no room for it."""
    held: dict[float, set[float]] = {}
    for x, other in zip(results[variable.column].values, results[variable.beside].values, strict=True):
        if np.isfinite(x) and np.isfinite(other):
            held.setdefault(float(x), set()).add(float(other))
    every = sorted(set().union(*held.values()))
    if len(every) < 2:
        return ""
    if len(held) > _MOST_PLACES:
        return f" ({variable.beside_title}: {digits(every[0], 4)} to {digits(every[-1], 4)})"
    places = (
        f"{digits(x, 4)} {variable.unit}: {', '.join(digits(h, 4) for h in sorted(held[x]))}" for x in sorted(held)
    )
    return f" ({variable.beside_title}: {'; '.join(places)})"


def measured(scene: Scene) -> Picture | None:
    """Draw predicted against measured values, where any were measured."""
    try:
        figure = measured_figure(hold(scene.opened), title=scene.headed("Predicted against measured"), size=scene.size)
    except XrdorderError:
        return None
    return Picture(
        "measured",
        figure,
        "Predicted against measured values",
        "Measured values (up) against estimates (across): bars are the standard uncertainty of the measurement and the "
        "68 % interval of the estimate; on the line both are equal. Beside or below, what each published relation is "
        "off on the average, measured less predicted, on whatever wire it was found (for Bc2 at 0 K): thick bars are "
        "what each sample has for itself, thin ones hold what all share as well; p: probability of being the best of "
        f"those that hold for the wire, others have theirs in brackets. {ESTIMATES} {scene.data} Measured values: "
        "study.toml.",
    )


MAKERS = (
    Maker("differences", differences),
    Maker("courses", courses),
    Maker("trends", trends),
    Maker("measured", measured),
)
