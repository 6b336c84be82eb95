"""From the pattern of a certified powder to the instrument.

The lattice of the powder is held to its certificate; offset, displacement, widths, axial divergence and the K-alpha2
share are fitted. Offset and displacement are nearly the same thing for lines of one substance (correlation about 0.99),
and both absorb errors of the line shape: neither is a physical result. On a sample, whose lines are seen
by the same model, the offset is held and the displacement fitted, and the errors cancel.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.crystals import phase
from xrdorder.crystals.standards import Standard
from xrdorder.crystals.standards import standard as standard_named
from xrdorder.display import Displayed
from xrdorder.exceptions import FitError, InstrumentError
from xrdorder.fitting.contradictions import ALPHA2_FAR, why_alpha2
from xrdorder.fitting.initial_values import DETECTABLE_TRANSPARENCY_DEG
from xrdorder.fitting.pattern_fit import assemble
from xrdorder.fitting.procedure import Procedure, source_name
from xrdorder.fitting.result import PatternFit
from xrdorder.fitting.uncertainty_budget import response
from xrdorder.fitting.whole_pattern import require_geometry
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.initial_parameters import PACKING
from xrdorder.forward_model.phase_lines import Optics
from xrdorder.least_squares.quality import WORST_CHI2, agreement
from xrdorder.least_squares.refinement import Solution
from xrdorder.profiles import INSTRUMENT_NAMES, Instrument
from xrdorder.profiles.width_terms import lorentz_sec_from_size
from xrdorder.xrays import radiation as radiation_named

if TYPE_CHECKING:
    import lmfit

Array = NDArray[np.float64]

_OFFSET, _DISPLACEMENT = "two_theta_offset", "specimen_displacement_mm"
_OFFSET_UNCERTAIN_DEG = 0.002  # 3e-6 nm in the A15 lattice parameter
_SEEN = 10.0  # significance of the scale; a standard stands out by hundreds
# Own choice, as are all limits below: what a laboratory diffractometer in order never exceeds, and a middling one to
# start from. No result depends on them unless it is flagged as at its bound.
_AXIAL_LIMITS = (0.0, 0.15)
_INITIAL_VALUES = {
    "two_theta_offset": 0.0,
    "gauss_tan2": 0.001,
    "gauss_tan": 0.0,
    "gauss_const": 0.003,
    "lorentz_sec": 0.02,
    "lorentz_tan": 0.01,
    "axial_source_ratio": 0.02,
    "axial_detector_ratio": 0.02,
    "alpha2_ratio": 0.5,
}


@dataclass(frozen=True)
class Calibration(Displayed, view="fits"):
    """An instrument, and the fit of the standard it came from.

    Attributes
    ----------
    instrument
        What samples need.
    fit
        The fit of the standard; its displacement and transparency belong to that specimen and are not stored.
    displacement_mm, u_displacement_mm, transparency_deg
        Of the standard's specimen; the uncertainty holds counts, certificate and wavelength.
    offset_displacement_correlation
        Near one in size: the two cannot be determined separately.
    """

    instrument: Instrument
    fit: PatternFit
    displacement_mm: float
    u_displacement_mm: float
    transparency_deg: float
    offset_displacement_correlation: float


def calibrate(
    pattern: xr.DataArray,
    standard: str | Standard,
    *,
    radiation: str | None = None,
    detector_distance_mm: float,
    divergence_deg: float | None = None,
    specimen_length_mm: float | None = None,
    monochromator_two_theta_deg: float | None = None,
    temperature_c: float = 22.5,
    domain_size_nm: float | None = None,
    illuminated_length_mm: float | None = None,
    polarisation_ratio: float | None = None,
    geometry: str = "reflection",
    mu_t: float | None = None,
    mu_r: float | None = None,
    focused: bool = False,
    engine: str = "own",
) -> Calibration:
    """Fit the pattern of a certified powder.

    Parameters
    ----------
    pattern
        From `xrdorder.patterns.read_pattern`.
    standard
        Name of a certified powder, or a `Standard` with the laboratory's own value.
    radiation
        Radiation, where the pattern does not say.
    detector_distance_mm
        Goniometer radius.
    divergence_deg, specimen_length_mm, monochromator_two_theta_deg
        Fixed slit, length of the standard's specimen, monochromator angle, as far as known.
    temperature_c
        How warm the standard was.
    domain_size_nm
        Volume-weighted domain size of the standard, if its certificate gives one, then taken as exact. Left out, it is
        that of its kind, whose uncertainty goes with the instrument into the widths of all samples.

    Raises
    ------
    InstrumentError
        The radiation is not known, or the distance is not positive.
    FitError
        The standard is not in the pattern, or chi squared is beyond `xrdorder.least_squares.quality.WORST_CHI2`.
    """
    chosen = standard if isinstance(standard, Standard) else standard_named(standard)
    name = radiation or pattern.attrs.get("radiation") or ""
    if not name:
        raise InstrumentError(
            f"{source_name(pattern)}: the file does not name its radiation; give it, for example cu-ka"
        )
    if not detector_distance_mm > 0.0:
        raise InstrumentError(
            f"detector distance {detector_distance_mm} mm must be positive (goniometer radius)"
        )
    require_geometry(pattern, geometry)
    light = radiation_named(name)
    place = Geometry(
        detector_distance_mm, divergence_deg, specimen_length_mm, illuminated_length_mm, geometry, None, mu_t, mu_r,
        focused=focused,
    )  # fmt: skip
    powder = phase(chosen.phase)
    initial_values = dict(_INITIAL_VALUES)
    two_lines = light.alpha2_ratio > 0.0
    initial_values["alpha2_ratio"] = light.alpha2_ratio
    job = Procedure(
        pattern,
        Optics(light, place, monochromator_two_theta_deg, polarisation_ratio=polarisation_ratio),
        [powder],
        powder.name,
        initial_values,
        engine,
    )
    lengths = chosen.lengths_at(temperature_c)
    main, parameters = job.main, job.parameters
    for parameter, length in zip(main.length_names, lengths, strict=True):
        parameters[parameter].set(value=length, min=-np.inf, max=np.inf)
    main.freeze(lengths)
    sec, tan, gauss = main.width_names
    size = lorentz_sec_from_size(domain_size_nm or chosen.domain_size_nm, light.wavelength_nm)
    factor = 1.0 if domain_size_nm else chosen.domain_size_factor
    u_size = 0.5 * size * (factor - 1.0 / factor)  # half of what lies between a size so much larger and smaller
    for parameter, value in ((sec, size), (tan, 0.0), (gauss, 0.0)):
        parameters[parameter].value = value
    _bounds(parameters)
    job.search(lattices=False)

    expected = place.transparency_deg(main.attenuation_per_nm, PACKING)
    clear = expected > DETECTABLE_TRANSPARENCY_DEG
    parameters["transparency_deg"].set(value=expected, max=5.0 * expected)

    background = list(job.model.background_names)
    free = [*background, main.scale_name, *job.model.displacement_names]
    fit = job.fit
    fit.run(free, most_iterations=10, tolerance=1.0)
    free += ["gauss_const", "lorentz_sec", "lorentz_tan"]
    fit.run(free, most_iterations=15, tolerance=1.0, follow=True)
    free += ["two_theta_offset", "axial_source_ratio", *main.b_iso_names, "gauss_tan2", "gauss_tan"]
    free += ["alpha2_ratio"] if two_lines else []
    free += ["transparency_deg"] if clear else []
    fit.run(free, tolerance=0.1, follow=True)
    job.converged = fit.settle(free)
    return _calibration(job, chosen, lengths, temperature_c, name, u_size)


def _bounds(parameters: "lmfit.Parameters") -> None:
    """Bounds and ties of the instrument parameters while they are fitted."""
    parameters["two_theta_offset"].set(min=-2.0, max=2.0)
    parameters["gauss_tan"].set(min=-5.0, max=5.0)
    for name in ("gauss_tan2", "gauss_const", "lorentz_sec", "lorentz_tan"):
        parameters[name].set(min=0.0, max=5.0)
    low, high = _AXIAL_LIMITS
    parameters["axial_source_ratio"].set(min=low, max=high)
    # the sum of the two heights decides nearly alone; one pattern cannot tell their ratio
    parameters["axial_detector_ratio"].set(expr="axial_source_ratio")
    parameters["alpha2_ratio"].set(min=0.2, max=0.8)


def _require_fit(job: Procedure, standard: Standard, solution: Solution) -> None:
    """Refuse a fit that says nothing about the instrument."""
    fit, source = job.fit, source_name(job.pattern)
    quality = agreement(fit.observed[fit.used], fit.counts()[fit.used], fit.variance[fit.used], len(solution.free))
    if quality.chi2_reduced > WORST_CHI2:
        raise FitError(
            f"{source}: {standard.name} does not explain this pattern (reduced chi squared {quality.chi2_reduced:.0f}, "
            f"the limit is {WORST_CHI2:.0f}; R_wp {100.0 * quality.r_wp:.0f} %), no instrument was made; check file, "
            "standard, radiation, slit and geometry, and that it holds one scan of the pure standard"
        )


def _require_the_tube(job: Procedure, standard: Standard) -> None:
    """Refuse a scan with another K-alpha2 than its radiation has: widths and offset would be those of another beam."""
    fitted, tube = job.fit.values()["alpha2_ratio"], job.optics.radiation.alpha2_ratio
    if tube > 0.0 and abs(fitted - tube) > ALPHA2_FAR:
        raise FitError(
            f"{source_name(job.pattern)}: K-alpha2 of {standard.name} is {fitted:.2f} of K-alpha1, that of the tube "
            f"{tube:.2f}: {why_alpha2(fitted, tube)}"
        )


class _InstrumentErrors(NamedTuple):
    """Errors of the free parameters of a calibration: by counting, and by one standard uncertainty of other sources."""

    covariance: Array
    by_certificate: Array
    by_wavelength: Array
    by_domains: Array

    @property
    def total(self) -> Array:
        """Standard uncertainties from all of them."""
        squared = self.by_certificate**2 + self.by_wavelength**2 + self.by_domains**2
        return np.asarray(np.sqrt(np.diag(self.covariance) + squared))


def _calibration(
    job: Procedure,
    standard: Standard,
    lengths: tuple[float, ...],
    temperature_c: float,
    radiation_name: str,
    u_size_deg: float,
) -> Calibration:
    """Draw the instrument out of the finished fit."""
    fit, main = job.fit, job.main
    solution, by_held = fit.solution((*main.length_names, "wavelength_shift", main.width_names[0]))
    if main.scale_name not in solution.free or job.significance(main, solution) < _SEEN:
        raise FitError(
            f"{source_name(job.pattern)}: the lines of {standard.name} are not in this pattern; "
            "check the file, the standard and the radiation"
        )
    _require_fit(job, standard, solution)
    _require_the_tube(job, standard)
    shift = response(solution, by_held)
    errors = _InstrumentErrors(
        solution.covariance * job.enlargement() ** 2,
        shift[:, :-2] @ np.array(standard.u_lengths_nm),
        shift[:, -2] * job.optics.radiation.u_wavelength_relative,
        shift[:, -1] * u_size_deg,
    )
    correlation = 0.0
    if {_OFFSET, _DISPLACEMENT} <= set(solution.free):
        i, j = (solution.free.index(name) for name in (_OFFSET, _DISPLACEMENT))
        covariance = errors.covariance
        correlation = float(covariance[i, j] / np.sqrt(covariance[i, i] * covariance[j, j]))
    counting = dict(zip(solution.free, np.sqrt(np.diag(errors.covariance)), strict=True))
    u = dict(zip(solution.free, errors.total, strict=True))
    remarks = [standard.advice] if standard.advice else []
    if counting.get(_OFFSET, np.inf) > _OFFSET_UNCERTAIN_DEG:
        remarks.append(
            f"offset and displacement of the standard cannot be told apart (correlation {correlation:.3f}); the offset "
            f"is uncertain by {u.get(_OFFSET, float('nan')):.4f} degrees, which all samples share"
        )
    if job.smoothed_over() > 1.0:
        remarks.append("the scan of the standard was smoothed or resampled: widths of samples come out too small")
    instrument = _instrument(job, solution, errors, radiation_name)
    instrument = replace(
        instrument,
        standard=standard.name,
        standard_lattice_nm=lengths,
        temperature_c=temperature_c,
        remarks=tuple(remarks),
    )
    values = fit.values()
    return Calibration(
        instrument,
        assemble(job, instrument, None),
        values[_DISPLACEMENT],
        float(u.get(_DISPLACEMENT, float("nan"))),
        values["transparency_deg"],
        correlation,
    )


def _instrument(job: Procedure, solution: Solution, errors: _InstrumentErrors, radiation_name: str) -> Instrument:
    """Instrument parameters with their errors; what was held has none."""
    n = len(INSTRUMENT_NAMES)
    matrix, certificate, wavelength, domains = np.zeros((n, n)), np.zeros(n), np.zeros(n), np.zeros(n)
    columns = {INSTRUMENT_NAMES.index(name): k for k, name in enumerate(solution.free) if name in INSTRUMENT_NAMES}
    source = INSTRUMENT_NAMES.index("axial_source_ratio")
    if source in columns:  # the detector's is tied to it
        columns[INSTRUMENT_NAMES.index("axial_detector_ratio")] = columns[source]
    rows, picks = list(columns), list(columns.values())
    matrix[np.ix_(rows, rows)] = errors.covariance[np.ix_(picks, picks)]
    certificate[rows], wavelength[rows] = errors.by_certificate[picks], errors.by_wavelength[picks]
    domains[rows] = errors.by_domains[picks]
    values, optics, geometry = job.fit.values(), job.optics, job.optics.geometry
    return Instrument(
        radiation=radiation_name,
        detector_distance_mm=geometry.detector_distance_mm,
        values={name: values[name] for name in INSTRUMENT_NAMES},
        covariance=matrix,
        certificate_shift=certificate,
        wavelength_shift=wavelength,
        domains_shift=domains,
        monochromator_two_theta_deg=optics.monochromator_two_theta_deg,
        divergence_deg=geometry.divergence_deg,
        specimen_length_mm=geometry.specimen_length_mm,
        illuminated_length_mm=geometry.illuminated_length_mm,
        polarisation_ratio=optics.polarisation_ratio,
        geometry=geometry.kind,
        focused=geometry.focused,
    )
