"""Figures of what variants do: differences, courses over treatments, predicted against measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import xarray as xr

from xrdorder.comparison import Compared
from xrdorder.comparison.variants import fit_to_compare
from xrdorder.comparison.wording import manner
from xrdorder.drawing.layout import Size
from xrdorder.exceptions import StudyError
from xrdorder.figures import (
    TRENDS,
    against_figure,
    difference_courses,
    difference_rows,
    growth_figure,
    kramer_figure,
    trend_figure,
)
from xrdorder.figures.against import PAIRS
from xrdorder.figures.kramer import MOST as MOST_SERIES
from xrdorder.figures.measured import measured_figure
from xrdorder.figures.treatment_axis import Variable, usual_variable
from xrdorder.measured.held import hold
from xrdorder.measured.kramer import kramer_series
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import digits, listed
from xrdorder.quantities.registry import quantity
from xrdorder.reports.pictures import PANELS, Maker, Picture, Scene

_MOST_PLACES = 12
TREATED = ("site-order", "tin", "lattice")
"""What is shown against the treatment in a figure."""
MEASURED = {"tin": "tin_at_percent", "tc": "Tc_K", "bc2": "Bc2_T"}
"""Panels of predicted against measured, by what was measured."""
BESIDE = Size("beside", 5.0, 1, headed=False)
"""Of a figure beside the answer."""


def answer(scene: Scene) -> Picture:
    """Draw the differences in what variants are ranked by, small: beside the answer."""
    comparisons, noun = list(scene.look.to_first.values()), scene.look.by
    against = [compared for compared in comparisons if manner(compared.comparison.quantity).noun == noun]
    figure = difference_rows(against, size=BESIDE if scene.size.headed else scene.size)
    reference = against[0].against
    return Picture(
        "answer",
        figure,
        f"Differences in {noun} of all variants to {reference}, a row each",
        f"Differences in {noun} to {reference}: {_read_differences(against)}",
    )


def differences(scene: Scene, names: Sequence[str] = (), name: str = "differences") -> Picture:
    """Draw the differences of all variants to the first, a row each."""
    against = _compared(scene, names)
    figure = difference_rows(against, **scene.headed("Differences of variants"))
    what = f"Differences{_of(names)} of all variants to {against[0].against}"
    return Picture(
        name, figure, f"{what}, a row each", f"{what}: {_read_differences(against)} {ESTIMATES} {scene.data}"
    )


def _compared(scene: Scene, names: Sequence[str]) -> list[Compared]:
    return [compared for about, compared in scene.look.to_first.items() if not names or quantity(about).name in names]


def _of(names: Sequence[str]) -> str:
    return f" in {listed([quantity(name).noun for name in names])}" if names else ""


def _read_differences(several: Sequence[Compared]) -> str:
    """Say how marks of differences are read."""
    number = max(compared.comparison.first.size for compared in several)
    comparisons = "the one comparison" if number == 1 else f"all {number} comparisons"
    return (
        f"filled marks are significant (5 % for {comparisons} of a quantity together), open ones are not. "
        "Thick bars: standard uncertainty (k = 1), thin ones: 95 %; correlated errors have cancelled; small "
        "strokes: single wires."
    )


def courses(scene: Scene, names: Sequence[str] = (), name: str = "courses") -> Picture:
    """Draw the differences to the first variant over what varies."""
    results = scene.opened.results
    variable = usual_variable(results)
    number = dict(zip(results["sample"].values.astype(str), results[variable.column].values, strict=True))
    lots = dict(zip(results["sample"].values.astype(str), results["lot"].values.astype(str), strict=True))
    comparisons = [
        replace(compared, variable=[float(number[sample]) for sample in compared.values.samples])
        for compared in _compared(scene, names)
    ]
    if not any(
        np.unique(np.asarray(compared.variable)[np.isfinite(compared.variable)]).size > 1
        for compared in comparisons
    ):
        raise StudyError(f"no two samples differ in {variable.title}")
    figure = difference_courses(
        comparisons, variable.title, variable.unit, lots=lots, logarithmic=variable.logarithmic,
        **scene.headed(f"Differences over the {variable.title}"),
    )  # fmt: skip
    what = f"Differences{_of(names)} of all variants to {comparisons[0].against} over the {variable.title}"
    return Picture(
        name,
        figure,
        f"{what}, with lines",
        f"{what}: {_read_differences(comparisons)} Lines: straight through the samples, dashed where the slope is not "
        f"significant; bands: standard uncertainty of their shape. {ESTIMATES} {scene.data}",
    )


def trends(scene: Scene, names: Sequence[str] = (), name: str = "trends") -> Picture:
    """Draw absolutes over what varies, with the test of each lot's trend."""
    results, _ = fit_to_compare(scene.opened.results)
    variable = usual_variable(results)
    shown = [quantity(name) for name in names or TRENDS]
    nouns = listed([entry.noun for entry in shown])
    what = f"{nouns[0].upper()}{nouns[1:]}"
    headed = scene.headed(f"{what if names else 'Samples'} over the {variable.title}")
    figure = trend_figure(results, names or None, variable=variable, **headed)
    kinds = {entry.predicted for entry in shown}
    measured_ones = (
        "Bars at marks: independent standard uncertainty (k = 1); at the right edge: what all samples of a lot share. "
        "Lines: straight through a lot where a line is not rejected (dashed: slope not significant), with the change "
        "over the range and its test; bands: standard uncertainty of their shape. Grey: published wires within the "
        "frame. "
    ) * (False in kinds)
    estimates = f" Bars of Tc and Bc2: 68 % interval of the joint estimate. {ESTIMATES}" * (True in kinds)
    return Picture(
        name, figure,
        f"{nouns} of all samples against the {variable.title}",
        f"{what} of each sample against the {variable.title}. {measured_ones}Marks of equal {variable.title} stand "
        f"beside each other{_beside(results, variable)}.{estimates} {scene.data}",
    )  # fmt: skip


