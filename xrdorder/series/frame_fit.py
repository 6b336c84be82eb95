"""One frame: from its neighbour where that goes, from nothing where it does not.

Frames are fitted with one model throughout, without the effects that single fits take in where a pattern asks for them:
one that comes and goes with the noise would be a step in every quantity.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.crystals import Phase
from xrdorder.exceptions import FitError
from xrdorder.fitting.options import FitOptions
from xrdorder.fitting.pattern_fit import assemble
from xrdorder.fitting.procedure import MAIN_PRESENT, MISFIT, PRESENT, Procedure
from xrdorder.fitting.result import PatternFit
from xrdorder.fitting.whole_pattern import DEFAULT_COMPOSITION, prepare
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.material.lattice import REFERENCE_C
from xrdorder.profiles import Instrument
from xrdorder.series.hot_phases import at_temperature
from xrdorder.uncertainty import ONE_SIDED_95

Array = NDArray[np.float64]

OPTIONS = FitOptions(
    lattice_distribution="single", tube_lines=False, identify_phases=False, cross_checks=False
)

_WORSE_SIGMAS = 5.0
"""By how many standard deviations of a reduced chi squared a frame may be worse than its neighbour."""

_TRIAL_STEP = 1e-3  # relative, between lattices tried: at 80 degrees half the width of a line of 0.2 degrees


@dataclass(frozen=True)
class Neighbour:
    """What the next frame starts from.

    Attributes
    ----------
    values : mapping of str to float
        All parameters.
    absent : mapping of str to float
        Significance of the phases that were not found.
    chi2_reduced, temperature_c : float
    """

    values: Mapping[str, float]
    absent: Mapping[str, float]
    chi2_reduced: float
    temperature_c: float


@dataclass(frozen=True)
class FittedFrame:
    """A frame at its minimum, how and in how many evaluations it was reached, and what the next starts from."""

    fit: PatternFit
    warm: bool
    evaluations: int
    neighbour: Neighbour


def fit_frame(
    pattern: xr.DataArray,
    instrument: Instrument,
    phases: Sequence[Phase],
    temperature_c: float,
    neighbour: Neighbour | None = None,
) -> FittedFrame:
    """Fit a frame.

    Parameters
    ----------
    pattern : DataArray
    instrument : Instrument
    phases : sequence of Phase
        At room temperature.
    temperature_c : float
        Of the specimen; NaN where it is not known, taken for `REFERENCE_C`.
    neighbour : Neighbour, optional
        The frame before.

    Raises
    ------
    FitError
        No phase has a line in the range, or there is no minimum.
    """
    known = REFERENCE_C if math.isnan(temperature_c) else temperature_c
    hot = [at_temperature(one, known) for one in phases]
    job = prepare(pattern, instrument, phases=hot, options=OPTIONS)
    warm = neighbour is not None and _follow(job, neighbour, known)
    spent = job.fit.evaluations
    if not warm:
        job = prepare(pattern, instrument, phases=hot, options=OPTIONS)
        job.search()
        job.refine()
        spent += job.fit.evaluations
    _note_limits(job)
    fit = assemble(job, instrument, DEFAULT_COMPOSITION)
    after = Neighbour(job.fit.values(), dict(job.absent), fit.chi2_reduced, known)
    return FittedFrame(fit, warm, spent, after)


def _follow(job: Procedure, neighbour: Neighbour, temperature_c: float) -> bool:
    """Take a fit to its minimum from that of the frame before; False where another one is to be looked for."""
    own = job.fit.values()
    if set(own) != set(neighbour.values):
        return False
    values = dict(neighbour.values)
    for lines in job.lines:
        larger = _expanded(lines.phase, neighbour.temperature_c, temperature_c)
        values |= {name: larger * values[name] for name in lines.length_names}
    set_values(job.parameters, values)
    for lines in job.lines:
        lines.freeze(tuple(values[name] for name in lines.length_names))
    job.absent = dict(neighbour.absent)
    free = job.decidable()
    # what is held is what this frame, at its own temperature, has it held at; but a lattice stays where it was found
    moved = {*free, *(name for lines in job.lines for name in lines.length_names)}
    held = [name for name, one in job.parameters.items() if name not in moved and not one.expr]
    set_values(job.parameters, {name: own[name] for name in held})
    try:
        if not job.fit.settle(free) or not _as_good(job, neighbour) or not _same_phases(job):
            return False
    except FitError:
        return False
    job.converged = True
    return True


def _expanded(phase: Phase, before_c: float, now_c: float) -> float:
    """Length of a cell over that at the temperature before."""
    rate = phase.thermal_expansion_per_k or 0.0
    return (1.0 + rate * (now_c - REFERENCE_C)) / (1.0 + rate * (before_c - REFERENCE_C))


def _as_good(job: Procedure, neighbour: Neighbour) -> bool:
    """Whether the misfit is that of the frame before, within what chance does to it."""
    points = int(job.fit.used.sum())
    limit = neighbour.chi2_reduced * (1.0 + _WORSE_SIGMAS * math.sqrt(2.0 / points))
    return job.fit.mean_square() <= limit


def _same_phases(job: Procedure) -> bool:
    """Whether the phases of the frame before are still there, and no other."""
    fit = job.fit
    solution = fit.solution()[0]
    for lines in job.present():
        if job.significance(lines, solution) < (MAIN_PRESENT if lines is job.main else PRESENT):
            return False
    counts = fit.counts()
    misfit = MISFIT * (counts - job.model.background(fit.values()))
    residual, variance = fit.observed - counts, fit.variance + misfit**2
    for lines in _missing(job):
        scale, u = _largest_at_any_lattice(job, lines, residual, variance)
        if scale > (MAIN_PRESENT if lines is job.main else PRESENT) * u:
            return False
    return True


def _missing(job: Procedure) -> list[PhaseLines]:
    """Lines of the phases that were not found."""
    return [one for one in job.lines if one.phase.name in job.absent and not isinstance(one, FreeLines)]


def _note_limits(job: Procedure) -> None:
    """Note what the residual says of missing phases at the lattice of the catalogue, alike in all frames."""
    residual = job.fit.observed - job.fit.counts()
    for lines in _missing(job):
        scale, u = _scale(job, lines, lines.phase.lengths_nm, residual, job.fit.variance)
        job.absent[lines.phase.name] = max(scale, 0.0) / u
        job.limits[lines.phase.name] = max(scale, 0.0) + ONE_SIDED_95 * u


def _largest_at_any_lattice(
    job: Procedure, lines: PhaseLines, residual: Array, variance: Array
) -> tuple[float, float]:
    """Scale and its uncertainty of a phase in the residual, at the lattice at which it stands out most."""
    lengths = np.array(lines.phase.lengths_nm)
    low = max(np.array(lines.phase.lengths_low_nm) / lengths)
    high = min(np.array(lines.phase.lengths_high_nm) / lengths)
    trials = np.linspace(low, high, max(int(np.ceil((high - low) / _TRIAL_STEP)) + 1, 2))
    found = [
        _scale(job, lines, tuple(float(x) for x in factor * lengths), residual, variance) for factor in trials
    ]
    return max(found, key=lambda one: one[0] / one[1])


def _scale(
    job: Procedure, lines: PhaseLines, lengths: tuple[float, ...], residual: Array, variance: Array
) -> tuple[float, float]:
    """Scale that a residual asks for at a lattice, and its standard uncertainty."""
    values = job.fit.values() | dict(zip(lines.length_names, lengths, strict=True)) | {lines.scale_name: 1.0}
    lines.freeze(lengths)
    unit = job.model.part(lines, values)
    information = float(np.sum(unit**2 / variance))
    if information <= 0.0:
        return 0.0, math.inf
    return float(np.sum(unit * residual / variance)) / information, 1.0 / math.sqrt(information)
