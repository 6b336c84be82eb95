"""Parameters of a model with initial values, bounds, owner and kind."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.forward_model.roles import Kind, Role, add_parameter
from xrdorder.profiles import INSTRUMENT_NAMES
from xrdorder.profiles.width_terms import GAUSS_TERMS, LORENTZ_TERMS, lorentz_sec_from_size
from xrdorder.xrays import Radiation

if TYPE_CHECKING:
    import lmfit

INITIAL_SIZE_NM = 100.0  # domain size to begin with
PACKING = 0.6  # solid share of a powder or a mat of filaments; common practice, no source
_WIDEST_DEG = 3.0  # domains of 2 nm; what is broader is background
_ANISOTROPY_LIMITS = (-1.4, 0.95)  # between them strain is positive along (100) and along (111)
_LONGEST_TAIL_NM = 2e-3  # the whole homogeneity field of the A15 is 0.9 pm wide
_LARGEST_STRAIN = 0.01
_STEEPEST = 1e-5  # nm of lattice for each nm of depth; 1 at.% for each micrometre is 1.4e-7
_INSTRUMENT_KINDS = {
    **dict.fromkeys((*GAUSS_TERMS, *LORENTZ_TERMS), Kind.WIDTH),
    "axial_source_ratio": Kind.AXIAL,
    "axial_detector_ratio": Kind.AXIAL,
    "two_theta_offset": Kind.OFFSET,
    "alpha2_ratio": Kind.EMISSION,
}


def initial_parameters(
    model: PatternModel, instrument_values: Mapping[str, float], light: Radiation
) -> "lmfit.Parameters":
    """All parameters of a model with start values and bounds; nothing is free yet.

    The transparency shift begins at what the main phase's attenuation makes it. Of metals standard and sample share
    most of it, and the displacement takes up the rest; of clear specimens it is fitted (`xrdorder.fitting.effects`).
    """
    from lmfit import Parameters  # its import costs more than the package's own

    parameters = Parameters()
    for name in model.background_names:
        add_parameter(parameters, name, Role("", Kind.BACKGROUND), 0.0)
    for name in INSTRUMENT_NAMES:
        add_parameter(parameters, name, Role("", _INSTRUMENT_KINDS[name]), float(instrument_values[name]))
    parameters["two_theta_offset"].set(min=-2.0, max=2.0)
    for name in model.displacement_names:
        add_parameter(parameters, name, Role("", Kind.PLACE), 0.0, -2.0, 2.0)
    main = model.phases[0]
    geometry = main.optics.geometry
    transparency = geometry.transparency_deg(main.attenuation_per_nm, PACKING)
    add_parameter(parameters, "transparency_deg", Role("", Kind.TRANSPARENCY), transparency, 0.0)
    add_parameter(parameters, "wavelength_shift", Role("", Kind.WAVELENGTH), 0.0)
    for lines in model.phases:
        add_phase_parameters(parameters, lines)
    return parameters


def add_phase_parameters(parameters: "lmfit.Parameters", lines: PhaseLines) -> None:
    """Add those parameters of a phase, or of another population of it, that are not there yet."""
    p = lines.phase
    start_width = lorentz_sec_from_size(INITIAL_SIZE_NM, lines.optics.radiation.wavelength_nm)
    sec, tan, gauss = lines.width_names
    wanted: dict[str, tuple[float, float, float]] = {lines.scale_name: (0.0, 0.0, np.inf)}
    for name, value, low, high in zip(
        lines.length_names, p.lengths_nm, p.lengths_low_nm, p.lengths_high_nm, strict=True
    ):
        held = low == high  # the lattice of an internal standard
        wanted[name] = (value, -np.inf, np.inf) if held else (value, low, high)
    # A specimen that adds nothing to a line must be free to come out below nothing by chance, or the mean of many comes
    # out above; the instrument's own width keeps the line a line.
    least = lines.least_widths({name: float(parameters[name].value) for name in INSTRUMENT_NAMES})
    for name, value, low in zip((sec, tan, gauss), (start_width, 0.0, 0.0), least, strict=True):
        wanted[name] = (value, low, _WIDEST_DEG)
    for name, site in zip(lines.b_iso_names, p.sites, strict=True):
        wanted[name] = (site.b_iso_nm2, *site.b_iso_bounds_nm2)
    wanted |= {name: (0.0, -3.0, 3.0) for name in lines.texture_names}
    optional = (
        (lines.contrast_name, (0.93, 0.0, 1.5)),
        (lines.march_name, (1.0, 0.1, 10.0)),
        (lines.anisotropy_name, (0.0, *_ANISOTROPY_LIMITS)),
        (lines.tail_name, (0.0, -_LONGEST_TAIL_NM, _LONGEST_TAIL_NM)),
        (lines.elastic_name, (0.0, -_LARGEST_STRAIN, _LARGEST_STRAIN)),
        (lines.depth_name, (0.0, -_STEEPEST, _STEEPEST)),
        (lines.share_name, (0.0, 0.0, 0.5)),
        (lines.size_gauss_name, (0.0, 0.0, _WIDEST_DEG**2)),
    )
    wanted |= {name: limits for name, limits in optional if name}
    for name, (value, low, high) in wanted.items():
        add_parameter(parameters, name, lines.roles[name], value, low, high)
