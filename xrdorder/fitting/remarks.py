"""What the reader of a fit must know: everything that makes a number less certain than it looks."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from xrdorder.exceptions import Flag
from xrdorder.fitting.phase_lines import PhaseLines
from xrdorder.fitting.quality import unexplained_lines
from xrdorder.fitting.refinement import Refinement, Solution
from xrdorder.profiles import Instrument
from xrdorder.profiles.axial import largest_shift
from xrdorder.profiles.widths import GAUSS_TERMS, LORENTZ_TERMS

Array = NDArray[np.float64]

_POOR_CHI2 = 4.0  # a model this far off is wrong somewhere; common practice, no source
# Own choice, by a measured silicon whose feet differ from the model by a hundredth of the line.
_FOOT_WIDTHS = 6.0
_FOOT_SHARE = 0.002
_REACH_WIDTHS = 2.0  # how far from a line the residual still speaks of that line, and not of a foreign one


def remarks(
    fit: Refinement,
    present: Sequence[PhaseLines],
    instrument: Instrument,
    solution: Solution,
    chi2_reduced: float,
    width_deg: float,
) -> list[Flag]:
    """Flags of a finished fit.

    Parameters
    ----------
    fit
        At its minimum.
    present
        Phases that were found.
    instrument
        Its remarks go with every use.
    solution
        Parameters that decide nothing are named in it.
    chi2_reduced
        Of the fit.
    width_deg
        Full width of a typical line.
    """
    flags = [Flag("calibration", remark) for remark in instrument.remarks]
    values = fit.values()
    for lines in present[:1]:
        geometry = lines.optics.geometry
        if geometry.divergence_deg is None or geometry.specimen_length_mm is None:
            missing = "slit" if geometry.divergence_deg is None else "specimen length"
            text = f"{missing} not given: if the beam is longer than the specimen at low angle, order reads too low"
            flags.append(Flag("illuminated-length-unknown", text))
    left_out = int((~fit.used).sum())
    if left_out:
        text = f"{left_out} single points beyond six standard deviations were left out"
        flags.append(Flag("points-left-out", text))
    for lines in present:
        said = [f"{name[-1]}: {values[name]:+.3f}" for name in lines.texture_names if values[name] != 0.0]
        if said:
            text = (
                f"{lines.phase.name} is textured (cubic harmonics of order {', '.join(said)}); its intensities are "
                "corrected for it"
            )
            flags.append(Flag("texture", text))
    for name in solution.idle:
        if not name.endswith((*GAUSS_TERMS, *LORENTZ_TERMS)):  # a width of zero is an answer, all else is not
            text = f"{name} = {values[name]:.5g} rests at its bound or moves nothing"
            flags.append(Flag("at-bound", text))
    if chi2_reduced > _POOR_CHI2:
        text = f"chi squared is {chi2_reduced:.1f}: the model misses something; uncertainties are enlarged for it"
        flags.append(Flag("poor-fit", text))
    return flags + _foreign_lines(fit, present, chi2_reduced, width_deg)


def _misfit(fit: Refinement, width_deg: float) -> Array:
    """Counts by which the feet of strong lines may be wrong because no line shape is perfect, shape (n,)."""
    values = fit.values()
    net = fit.model.counts(values) - fit.model.background(values)
    points = 2 * int(np.ceil(_FOOT_WIDTHS * width_deg / float(np.median(np.diff(fit.two_theta))))) + 1
    return np.asarray(_FOOT_SHARE * maximum_filter1d(net, points, mode="nearest"))


def _foreign_lines(
    fit: Refinement, present: Sequence[PhaseLines], chi2_reduced: float, width_deg: float
) -> list[Flag]:
    """Lines that belong to none of the phases found, each as a flag."""
    if not present:
        return []
    values = fit.values()
    known = np.concatenate([lines.lines(values, {})[0].position for lines in present])
    axial = largest_shift(known, values["axial_source_ratio"], values["axial_detector_ratio"])
    found = unexplained_lines(
        fit.two_theta,
        np.where(fit.used, fit.observed - fit.model.counts(values), 0.0),
        fit.variance * max(1.0, chi2_reduced) + _misfit(fit, width_deg) ** 2,
        width_deg,
        present[0].optics.radiation.wavelength_nm,
        known,
        _REACH_WIDTHS * width_deg + np.abs(axial),
    )
    return [
        Flag(
            "unexplained-line",
            f"a line at {line.two_theta:.2f} degrees (d = {line.d_nm:.4f} nm, {line.height_counts:.0f} counts high, "
            f"{line.significance:.0f} sigma) belongs to no phase that was asked for",
        )
        for line in found
    ]
