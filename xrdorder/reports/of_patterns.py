"""Figures of patterns and of lines: what was measured, and what single lines say of lattice, widths and order."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

import numpy as np

from xrdorder.drawing.layout import evenly
from xrdorder.exceptions import StudyError
from xrdorder.figures.close_ups import ORDER_LINES
from xrdorder.figures.line_by_line import LinesOfSample, extrapolation_figure, williamson_hall_figure
from xrdorder.figures.order_lines import STRONG_LINES, Overlaid, order_lines_figure
from xrdorder.figures.patterns import MOST_CURVES, SamplePattern, patterns_figure
from xrdorder.figures.resolution import MOST as MOST_INSTRUMENTS
from xrdorder.figures.resolution import TOLD_DEG, resolution_figure
from xrdorder.profiles import Instrument, read_instrument
from xrdorder.quantities.formatting import MISSING, concise, listed
from xrdorder.quantities.of_phase import STRAIN_ANISOTROPY
from xrdorder.reports.pictures import Maker, Picture, Scene
from xrdorder.results.open_study import RESULTS
from xrdorder.results.sample_file import FAILED, OK, StoredSample
from xrdorder.running.instruments import calibration_files

_CURVES = ("curves", "lines")
_SINGLE_LINES = ("single_lines", "cross_checks", "parameters")
_MOST_PANELS = {1: 4, 2: 8}
"""By columns of a figure."""


def patterns(scene: Scene) -> Picture:
    """Draw all patterns: curves, or a map where they are many."""
    patterns_drawn = [_pattern(scene, k, sample) for k, sample in _samples(scene, _fitted(scene), _CURVES)]
    count = (
        f"{'' if scene.chosen else 'All '}{len(patterns_drawn)} patterns"
        if len(patterns_drawn) > 1
        else "The pattern"
    )
    if len(patterns_drawn) <= MOST_CURVES:
        how, what = "as curves, sample names beside them", "Observed counts (thin lines: none), each pattern"
    else:
        how = "as a map: a row for each sample, darker where there are more counts, up to the end of the scale"
        what = "Observed counts less the fitted background, each pattern"
    return Picture(
        "patterns",
        patterns_figure(patterns_drawn, **scene.headed("Patterns")),
        f"{count} of the study over the angle 2θ, {how}; marks below show where lines of each phase stand",
        f"{count} {how}, in the order of temperature, then time. {what} divided by the highest point of its fit and "
        "drawn by the square root. Marks below: lines of the phases that "
        f"were found, heights by the root of the area within each phase. {_data(scene)}",
    )


def extrapolation(scene: Scene) -> Picture:
    """Draw lattice parameters by single lines, a panel a sample."""
    rows, chosen = _variants(scene)
    samples = [_lines(sample) for _, sample in _samples(scene, rows, _SINGLE_LINES)]
    samples = [sample for sample in samples if sample.with_centres.sizes["single_line"]]
    return Picture(
        "extrapolation",
        extrapolation_figure(samples, **scene.headed("Lattice parameter by single lines")),
        f"Relative deviation of the lattice parameter by single lines against cos²θ/sinθ, {_count(samples)}",
        f"Lattice parameter of the A15 by each line alone against cos²θ/sinθ, in ppm of that of the whole fit, on one "
        f"scale, {_count(samples)} ({chosen}). All shifts but the displacement of the specimen are corrected, which in "
        "reflection makes a straight line. Bars: standard uncertainty from counting. Line: the fit of the whole "
        "pattern with the displacement it found; open mark: its lattice parameter, at the temperature measured at. "
        f"Above: that number, and what least squares of the centres give. {_data(scene)}",
    )


def williamson_hall(scene: Scene) -> Picture:
    """Draw widths of single lines in the manner of size and strain, a panel a sample."""
    rows, chosen = _variants(scene)
    samples = [_lines(sample, widths=True) for _, sample in _samples(scene, rows, _SINGLE_LINES)]
    samples = [sample for sample in samples if sample.with_widths.sizes["single_line"]]
    return Picture(
        "williamson-hall",
        williamson_hall_figure(samples, **scene.headed("Williamson-Hall plot")),
        f"Breadth that the specimen adds to lines of the A15, times cosθ, against sinθ, {_count(samples)}",
        f"Williamson-Hall plot: integral breadth of single A15 lines beyond that of instrument and radiation, times "
        f"cosθ, against sinθ, {_count(samples)} ({chosen}). Bars: standard uncertainty from counting; the Gaussian "
        "part is held to the fit of the whole pattern. Line: that fit. Its value at zero is the wavelength over the "
        "crystallite size (volume-weighted length, K = 1), its slope is microstrain or spread of composition, and it "
        f"bends where the first is Lorentzian and the second Gaussian. {_data(scene)}",
    )


def resolution(scene: Scene) -> Picture:
    """Draw how wide the instruments of the study make a line."""
    study = scene.opened.study
    instruments: dict[str, Instrument] = {}
    for name in dict.fromkeys(sample.calibration for sample in study.samples):
        given = study.calibrations[name] if name else study.instrument
        path = given if isinstance(given, Path) else study.folder / RESULTS / calibration_files(name)[0]
        if path.is_file() and len(instruments) < MOST_INSTRUMENTS:
            instruments[name] = read_instrument(path)
    widths = [
        f"{name or instrument.standard}: "
        + ", ".join(f"{instrument.fwhm(at):.3f}° at {at:g}°" for at in TOLD_DEG)
        for name, instrument in instruments.items()
    ]
    return Picture(
        "resolution",
        resolution_figure(instruments, **scene.headed("Resolution of the instrument")),
        "Full width at half maximum that the instrument gives a line against the angle 2θ",
        "Full width at half maximum that the instrument alone gives a line, by its calibration; emission lines and "
        f"axial divergence come on top. {'; '.join(widths)}. Data: instrument files of '{scene.title}'.",
    )


def order_lines(scene: Scene, lines: Sequence[str] = ORDER_LINES, name: str = "order-lines") -> Picture:
    """Lay the order lines of the leading variant over those of the one it is compared with."""
    rows, chosen = _before_and_after(scene)
    overlaid = [_overlaid(scene, k, sample) for k, sample in _samples(scene, rows, _CURVES)]
    figure = order_lines_figure(overlaid, lines, **scene.headed("Lines that carry the order"))
    strong, drawn = ([f"({hkl.replace(' ', '')})" for hkl in some] for some in (STRONG_LINES, lines))
    names = " and ".join(piece.name for piece in overlaid)
    return Picture(
        name,
        figure,
        f"{listed(drawn)} of {names}, superimposed, with cumulative areas",
        f"The lines that carry the order, of {names} ({chosen}), over the angle from the place of each line. "
        "Background and other phases of the fit are subtracted, and counts divided by the fitted area of those of "
        f"{', '.join(strong)} that all have. Marks: observed, a few points together, with their standard uncertainty "
        "from counting; curves: fit of the whole pattern. With each line its cumulative area: areas are proportional "
        "to the square of the order, as far as no tails of neighbours are in the window; heights depend on the widths "
        f"of lines, too. {_data(scene)}",
    )


def _before_and_after(scene: Scene) -> tuple[list[int], str]:
    """Pick a sample of the variant ahead and one of the reference; without verdicts the last and first by treatment."""
    names = [str(name) for name in scene.opened.results["sample"].values]
    if scene.chosen:
        return [names.index(name) for name in scene.chosen], "chosen"
    ahead = scene.look.ahead_and_reference
    if len(ahead) == 2:
        return [names.index(name) for name in ahead], "leading variant and reference"
    rows, _ = _variants(scene)
    ends = list(dict.fromkeys([*rows[-1:], *rows[:1]]))
    return ends, "last and first by treatment" if len(ends) > 1 else "the only variant"


def _overlaid(scene: Scene, row: int, sample: StoredSample) -> Overlaid:
    words = [str(scene.opened.results["treatment"].values[row])]
    order = sample.values.get("site_order", math.nan)
    if math.isfinite(order):
        words.append(f"order {concise(order, sample.contributions.total('site_order'))}")
    return Overlaid(sample.name, sample.curves, sample.lines, ", ".join(word for word in words if word))


def _variants(scene: Scene) -> tuple[list[int], str]:
    """Pick the first sample of each lot and treatment, a sensible number in the order of treatment; and say so."""
    results = scene.opened.results
    if scene.chosen:
        return [k for k, name in enumerate(results["sample"].values) if str(name) in scene.chosen], "chosen"
    first: dict[tuple[str, str], int] = {}
    for k, status in enumerate(results["status"].values):
        if str(status) == OK:
            first.setdefault((str(results["lot"].values[k]), str(results["treatment"].values[k])), k)
    peak = np.nan_to_num(results["peak_c"].values.astype(float), nan=math.inf)
    hours = np.nan_to_num(results["hold_at_peak_h"].values.astype(float), nan=math.inf)
    rows = sorted(first.values(), key=lambda k: (peak[k], hours[k], k))
    most = _MOST_PANELS[min(scene.size.columns, 2)]
    if len(rows) <= most:
        return rows, "the first of each wire lot and treatment" if len(rows) > 1 else "the only variant"
    text = f"the first of each wire lot and treatment, {most} of {len(rows)} from the coolest to the hottest"
    return evenly(rows, most), text


def _lines(sample: StoredSample, *, widths: bool = False) -> LinesOfSample:
    value = sample.values.get
    return LinesOfSample(
        sample.name, sample.groups["single_lines"], _width_words(sample) if widths else _lattice_words(sample),
        _by_route(sample, "whole pattern")[0], value("lorentz_sec", math.nan), value("lorentz_tan", math.nan),
        value("gauss_tan2", math.nan), any(map(STRAIN_ANISOTROPY.phase, sample.values)),
    )  # fmt: skip


def _by_route(sample: StoredSample, route: str) -> tuple[float, float]:
    """Lattice parameter by a route through the counts, and its uncertainty from counting."""
    table = sample.cross_checks
    if table is None or route not in table["route"].values:
        return math.nan, math.nan
    row = table.sel(route=route)
    return float(row["a_nm"]), float(row["u_a_nm"])


def _lattice_words(sample: StoredSample) -> str:
    words = [f"a = {concise(*_by_route(sample, 'whole pattern'))} nm"]
    single = concise(*_by_route(sample, "single lines"))
    if single != MISSING:
        words.append(f"lines {single}")
    parameters = sample.groups["parameters"]
    at = np.flatnonzero(parameters["parameter"].values == "specimen_displacement_mm")
    if at.size and parameters["vary"].values[at[0]]:
        value, u = (1000.0 * float(parameters[key].values[at[0]]) for key in ("value", "stderr"))
        words.append(f"displaced by {concise(value, u)} µm")
    return ", ".join(words)


def _width_words(sample: StoredSample) -> str:
    value, table = sample.values, sample.contributions
    size, strain = value.get("domain_size_nm", math.nan), value.get("microstrain", math.nan)
    if math.isfinite(size):
        words = f"size {concise(size, table.total('domain_size_nm'))} nm"
    elif math.isfinite(value.get("domain_size_at_least_nm", math.nan)):
        words = f"size at least {value['domain_size_at_least_nm']:.0f} nm"
    else:
        words = "size not determined"
    if math.isfinite(strain):
        return f"{words}, microstrain {concise(1e4 * strain, 1e4 * table.total('microstrain'))}·10⁻⁴"
    return f"{words}, microstrain not resolved"


def _count(shown: Sequence[object]) -> str:
    return f"{len(shown)} samples" if len(shown) > 1 else "one sample"


def _fitted(scene: Scene) -> list[int]:
    """Rows of samples that have a fit."""
    names, states = (scene.opened.results[key].values.astype(str) for key in ("sample", "status"))
    return [
        k for k, (name, status) in enumerate(zip(names, states, strict=True))
        if not status.startswith(FAILED) and (not scene.chosen or name in scene.chosen)
    ]  # fmt: skip


def _samples(scene: Scene, rows: Sequence[int], groups: Sequence[str]) -> Iterator[tuple[int, StoredSample]]:
    """Read samples of the results; those that have not all of the groups, or cannot be read, are left out."""
    for k in rows:
        try:
            sample = scene.samples(str(scene.opened.results["sample"].values[k]))
        except StudyError:
            continue
        if all(group in sample.groups for group in groups):
            yield k, sample


def _pattern(scene: Scene, row: int, sample: StoredSample) -> SamplePattern:
    results = scene.opened.results
    treatment, peak, hours = (results[name].values[row] for name in ("treatment", "peak_c", "hold_at_peak_h"))
    return SamplePattern(sample.name, sample.curves, sample.lines, str(treatment), float(peak), float(hours))


def _data(scene: Scene) -> str:
    return f"Data: results/samples of '{scene.title}'."


MAKERS = (
    Maker("patterns", patterns), Maker("order-lines", order_lines), Maker("extrapolation", extrapolation),
    Maker("williamson-hall", williamson_hall), Maker("resolution", resolution),
    *(Maker(name, partial(order_lines, lines=[hkl], name=name), alone=True) for hkl in ORDER_LINES
      for name in [f"order-lines-{hkl.replace(' ', '')}"]),
)  # fmt: skip