def growth(scene: Scene) -> Picture:
    """Draw the logarithm of sizes against the inverse temperature."""
    results, _ = fit_to_compare(scene.opened.results)
    return Picture(
        "growth",
        growth_figure(results, **scene.headed("Growth of crystallites")),
        "Crystallite size on a logarithmic scale against the inverse reaction temperature, with activation energies",
        "Crystallite (domain) size on a logarithmic scale against the inverse of the reaction temperature. Bars: "
        "independent standard uncertainty (k = 1). Lines: straight through a lot where a line is not rejected; E: "
        "activation energy of the size itself by their slope, with its standard uncertainty and the test of the slope. "
        f"Hold times differ and are not corrected for. Grey: grain sizes of published wires. {scene.data}",
    )


def published(scene: Scene, names: Sequence[str] = tuple(PAIRS), name: str = "published") -> Picture:
    """Draw own samples in front of what others published."""
    results, _ = fit_to_compare(scene.opened.results)
    figure = against_figure(
        results, names, library=scene.look.library, **scene.headed("Among published samples and relations")
    )
    pairs_said = listed([f"{quantity(PAIRS[name].y).noun} against {quantity(PAIRS[name].x).noun}" for name in names])
    bound = " Shaded: more order than the tin content allows (undoped)." if "order-tin" in names else ""
    own = " and those of the laboratory" if scene.opened.results.attrs.get("own_relations") else ""
    return Picture(
        name, figure,
        f"{pairs_said}: own samples, published samples in grey, published relations as lines",
        f"{pairs_said[0].upper()}{pairs_said[1:]}. Own samples: 68 % intervals of the joint "
        "estimates, shared errors included. Grey: published samples within the frame, whatever their dopants "
        "and process; irradiated and strained ones are left out. "
        f"Lines: published relations{own}, as far as they are valid.{bound} {ESTIMATES} {scene.data}",
    )  # fmt: skip


def kramer(scene: Scene) -> Picture:
    """Draw the Kramer plot of measured critical currents."""
    series = kramer_series((sample.name, sample.measured) for sample in scene.opened.study.samples)
    some = f" ({MOST_SERIES} of {len(series)}, evenly through the study)" if len(series) > MOST_SERIES else ""
    return Picture(
        "kramer",
        kramer_figure(series, **scene.headed("Kramer plot")),
        "Root of the measured critical current times the fourth root of the field against the field, with lines",
        f"Kramer plot of measured critical currents{some}. Bars: standard uncertainty (k = 1). Lines: weighted least "
        "squares where a line is not rejected, to the Kramer field, at which the pinning force vanishes; it is no Bc2. "
        "Measured values: study.toml.",
    )


def _beside(results: xr.Dataset, variable: Variable) -> str:
    """Say what the other variable was at each place."""
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


def measured(scene: Scene, names: Sequence[str] = (), name: str = "measured") -> Picture:
    """Draw predicted against measured values."""
    return Picture(
        name,
        measured_figure(hold(scene.opened), names, **scene.headed("Predicted against measured")),
        "Predicted against measured values",
        "Measured values (up) against estimates (across): bars are the standard uncertainty of the measurement and the "
        "68 % interval of the estimate; on the line both are equal. Beside or below, what each published relation is "
        "off on the average, measured less predicted, on whatever wire it was found (for Bc2 at 0 K): thick bars are "
        "independent uncertainty, thin ones hold the shared one as well; p: probability of being the best of "
        f"those that hold for the wire, others have theirs in brackets. {ESTIMATES} {scene.data} Measured values: "
        "study.toml.",
    )


def _alone(figure: str, draw: partial[Picture], panels: Sequence[str]) -> tuple[Maker, ...]:
    """Makers of single panels; each is named after its figure and what it shows."""
    return tuple(
        Maker(name, partial(draw, names=[PANELS[panel]], name=name), alone=True)
        for panel in panels
        for name in [f"{figure}-{panel}" if figure else panel]
    )


_COMPARED = tuple(entry for entry in PANELS if entry != "lattice")
MAKERS = (
    Maker("answer", answer, alone=True), Maker("differences", differences),
    Maker("treatment", partial(trends, names=[PANELS[variable] for variable in TREATED], name="treatment")),
    Maker("published", published), Maker("trends", trends), Maker("growth", growth),
    Maker("courses", courses, alone=True), Maker("measured", measured), Maker("kramer", kramer),
    *(Maker(name, partial(published, names=[name], name=name), alone=True) for name in PAIRS),
    *_alone("", partial(trends), tuple(PANELS)), *_alone("differences", partial(differences), _COMPARED),
    *_alone("courses", partial(courses), _COMPARED),
    *(Maker(f"measured-{name}", partial(measured, names=[entry], name=f"measured-{name}"), alone=True)
      for name, entry in MEASURED.items()),
)  # fmt: skip
