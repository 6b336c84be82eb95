"""Lines that no phase of the fit explains: found, named, and explained by more phases where the catalogue has them."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from xrdorder.crystals import phase
from xrdorder.exceptions import Flag
from xrdorder.fitting.procedure import Procedure
from xrdorder.identification.line_pattern import LinePattern, PresentLines
from xrdorder.identification.peak_search import UnindexedLine, search_peaks
from xrdorder.identification.phase_search import likely_phases, name_lines
from xrdorder.least_squares.refinement import Refinement
from xrdorder.profiles.axial import largest_shift
from xrdorder.profiles.voigt import voigt

Array = NDArray[np.float64]

# Own choice, by a measured silicon whose feet differ from the model by a hundredth of the line.
_FOOT_WIDTHS = 6.0
_FOOT_SHARE = 0.002
_REACH_WIDTHS = 2.0  # how far from a line the residual is misfit of that line rather than another one
_MOST_ADDED = 3


def add_indexing_phases(job: Procedure) -> bool:
    """Take in phases of the catalogue that explain unindexed lines."""
    if not job.options.identify_phases or job.main not in job.present():
        return False
    known = [lines.phase.name for lines in job.lines] + [p.name for p in job.pending]
    names = likely_phases(line_pattern(job, job.fit.mean_square()), known)
    # a phase whose order is a question is the main one or none: it is for the user to ask
    candidates = [candidate for candidate in map(phase, names) if candidate.order is None][:_MOST_ADDED]
    for candidate in candidates:
        if job.add_phase(candidate) is not None:
            text = f"{candidate.name} was not asked for, but explains lines of the pattern; it is in the fit"
            job.flags.append(Flag("phase-added", text))
    return bool(candidates)


def add_pending_phases(job: Procedure) -> bool:
    """Look for the requested phases of unknown atoms, now that the others are explained."""
    pending, job.pending = job.pending, []
    for candidate in pending:
        if job.add_phase(candidate) is None:
            job.flags.append(Flag("phase-out-of-range", f"{candidate.name} has no line in the measured range"))
    return bool(pending)


def line_pattern(job: Procedure, chi2_reduced: float) -> LinePattern:
    """Unindexed lines of a pattern beside those of its phases."""
    return LinePattern(
        unindexed_lines(job, chi2_reduced), _present(job), job.optics.radiation, job.range, job.line_width()
    )


def _present(job: Procedure) -> list[PresentLines]:
    """Lines of the phases in the fit, as they stand in the pattern."""
    values = job.fit.values()
    present = []
    for lines in job.present():
        drawn = lines.summary(values)
        height = np.asarray(drawn.area * voigt(np.zeros(1), drawn.gauss_squared, drawn.lorentz))
        present.append(
            PresentLines(lines.phase.name, lines.hkl, lines.spacing_nm(values), drawn.position, height)
        )
    return present


def _misfit(fit: Refinement, width_deg: float) -> Array:
    """Counts by which the feet of strong lines may be wrong because no line shape is perfect, shape (n,)."""
    values = fit.values()
    net = fit.counts() - fit.model.background(values)
    points = 2 * int(np.ceil(_FOOT_WIDTHS * width_deg / fit.step)) + 1
    return np.asarray(_FOOT_SHARE * maximum_filter1d(net, points, mode="nearest"))


def unindexed_lines(job: Procedure, chi2_reduced: float) -> list[UnindexedLine]:
    """Lines that belong to none of the phases in the fit."""
    fit, present, width_deg = job.fit, job.present(), job.line_width()
    if not present:
        return []
    values = fit.values()
    drawn = [lines.lines(values, {})[0].position for lines in job.model.phases if lines.phase.name not in job.absent]
    known = np.concatenate(drawn)
    axial = largest_shift(known, values["axial_source_ratio"], values["axial_detector_ratio"])
    return search_peaks(
        fit.two_theta,
        np.where(fit.used, fit.observed - fit.counts(), 0.0),
        fit.variance * max(1.0, chi2_reduced) + _misfit(fit, width_deg) ** 2,
        width_deg,
        job.optics.radiation.wavelength_nm,
        known,
        _REACH_WIDTHS * width_deg + np.abs(axial),
    )


def unindexed_flags(job: Procedure, chi2_reduced: float) -> list[Flag]:
    """Each unindexed line as a flag, with the nearest candidate."""
    pattern = line_pattern(job, chi2_reduced)
    return [
        Flag(
            "unexplained-line",
            f"a line at {line.two_theta:.2f} degrees (d = {line.d_nm:.4f} nm, {line.height_counts:.0f} counts high, "
            f"{line.significance:.0f} sigma) belongs to no phase that was asked for; {name}",
        )
        for line, name in zip(pattern.unindexed, name_lines(pattern), strict=True)
    ]
