"""One frame: from its neighbour where that goes, from nothing where it does not.

Frames are fitted with one model throughout, without the effects that single fits take in where a pattern asks for them:
one that comes and goes with the noise would be a step in every quantity.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.crystals import Phase
from xrdorder.exceptions import FitError
from xrdorder.fitting.from_neighbour import fit_from_neighbour
from xrdorder.fitting.model_errors import Changes, model_errors
from xrdorder.fitting.options import FitOptions
from xrdorder.fitting.pattern_fit import phase_results
from xrdorder.fitting.procedure import MAIN_PRESENT, MISFIT, PRESENT, Procedure
from xrdorder.fitting.result import PhaseResult, Quantities
from xrdorder.fitting.uncertainty_budget import primary_quantities
from xrdorder.fitting.whole_pattern import prepare
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.refinement import Solution
from xrdorder.material.lattice import REFERENCE_C
from xrdorder.profiles import Instrument
from xrdorder.series.hot_phases import growth, heated
from xrdorder.series.missing import SAME_TEMPERATURE_K, Missing
from xrdorder.uncertainty import ONE_SIDED_95

Array = NDArray[np.float64]

OPTIONS = FitOptions(
    lattice_distribution="single", tube_lines=False, identify_phases=False, cross_checks=False
)


@dataclass
class Neighbour:
    """A frame at its minimum, which the next one starts from and thereby uses up.

    Attributes
    ----------
    job : Procedure
        At its minimum.
    held : mapping of str to float
        Where parameters rest that a frame cannot decide; but a lattice stays where it was found.
    temperature_c : float
    missing : dict of str to Missing
        Phases that were not found lately.
    changes : Changes
        What other scattering factors would make of the counts.
    """

    job: Procedure
    held: Mapping[str, float]
    temperature_c: float
    missing: dict[str, Missing] = field(default_factory=dict)
    changes: Changes = field(default_factory=Changes)


@dataclass
class FittedFrame(Quantities):
    """A frame at its minimum, how and in how many evaluations it was reached, and what the next starts from.

    Attributes
    ----------
    phases : mapping of str to PhaseResult
    chi2_reduced : float
    warm : bool
        Fitted from its neighbour.
    evaluations : int
        Of the model with its derivatives, those of an attempt that failed included.
    neighbour : Neighbour
    """

    phases: Mapping[str, PhaseResult]
    chi2_reduced: float
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
        The frame before, which is of no use afterwards.

    Raises
    ------
    FitError
        No phase has a line in the range, or there is no minimum.
    """
    known = REFERENCE_C if math.isnan(temperature_c) else temperature_c
    spent = 0
    if neighbour is not None:
        before = neighbour.job.fit.evaluations
        done = _followed(pattern, instrument, neighbour, known)
        spent = neighbour.job.fit.evaluations - before
        if done is not None:
            return _frame(done, instrument, neighbour, spent, warm=True)
    job = prepare(pattern, instrument, phases=[heated(phase, REFERENCE_C, known) for phase in phases], options=OPTIONS)
    lattices = {name for lines in job.lines for name in lines.length_names}  # these stay where they were found
    first = Neighbour(job, {n: value for n, value in job.fit.values().items() if n not in lattices}, known)
    job.search()
    job.refine()
    return _frame(_budget(first, instrument)[0], instrument, first, spent + job.fit.evaluations, warm=False)


def _budget(neighbour: Neighbour, instrument: Instrument) -> tuple[Quantities, Solution]:
    """Quantities at the minimum and their uncertainties."""
    job = neighbour.job
    a15 = job.main if job.main.contrast_name and job.main in job.present() else None
    errors = model_errors(job, instrument, a15, neighbour.changes)
    return primary_quantities(job, instrument, a15, errors, None, job.enlargement())


