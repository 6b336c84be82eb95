"""From a description to the counts that the forward model of the fits expects, and a fit that rests on the truth."""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping

import lmfit
import numpy as np
import xarray as xr

from xrdorder.crystals.a15 import contrast_shift
from xrdorder.exceptions import ValidityError
from xrdorder.fitting import FitOptions
from xrdorder.fitting.effects import free_displacement_parameters
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.whole_pattern import prepare
from xrdorder.forward_model.amounts import mass_per_scale
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.forward_model.roles import Kind, role_of
from xrdorder.least_squares.refinement import Refinement
from xrdorder.material.lattice import REFERENCE_C, factor_of
from xrdorder.material.order import S_OF_110_PER_NM
from xrdorder.material.tin_scale import PUBLISHED_SCALE
from xrdorder.profiles import Instrument
from xrdorder.profiles.width_terms import lorentz_sec_from_size
from xrdorder.simulation.specimen_file import A15, Described
from xrdorder.uncertainty import Array
from xrdorder.xrays import radiation

#: Full width in 2 theta (rad) per tan(theta) of lattice parameters with a relative standard deviation of one: the angle
#: moves by 2 tan(theta) per relative change, and the full width of a Gaussian is 2 sqrt(2 ln 2) standard deviations.
WIDTH_PER_SPREAD = 4.0 * math.sqrt(2.0 * math.log(2.0))
OPTIONS = FitOptions(cross_checks=False, identify_phases=False)
_OTHERS_NM = 60.0  # domain size of the phases beside the A15; usual for cold-worked metals (judged)


def blank(two_theta: Array, seconds: float, instrument: Instrument, temperature_c: float, mount: str) -> xr.DataArray:
    """Give a pattern without a count, as `xrdorder.patterns.read_pattern` would.

    Parameters
    ----------
    two_theta
        Degrees, shape (n,).
    seconds
        At each point.
    instrument
    temperature_c
    mount
    """
    dims = ("two_theta",)
    return xr.DataArray(
        np.zeros(len(two_theta)),
        dims=dims,
        name="counts",
        coords={
            "two_theta": np.asarray(two_theta, dtype=np.float64),
            "counting_time": (dims, np.full(len(two_theta), float(seconds))),
            "variance": (dims, np.ones(len(two_theta))),
        },
        attrs={
            "radiation": instrument.radiation,
            "wavelength_nm": radiation(instrument.radiation).wavelength_nm,
            "geometry": instrument.geometry,
            "mount": mount,
            "temperature_c": temperature_c,
            "intensity_kind": "counts",
            "flags": "[]",
        },
    )


def expected_pattern(specimen: Described, instrument: Instrument) -> tuple[xr.DataArray, Procedure]:
    """Counts that are expected of a specimen, and a fit that rests on the truth.

    Parameters
    ----------
    specimen
    instrument
        From a calibration.

    Returns
    -------
    pattern : xarray.DataArray
        Expected counts, without noise.
    job : Procedure
        Parameters at the truth, weights those of the expected counts, free what a fit of such a pattern would free.

    Raises
    ------
    ValidityError
        No line of the A15 lies in the range.
    """
    pattern = blank(
        specimen.two_theta(), specimen.seconds_per_step, instrument, specimen.temperature_c, specimen.mount
    )
    job = prepare(
        pattern,
        instrument,
        phases=specimen.phases,
        composition=specimen.composition,
        specimen_length_mm=specimen.specimen_length_mm,
        temperature_c=specimen.temperature_c,
        options=OPTIONS,
    )
    if job.main.phase.name != A15:
        raise ValidityError(
            f"no line of the A15 between {specimen.from_deg:g} and {specimen.to_deg:g} degrees with "
            f"{instrument.radiation}; choose another range"
        )
    set_values(job.parameters, _truth(job, specimen))
    job.fit.freeze()
    _set_amounts(job, specimen)
    job.taken += [name for name in _effects(job, specimen) if name not in job.taken]
    return settled_on(job, pattern)


