"""How patterns were measured and are fitted: the keys of ``[defaults]``, each of which a sample may give itself."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, BeforeValidator, ValidationInfo

from xrdorder.description.locations import key_words
from xrdorder.description.values import (
    MeasuringTemperature,
    NotNegative,
    Pair,
    PlaneNormal,
    Positive,
    RadiationName,
    Roughness,
    StandardName,
    between,
    one_of,
)
from xrdorder.exceptions import did_you_mean
from xrdorder.files.checked_table import INTERPRETATION, NOBODY, CheckedTable, Context, Problem, as_tuple, key
from xrdorder.material.specimen import CORRECTIONS, GAUGES, LARGEST_STRAIN
from xrdorder.patterns import GEOMETRIES, MOUNTS
from xrdorder.patterns.checks import AXIS_UNITS

LATTICE_DISTRIBUTIONS = ("auto", "single", "tail", "two-populations")
"""Names of the fit, repeated because checking a description must not load it (a test holds them equal)."""

_UNITS = tuple(dict.fromkeys(unit for units in AXIS_UNITS.values() for unit in units))


class Choices(CheckedTable):
    """Choices of the fit: `fit = { ... }` in `[defaults]` or a sample; the fields of `xrdorder.fitting.FitOptions`."""

    lattice_distribution: Annotated[str, one_of(*LATTICE_DISTRIBUTIONS)] | None = key(
        f"how the A15 lattice is spread: {', '.join(LATTICE_DISTRIBUTIONS)}"
    )
    texture_axes: dict[str, PlaneNormal] | None = key(
        "phases and the normals their grains prefer, as { nb3sn = [1, 0, 0] }"
    )
    elastic_shifts: bool | None = key("true to fit elastic shifts of held grains")
    depth_gradient: bool | None = key("true to fit a lattice that changes with depth")
    mu_t: NotNegative | None = key("the attenuation times thickness of a plate in transmission")
    mu_r: NotNegative | None = key("the attenuation times radius of a capillary")
    roughness: Roughness | None = key("share p (0 to 1) and length q (not negative) of the roughness, as [0.5, 0.05]")
    particle_size_um: Annotated[float, between(0.001, 999.0)] | None = key(
        "the mean size of the particles in micrometres"
    )
    measured_dispersion: dict[str, Pair] | None = key(
        "measured f' and f'' of elements in electrons, as { Nb = [-2.1, 0.6] }"
    )
    tube_lines: bool | None = key("true or false: look for K-beta and tungsten lines")
    identify_phases: bool | None = key("true or false: look for phases that explain unindexed lines")
    cross_checks: bool | None = key("true or false: single lines and free intensities beside the fit")

    def given(self) -> dict[str, Any]:
        """Give the choices that were made; what the fit does by itself is left to it."""
        return self.model_dump(exclude_none=True)


class Reading(CheckedTable):
    """How to read pattern files that do not say it themselves; None where nothing was told."""

    radiation: RadiationName | None = key("the radiation of pattern files that do not say it, as 'cu-ka'")
    axis: Annotated[str, one_of(*AXIS_UNITS)] | None = key(
        "what the first column of the pattern file is: two-theta, d or q"
    )
    axis_unit: Annotated[str, one_of(*_UNITS)] | None = key(
        "the unit of d (nm, angstrom) or q (1/nm, 1/angstrom); degree for two-theta"
    )
    geometry: Annotated[str, one_of(*GEOMETRIES)] | None = key("the geometry of pattern files that do not say it")
    diffractogram: str | None = key("which diffractogram of a powder CIF that names several: its id, or 'all'")
    counting_time_s: Positive | None = key("the counting time a point in seconds")

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find a unit that does not go with the axis, which would stop every pattern that has it."""
        if not {"axis", "axis_unit"} & given.keys():
            return
        told = {**cls.usual(context), **given}
        axis, unit = told.get("axis", "two-theta"), told.get("axis_unit")
        if isinstance(axis, str) and axis in AXIS_UNITS and unit in _UNITS and unit not in AXIS_UNITS[axis]:
            yield (
                ("axis_unit",),
                f"'{unit}' is no unit of {axis}; give {' or '.join(AXIS_UNITS[axis])}, or another axis",
            )

    @classmethod
    def usual(cls, context: Context) -> dict[str, Any]:
        """What holds, as it was written, where a table does not say otherwise."""
        return {}


def _described_calibration(name: str, info: ValidationInfo) -> str:
    """Accept the name of a calibration that the study describes."""
    if info.context is None or name in (described := info.context.written("calibrations")):
        return name
    hint = did_you_mean(name, described) if described else f"add a table [calibrations.{key_words(name)}]"
    raise ValueError(f"no calibration '{name}' is described; {hint}")


class Measurement(Reading):
    """How patterns were measured; the keys of `[defaults]`, each of which a sample may give itself."""

    slips: ClassVar = {"temperature": "temperature_c", "slit": "divergence_deg"}

    calibration: Annotated[str, AfterValidator(_described_calibration)] = key(
        "the name of a [calibrations.<name>], in quotes", "", seen_by=NOBODY
    )
    mount: Annotated[str, one_of(*MOUNTS)] = key(f"how the specimen was mounted: {', '.join(MOUNTS)}", "")
    wire_axis_angle_deg: Annotated[float, between(0.0, 90.0)] | None = key(
        "the angle between wire axis and scattering vector in degrees, 0 to 90", seen_by=INTERPRETATION
    )
    temperature_c: MeasuringTemperature | None = key("the temperature of the specimen while it was measured in °C")
    u_temperature_k: Positive | None = key("the standard uncertainty of that temperature in K", seen_by=INTERPRETATION)
    specimen_length_mm: Positive | None = key("the length of the specimen along the beam in mm")
    divergence_deg: Annotated[float, between(0.001, 10.0)] | None = key("the divergence of the slit in degrees")
    internal_standard: StandardName | None = key("the certified powder mixed into the specimen, as 'srm-640c'")
    strain: Annotated[float, between(-LARGEST_STRAIN, LARGEST_STRAIN)] | None = key(
        "the strain of the A15 along the scattering vector as a fraction, -0.001 for -0.1 %", seen_by=INTERPRETATION
    )
    u_strain: Annotated[float, between(0.0, LARGEST_STRAIN)] | None = key(
        "the standard uncertainty of that strain as a fraction", seen_by=INTERPRETATION
    )
    strain_gauge: Annotated[str, one_of(*GAUGES)] = key(
        f"the phase whose lattice tells the strain: {', '.join(GAUGES)}", "", seen_by=INTERPRETATION
    )
    strain_bound: bool = key(
        "true to take the thermal mismatch from the reaction temperature down as bound", False, seen_by=INTERPRETATION
    )
    corrections_off: Annotated[tuple[Annotated[str, one_of(*CORRECTIONS)], ...], BeforeValidator(as_tuple)] = key(
        f"the corrections to switch off, of {', '.join(CORRECTIONS)}", (), seen_by=INTERPRETATION
    )
    fit: Choices = key("choices of the fit, as { elastic_shifts = true }", Choices())

    @classmethod
    def usual(cls, context: Context) -> dict[str, Any]:
        """Say what stands in `[defaults]`."""
        return context.written("defaults")
