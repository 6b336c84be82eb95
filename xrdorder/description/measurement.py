"""How patterns were measured and are fitted: the keys of ``[defaults]``, each of which a sample may give itself."""

from typing import Annotated

from pydantic import Field

from xrdorder.description.strain import StrainTable
from xrdorder.description.values import (
    MeasuringTemperature,
    NotNegative,
    Pair,
    PlaneNormal,
    Positive,
    RadiationName,
    Roughness,
    StandardName,
    Table,
    between,
    one_of,
)
from xrdorder.patterns import GEOMETRIES, MOUNTS

LATTICE_DISTRIBUTIONS = ("auto", "single", "tail", "two-populations")
"""Names of the fit, repeated because checking a description must not load it (a test holds them equal)."""


class ChoicesTable(Table):
    """Choices of the fit: `fit = { ... }` in `[defaults]` or a sample; the fields of `xrdorder.fitting.FitOptions`."""

    lattice_distribution: Annotated[str, one_of(*LATTICE_DISTRIBUTIONS)] | None = Field(
        default=None, description=f"how the A15 lattice is spread: {', '.join(LATTICE_DISTRIBUTIONS)}"
    )
    texture_axes: dict[str, PlaneNormal] | None = Field(
        default=None, description="phases and the normals their grains prefer, as { nb3sn = [1, 0, 0] }"
    )
    elastic_shifts: bool | None = Field(default=None, description="true to fit elastic shifts of held grains")
    depth_gradient: bool | None = Field(default=None, description="true to fit a lattice that changes with depth")
    mu_t: NotNegative | None = Field(
        default=None, description="the attenuation times thickness of a plate in transmission"
    )
    mu_r: NotNegative | None = Field(default=None, description="the attenuation times radius of a capillary")
    roughness: Roughness | None = Field(
        default=None, description="share p (0 to 1) and length q (not negative) of the roughness, as [0.5, 0.05]"
    )
    particle_size_um: Annotated[float, between(0.001, 999.0)] | None = Field(
        default=None, description="the mean size of the particles in micrometres"
    )
    measured_dispersion: dict[str, Pair] | None = Field(
        default=None, description="measured f' and f'' of elements in electrons, as { Nb = [-2.1, 0.6] }"
    )
    stray_radiation: bool | None = Field(
        default=None, description="true or false: look for K-beta and tungsten lines"
    )
    seek_phases: bool | None = Field(
        default=None, description="true or false: look for phases that explain unindexed lines"
    )
    second_opinions: bool | None = Field(
        default=None, description="true or false: single lines and free intensities beside the fit"
    )


class MeasurementTable(StrainTable):
    """How patterns were measured; the keys of `[defaults]`, each of which a sample may give itself."""

    calibration: str | None = Field(default=None, description="the name of a [calibrations.<name>], in quotes")
    mount: Annotated[str, one_of(*MOUNTS)] | None = Field(
        default=None, description=f"how the specimen was mounted: {', '.join(MOUNTS)}"
    )
    wire_axis_angle_deg: Annotated[float, between(0.0, 90.0)] | None = Field(
        default=None, description="the angle between wire axis and scattering vector in degrees, 0 to 90"
    )
    temperature_c: MeasuringTemperature | None = Field(
        default=None, description="the temperature of the specimen while it was measured in °C"
    )
    u_temperature_k: Positive | None = Field(
        default=None, description="the standard uncertainty of that temperature in K"
    )
    specimen_length_mm: Positive | None = Field(
        default=None, description="the length of the specimen along the beam in mm"
    )
    divergence_deg: Annotated[float, between(0.001, 10.0)] | None = Field(
        default=None, description="the divergence of the slit in degrees"
    )
    internal_standard: StandardName | None = Field(
        default=None, description="the certified powder mixed into the specimen, as 'srm-640c'"
    )
    radiation: RadiationName | None = Field(
        default=None, description="the radiation of pattern files that do not say it, as 'cu-ka'"
    )
    axis: Annotated[str, one_of("two-theta", "d", "q")] | None = Field(
        default=None, description="what the first column of the pattern file is: two-theta, d or q"
    )
    axis_unit: Annotated[str, one_of("degree", "nm", "angstrom", "1/nm", "1/angstrom")] | None = Field(
        default=None, description="the unit of d (nm, angstrom) or q (1/nm, 1/angstrom); degree for two-theta"
    )
    geometry: Annotated[str, one_of(*GEOMETRIES)] | None = Field(
        default=None, description="the geometry of pattern files that do not say it"
    )
    diffractogram: str | None = Field(
        default=None, description="which diffractogram of a powder CIF that names several: its id, or 'all'"
    )
    counting_time_s: Positive | None = Field(default=None, description="the counting time a point in seconds")
    fit: ChoicesTable = Field(default=ChoicesTable(), description="choices of the fit, as { elastic_shifts = true }")