def settled_on(job: Procedure, pattern: xr.DataArray) -> tuple[xr.DataArray, Procedure]:
    """Let a fit rest where it stands on the counts that it expects: model weights, and free what it would free.

    The fit that is handed in is left as it was; of the pattern all is kept but its counts. No residual is left but
    rounding.
    """
    rested = copy.copy(job)
    rested.parameters = copy.deepcopy(job.parameters)
    counts = job.model.counts(_values(job.parameters))
    pattern = pattern.copy(data=counts).assign_coords(variance=("two_theta", np.maximum(counts, 1.0)))
    rested.pattern = pattern
    rested.fit = Refinement(pattern, job.model, rested.parameters, job.fit.engine)
    rested.fit.reweight()
    # displacement parameters of minor phases are free where such a scan knows them better than the catalogue
    rested.taken = [name for name in job.taken if role_of(job.parameters, name).kind != Kind.B_ISO]
    _free(rested)
    if free_displacement_parameters(rested):
        _free(rested)
    return pattern, rested


def _free(job: Procedure) -> None:
    """Free what a fit of the pattern would free."""
    free = set(job.decidable())
    for name, parameter in job.parameters.items():
        if not parameter.expr:
            parameter.vary = name in free


def _values(parameters: lmfit.Parameters) -> dict[str, float]:
    return {name: float(parameter.value) for name, parameter in parameters.items()}


def _truth(job: Procedure, specimen: Described) -> dict[str, float]:
    """Parameters of lattice, order, widths, texture and place."""
    main, light = job.main, job.optics.radiation
    a = specimen.a_nm / factor_of(specimen.temperature_c - REFERENCE_C)
    shift = contrast_shift(specimen.dopants, None, light.energy_ev, S_OF_110_PER_NM) if specimen.dopants else 0.0
    spread = PUBLISHED_SCALE.slope_nm * specimen.tin_spread_at_percent / 100.0 / a
    relative = math.hypot(specimen.microstrain, spread)
    sec, _, gauss = main.width_names
    values = {
        main.length_names[0]: a,
        sec: lorentz_sec_from_size(specimen.domain_size_nm, light.wavelength_nm),
        gauss: math.degrees(WIDTH_PER_SPREAD * relative) ** 2,
        job.model.displacement_names[0]: specimen.displacement_mm,
    }
    if main.contrast_name:
        values[main.contrast_name] = specimen.site_order + shift
    if main.tail_name:
        values[main.tail_name] = PUBLISHED_SCALE.slope_nm * specimen.tin_tail_at_percent / 100.0
    for lines in job.lines[1:]:
        values[lines.width_names[0]] = lorentz_sec_from_size(_OTHERS_NM, light.wavelength_nm)
    return values | _texture(job.lines, specimen.texture)


def _texture(lines: list[PhaseLines], texture: Mapping[str, float]) -> dict[str, float]:
    return {
        line.texture_names[0]: texture[line.phase.name]
        for line in lines
        if line.texture_names and texture.get(line.phase.name)
    }


def _effects(job: Procedure, specimen: Described) -> list[str]:
    """Parameters of effects that a fit of such a specimen would take into its model."""
    tail = [job.main.tail_name] if specimen.tin_tail_at_percent and job.main.tail_name else []
    return [*tail, *_texture(job.lines, specimen.texture)]


def _set_amounts(job: Procedure, specimen: Described) -> None:
    """Scales and background, in counts for each point."""
    parameters = job.parameters
    shares = {A15: 1.0 - sum(specimen.weight_fractions.values()), **specimen.weight_fractions}
    values = _values(parameters)
    scales = {}
    for lines in job.lines:
        # niobium and tantalum that were put together have the weight of both
        share = sum(shares.get(name, 0.0) for name in {lines.phase.name, *lines.phase.name.split("-")} & set(shares))
        scales[lines.scale_name] = share / mass_per_scale(lines, values)
    set_values(parameters, scales)
    net = job.model.counts(_values(parameters))  # no background yet
    if not net.max() > 0.0:
        raise ValidityError("the specimen has no line in the range of the scan; choose another range")
    factor = specimen.strongest_line_per_s * specimen.seconds_per_step / float(net.max())
    set_values(parameters, {name: factor * scale for name, scale in scales.items()})
    background = specimen.background(job.two_theta) * specimen.seconds_per_step
    names = job.model.background_names
    domain = [job.two_theta[0], job.two_theta[-1]]
    course = np.polynomial.Chebyshev.fit(job.two_theta, background, len(names) - 1, domain=domain)
    set_values(parameters, dict(zip(names, map(float, course.coef), strict=True)))