def _followed(
    pattern: xr.DataArray, instrument: Instrument, neighbour: Neighbour, temperature_c: float
) -> Quantities | None:
    """Take the fit of the frame before to the minimum of this one; None where another one is to be looked for."""
    start = _heat(neighbour, temperature_c)
    try:
        if not fit_from_neighbour(neighbour.job, pattern, start=start, held=neighbour.held).follows:
            return None
        quantities, solution = _budget(neighbour, instrument)
        return quantities if _same_phases(neighbour, solution) else None
    except FitError:
        return None


def _heat(neighbour: Neighbour, temperature_c: float) -> dict[str, float]:
    """Bring phases, and what is held, to the temperature of a frame; give the values from which it starts."""
    job, before = neighbour.job, neighbour.temperature_c
    start, held = job.fit.values(), dict(neighbour.held)
    if temperature_c == before:
        return start
    for lines in job.lines:
        longer, moved = growth(lines.phase, before, temperature_c)
        lines.phase = heated(lines.phase, before, temperature_c)
        start |= {name: longer * start[name] for name in lines.length_names}
        start |= {name: moved * start[name] for name in lines.b_iso_names}
        held |= {name: moved * held[name] for name in lines.b_iso_names}
        phase = lines.phase
        lengths = zip(lines.length_names, phase.lengths_low_nm, phase.lengths_high_nm, strict=True)
        displacements = ((n, *x.b_iso_bounds_nm2) for n, x in zip(lines.b_iso_names, phase.sites, strict=True))
        for name, low, high in (*lengths, *displacements):
            job.parameters[name].set(min=low, max=high)
    neighbour.held, neighbour.temperature_c = held, temperature_c
    return start


def _missing(neighbour: Neighbour) -> list[tuple[PhaseLines, Missing]]:
    """Phases that were not found, with the patterns they would have."""
    job, now = neighbour.job, neighbour.temperature_c
    absent = [line for line in job.lines if line.phase.name in job.absent and not isinstance(line, FreeLines)]
    kept = {
        name: missing_file
        for name, missing_file in neighbour.missing.items()
        if abs(missing_file.temperature_c - now) < SAME_TEMPERATURE_K
    }
    neighbour.missing = {
        lines.phase.name: kept.get(lines.phase.name) or Missing(job, lines, now) for lines in absent
    }
    return [(lines, neighbour.missing[lines.phase.name]) for lines in absent]


def _same_phases(neighbour: Neighbour, solution: Solution) -> bool:
    """Whether the phases of the frame before are still there, and no other."""
    job, fit = neighbour.job, neighbour.job.fit

    def needed(lines: PhaseLines) -> float:
        return MAIN_PRESENT if lines is job.main else PRESENT

    if any(job.significance(lines, solution) < needed(lines) for lines in job.present()):
        return False
    counts = fit.counts()
    misfit = MISFIT * (counts - job.model.background(fit.values()))
    residual, variance = fit.observed - counts, fit.variance + misfit**2
    for lines, missing in _missing(neighbour):
        scale, u = missing.anywhere(residual, variance)
        if scale > needed(lines) * u:
            return False
    return True


def _frame(
    quantities: Quantities, instrument: Instrument, neighbour: Neighbour, evaluations: int, *, warm: bool
) -> FittedFrame:
    """What is handed on of a frame; of missing phases what the residual says at the lattice of the catalogue."""
    job, fit = neighbour.job, neighbour.job.fit
    residual = fit.observed - fit.counts()
    for lines, missing in _missing(neighbour):
        scale, u = missing.at_rest(residual, fit.variance)
        job.absent[lines.phase.name] = max(scale, 0.0) / u
        job.limits[lines.phase.name] = max(scale, 0.0) + ONE_SIDED_95 * u
    freedom = max(int(fit.used.sum()) - len(quantities.free_names), 1)
    phases = phase_results(job, quantities, fit.values())
    return FittedFrame(
        **vars(quantities),
        phases=phases,
        chi2_reduced=fit.chi_squared() / freedom,
        warm=warm,
        evaluations=evaluations,
        neighbour=neighbour,
    )
