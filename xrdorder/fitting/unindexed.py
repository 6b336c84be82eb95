"""Lines that nobody asked for: found, named, and explained by more phases where the catalogue has them."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from xrdorder.crystals import phase
from xrdorder.exceptions import Flag
from xrdorder.fitting.kbeta_tungsten import PresentLines
from xrdorder.fitting.phase_search import likely_phases, name_lines
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.quality import UnexplainedLine, unexplained_lines
from xrdorder.fitting.refinement import Refinement
from xrdorder.patterns.steps import angle_step
from xrdorder.profiles.axial import largest_shift
from xrdorder.profiles.voigt import voigt

Array = NDArray[np.float64]

# Own choice, by a measured silicon whose feet differ from the model by a hundredth of the line.
_FOOT_WIDTHS = 6.0
_FOOT_SHARE = 0.002
_REACH_WIDTHS = 2.0  # how far from a line the residual still speaks of that line, and not of a foreign one
_MOST_ADDED = 3


def take_foreign_phases(job: Procedure) -> bool:
    """Take in phases of the catalogue that explain lines nobody asked for."""
    if not job.options.seek_phases or job.main not in job.present():
        return False
    found = foreign_lines(job, job.fit.mean_square())
    asked = [lines.phase.name for lines in job.lines] + [p.name for p in job.pending]
    names = likely_phases(
        found, asked, job.optics.radiation, job.range, job.line_width(), _present(job)
    )
    # a phase whose order is a question is the main one or none: it is for the user to ask
    chosen = [one for one in map(phase, names) if one.order is None][:_MOST_ADDED]
    for one in chosen:
        lines = job.add_phase(one)
        if lines is not None:
            text = f"{one.name} was not asked for, but explains lines of the pattern; it is in the fit"
            job.flags.append(Flag("phase-added", text))
    return bool(chosen)


def take_free_phases(job: Procedure) -> bool:
    """Look for the phases of unknown atoms that were asked for, now that the others are explained."""
    waiting, job.pending = job.pending, []
    for one in waiting:
        if job.add_phase(one) is None:
            job.flags.append(Flag("phase-out-of-range", f"{one.name} has no line in the measured range"))
    return bool(waiting)


def _present(job: Procedure) -> list[PresentLines]:
    """Lines of the phases found, as they stand in the pattern."""
    values = job.fit.values()
    found = []
    for lines in job.present():
        drawn = lines.summary(values)
        height = drawn.area * voigt(np.zeros(1), drawn.gauss_squared, drawn.lorentz)
        found.append(
            PresentLines(lines.phase.name, lines.hkl, lines.spacing_nm(values), drawn.position, np.asarray(height))
        )
    return found


def _misfit(fit: Refinement, width_deg: float) -> Array:
    """Counts by which the feet of strong lines may be wrong because no line shape is perfect, shape (n,)."""
    values = fit.values()
    net = fit.counts() - fit.model.background(values)
    points = 2 * int(np.ceil(_FOOT_WIDTHS * width_deg / angle_step(fit.two_theta))) + 1
    return np.asarray(_FOOT_SHARE * maximum_filter1d(net, points, mode="nearest"))


def foreign_lines(job: Procedure, chi2_reduced: float) -> list[UnexplainedLine]:
    """Lines that belong to none of the phases found."""
    fit, present, width_deg = job.fit, job.present(), job.line_width()
    if not present:
        return []
    values = fit.values()
    drawn = [lines.lines(values, {})[0].position for lines in job.model.phases if lines.phase.name not in job.absent]
    known = np.concatenate(drawn)
    axial = largest_shift(known, values["axial_source_ratio"], values["axial_detector_ratio"])
    return unexplained_lines(
        fit.two_theta,
        np.where(fit.used, fit.observed - fit.counts(), 0.0),
        fit.variance * max(1.0, chi2_reduced) + _misfit(fit, width_deg) ** 2,
        width_deg,
        job.optics.radiation.wavelength_nm,
        known,
        _REACH_WIDTHS * width_deg + np.abs(axial),
    )


def foreign_flags(job: Procedure, chi2_reduced: float) -> list[Flag]:
    """Each line nobody asked for as a flag, with the nearest candidate."""
    found = foreign_lines(job, chi2_reduced)
    names = name_lines(found, _present(job), job.optics.radiation, job.range, job.line_width())
    return [
        Flag(
            "unexplained-line",
            f"a line at {line.two_theta:.2f} degrees (d = {line.d_nm:.4f} nm, {line.height_counts:.0f} counts high, "
            f"{line.significance:.0f} sigma) belongs to no phase that was asked for; {name}",
        )
        for line, name in zip(found, names, strict=True)
    ]
