"""What the reader of a fit must know: everything that makes a number less certain than it looks."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from xrdorder.crystals.harmonics import TEXTURE_ORDERS
from xrdorder.exceptions import Flag
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.unindexed import unindexed_flags
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.forward_model.roles import Kind, role_of
from xrdorder.least_squares.refinement import Solution
from xrdorder.profiles import Instrument
from xrdorder.quantities.formatting import with_sign
from xrdorder.xrays.contamination import contamination_lines
from xrdorder.xrays.edges import EDGE_REACH_EV, nearest_edge

Array = NDArray[np.float64]

_LENGTH_FACTOR = 0.5  # lengths and slits are not mistaken by more than a factor of two; own choice
_CLIPPED_COUNTS = 400.0  # from there on neighbours of counts agree by chance less than once in seventy times
_CLIPPED_POINTS = 3  # in a row at the very maximum; own choice
_CLIPPED_RATES = 6  # where rates are rounded neighbours agree more often; own choice
_BRONZE = "cu-sn"
#: Lattice parameter of copper, nm, and its rise with each at.% of tin and of zinc: handbook values, from memory; that
#: of tin as in the catalogue, that of zinc to 0.00001.
_COPPER_NM, _BY_TIN_NM, _BY_ZINC_NM = 0.36149, 0.00098, 0.00023
_ZINC_OF_BRASS = (28.0, 38.5)  # at.%, alpha phase of what holders and tools are made of; common practice, no source
_POOR_CHI2 = 4.0  # a model this far off is wrong somewhere; common practice, no source


def fit_flags(
    job: Procedure, instrument: Instrument, solution: Solution, chi2_reduced: float
) -> list[Flag]:
    """Flags of a finished fit.

    Parameters
    ----------
    job
        At its minimum.
    instrument
        Its remarks go with every use.
    solution
        Parameters that decide nothing are named in it.
    chi2_reduced
        Of the fit.
    """
    fit, present = job.fit, job.present()
    flags = _internal_standard(job, solution)
    flags += [Flag("calibration", remark) for remark in instrument.remarks]
    values = fit.values()
    if present:
        flags += _illumination(job.optics.geometry, present[0].summary(values).position.min())
    flags += _clipped(fit.observed, job.pattern.attrs.get("intensity_kind", "counts") == "counts")
    left_out = int((~fit.used).sum())
    if left_out:
        text = f"{left_out} single points beyond six standard deviations were left out"
        flags.append(Flag("points-left-out", text))
    for lines in present:
        flags += [*_effects_of(lines, values, job.taken), *_brass(lines, values)]
    for line in contamination_lines(job.optics.radiation):
        if line.share_name in job.taken:
            share = 100 * values[line.share_name]
            text = f"{line.name} of the tube is {share:.2f} % of the main lines; it is in the model"
            flags.append(Flag("tube-lines", text))
    for name in solution.idle:
        if role_of(job.parameters, name).kind is not Kind.WIDTH:  # as narrow as can be is an answer, all else is not
            text = f"{name} = {values[name]:.5g} rests at its bound or moves nothing"
            flags.append(Flag("at-bound", text))
    flags += _edge(job)
    if chi2_reduced > _POOR_CHI2:
        text = f"chi squared is {chi2_reduced:.1f}: the model misses something; uncertainties are enlarged for it"
        flags.append(Flag("poor-fit", text))
    return flags + unindexed_flags(job, chi2_reduced)


def _internal_standard(job: Procedure, solution: Solution) -> list[Flag]:
    """An internal standard that does not set the zero of the angles."""
    if job.reference is None or "two_theta_offset" in solution.free:
        return []
    text = (
        f"the internal standard {job.reference.phase.name} is too weak to set the angles; the offset of "
        "the calibration was taken"
    )
    return [Flag("internal-standard-weak", text)]


def _clipped(observed: Array, counts: bool) -> list[Flag]:
    """Points in a row that all are the highest of the pattern: a detector at its end."""
    highest, least = float(observed.max()), _CLIPPED_POINTS if counts else _CLIPPED_RATES
    top = observed == highest
    if highest < _CLIPPED_COUNTS or np.convolve(top, np.ones(least), "valid").max() < least:
        return []
    text = (
        f"{np.count_nonzero(top)} points stand at {highest:.0f} counts, the most of the pattern: "
        "the detector was saturated there; amounts, order and widths are wrong: measure again with a weaker beam"
    )
    return [Flag("clipped-lines", text)]


def _illumination(geometry: Geometry, first_two_theta: float) -> list[Flag]:
    """What is not known about the share of the beam on the specimen; the first line hangs on it most."""
    if geometry.kind != "reflection":
        return []
    slit = geometry.divergence_deg if geometry.illuminated_length_mm is None else geometry.illuminated_length_mm
    if slit is not None and geometry.specimen_length_mm is not None:
        if geometry.illuminated_length_mm is not None:
            return []
        half = replace(geometry, specimen_length_mm=_LENGTH_FACTOR * geometry.specimen_length_mm)
        if half.lit_fraction(np.radians([0.5 * first_two_theta]))[0] >= 1.0:
            return []
        text = (
            f"at {first_two_theta:.1f} degrees the beam is longer than half of the specimen: order stands and falls "
            "with the slit and the length that were given; a narrower slit makes it independent of both"
        )
        return [Flag("order-hangs-on-length", text)]
    given = {"slit": slit, "specimen length": geometry.specimen_length_mm}
    what = "not given: if the beam is longer than the specimen at low angle, order reads too low"
    return [Flag(f"{name.split()[-1]}-not-given", f"{name} {what}") for name, value in given.items() if value is None]


def _effects_of(lines: PhaseLines, values: Mapping[str, float], taken: Sequence[str]) -> list[Flag]:
    """What was taken into the model of a phase because the pattern asked for it."""
    name = lines.phase.name
    flags = []
    orders = zip(TEXTURE_ORDERS, lines.texture_names, strict=False)  # none where the phase is not cubic
    terms = [f"{order}: {with_sign(values[key], '.3f')}" for order, key in orders if values[key] != 0.0]
    if terms:
        text = (
            f"{name} is textured (cubic harmonics of order {', '.join(terms)}); its intensities are corrected for it"
        )
        flags.append(Flag("texture", text))
    if lines.march_name and lines.march_name in taken:
        text = f"{name} is textured (March's function, r = {values[lines.march_name]:.3f}), as was asked for"
        flags.append(Flag("texture", text))
    if lines.anisotropy_name and lines.anisotropy_name in taken:
        k = values[lines.anisotropy_name]
        ratio = np.sqrt(max(1.0 - k, 0.01) / max(1.0 + 2.0 * k / 3.0, 0.01))
        text = f"microstrain of {name} depends on direction: along (100) it is {ratio:.2f} times that along (111)"
        flags.append(Flag("strain-anisotropy", text))
    if lines.size_gauss_name and lines.size_gauss_name in taken:
        text = (
            f"lines of {name} are rounder than a broad distribution of domain sizes makes them: domains of much "
            "the same size; their mean allows for it"
        )
        flags.append(Flag("domains-alike", text))
    return flags


def _brass(lines: PhaseLines, values: Mapping[str, float]) -> list[Flag]:
    """Bronze whose lattice is that of common brass as well: both are copper with larger atoms in it."""
    if lines.phase.name != _BRONZE:
        return []
    a = values[lines.length_names[0]]
    zinc, tin = (a - _COPPER_NM) / _BY_ZINC_NM, (a - _COPPER_NM) / _BY_TIN_NM
    if not _ZINC_OF_BRASS[0] <= zinc <= _ZINC_OF_BRASS[1]:
        return []
    text = (
        f"{lines.phase.name} has a = {a:.4f} nm: bronze with {tin:.1f} at.% tin, or as well brass with {zinc:.0f} at.% "
        "zinc, whose lines are the same: are holder, clamp or tools of brass?"
    )
    return [Flag("bronze-or-brass", text)]


def _edge(job: Procedure) -> list[Flag]:
    """Warn near an absorption edge, where no table of f' and f'' holds."""
    elements = {element for lines in job.present() if lines.phase.sites for element in lines.phase.atoms_per_cell()}
    unmeasured = sorted(elements - set(job.options.measured_dispersion))
    if not unmeasured:
        return []
    element, edge, distance_ev = nearest_edge(unmeasured, job.optics.radiation.energy_ev)
    if abs(distance_ev) > EDGE_REACH_EV:
        return []
    text = (
        f"the radiation is {abs(distance_ev):.0f} eV from the {edge} edge of {element}, where tables of f' and f'' "
        "are wrong: give measured values, or use another radiation"
    )
    return [Flag("near-absorption-edge", text)]
