"""The keys of `study.toml`, checked when the file is read.

Every table of the file is a model; the description of a field says what belongs there and in which unit, and
becomes the remedy in the message when something else stands there. `check` reports all problems at once.

The models live at the edge only: `check` hands on the plain dataclasses of `xrdorder.studies.description`.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, get_args

from pydantic import BaseModel, Field, ValidationError

from xrdorder import treatments
from xrdorder.patterns import GEOMETRIES, MOUNTS
from xrdorder.studies import description
from xrdorder.studies.disagreements import Problem, disagreements, phase_argument
from xrdorder.studies.fields import (
    AtPercent,
    LatticeEffect,
    Lengths,
    MeasuringTemperature,
    NotNegative,
    Pair,
    Paths,
    PathText,
    PlaneNormal,
    Positive,
    RadiationName,
    Roughness,
    SafeName,
    Share,
    StandardName,
    Table,
    between,
    one_of,
    shown,
    step_field,
)
from xrdorder.studies.measured_schema import MeasuredTable
from xrdorder.studies.places import place, sample_words
from xrdorder.studies.specimens import specimen_problem
from xrdorder.studies.strain_schema import StrainTable
from xrdorder.studies.words import did_you_mean

LATTICE_DISTRIBUTIONS = ("auto", "single", "tail", "two-populations")
"""Names of the fit, repeated because checking a description must not load it (a test holds them equal)."""


class StepTable(Table):
    """One step of a heat treatment."""

    hold_c: Annotated[float, step_field("hold_c")] = Field(description="the temperature of the hold in °C")
    hours: Annotated[float, step_field("hours")] = Field(description="the length of the hold in hours")
    ramp_k_per_h: Annotated[float, step_field("ramp_k_per_h")] | None = Field(
        default=None, description="the rate of the ramp to the hold in K/h"
    )


class LotTable(Table):
    """A wire lot."""

    route: str = Field(default="", description="how the wire was made, as text in quotes")
    dopant_at_percent: dict[str, AtPercent] = Field(
        default={}, description="the dopant content of the A15 in at.%, as { Ta = 2.4 }"
    )
    u_dopant_at_percent: dict[str, AtPercent] = Field(
        default={}, description="the standard uncertainty of the dopant content in at.%, as { Ta = 0.3 }"
    )
    on_tin_site: dict[str, Share] | None = Field(
        default=None, description="the share of the dopant on the tin site, 0 to 1, as { Ta = 0.3 }"
    )
    u_on_tin_site: dict[str, Share] | None = Field(
        default=None, description="the standard uncertainty of that share, 0 to 1, as { Ta = 0.1 }"
    )
    undoped: bool = Field(default=False, description="true where the wire is known to hold no dopant")
    lattice_pm_per_at_percent: dict[str, LatticeEffect] | None = Field(
        default=None, description="the measured change of a by a dopant in pm per at.%, as { Ta = -0.02 }"
    )
    u_lattice_pm_per_at_percent: dict[str, NotNegative] | None = Field(
        default=None, description="the standard uncertainty of that change in pm per at.%, as { Ta = 0.01 }"
    )


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
        default=None, description="true or false: look for phases that explain foreign lines"
    )
    second_opinions: bool | None = Field(
        default=None, description="true or false: single lines and free intensities beside the fit"
    )


class MeasurementTable(StrainTable):
    """How patterns were measured; the keys of `[defaults]`, each of which a sample may give itself."""

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
    counting_time_s: Positive | None = Field(default=None, description="the counting time a point in seconds")
    fit: ChoicesTable = Field(default=ChoicesTable(), description="choices of the fit, as { elastic_shifts = true }")


class SampleTable(MeasurementTable):
    """A reacted piece of wire."""

    name: SafeName = Field(description="a name of its own, safe as a file name")
    pattern: Paths = Field(description="the path of the pattern, or a list of paths of one specimen")
    lot: str | None = Field(default=None, description="the name of a lot described under [lots.<name>]")
    treatment: list[StepTable] = Field(
        default=[], description="the steps of the heat treatment, as { ramp_k_per_h, hold_c, hours }"
    )
    measured: MeasuredTable = Field(
        default=MeasuredTable(), description="what the laboratory measured itself, a table [samples.measured]"
    )


class CalibrateTable(Table):
    """The pattern of a certified powder that calibrates the study."""

    pattern: Paths = Field(description="the path of the pattern of a certified powder")
    standard: StandardName = Field(description="the name of the certified powder, as 'srm-660c'")
    detector_distance_mm: Positive = Field(
        description="the distance from specimen to detector in mm (goniometer radius)"
    )
    radiation: RadiationName | None = Field(default=None, description="the radiation, as 'cu-ka'")
    divergence_deg: Annotated[float, between(0.001, 10.0)] | None = Field(
        default=None, description="the divergence of the slit in degrees"
    )
    specimen_length_mm: Positive | None = Field(
        default=None, description="the length of the specimen along the beam in mm"
    )
    monochromator_two_theta_deg: Annotated[float, between(0.0, 180.0)] | None = Field(
        default=None, description="the 2θ of the monochromator crystal in degrees"
    )
    geometry: Annotated[str, one_of(*GEOMETRIES)] | None = Field(
        default=None, description=f"how the powder was measured: {', '.join(GEOMETRIES)}"
    )
    illuminated_length_mm: Positive | None = Field(
        default=None, description="the length that a variable slit keeps lit in mm"
    )
    polarisation_ratio: Share | None = Field(
        default=None, description="intensity polarised in the diffraction plane over that across it, 0 to 1"
    )
    mu_t: NotNegative | None = Field(
        default=None, description="the attenuation times thickness of a plate in transmission"
    )
    mu_r: NotNegative | None = Field(default=None, description="the attenuation times radius of a capillary")
    focused: bool = Field(
        default=False, description="true where the beam on a capillary is focused on the detector"
    )
    temperature_c: MeasuringTemperature = Field(
        default=22.5, description="the temperature of the powder while it was measured in °C"
    )
    standard_domain_size_nm: Positive | None = Field(
        default=None, description="the domain size of the certified powder in nm"
    )
    standard_lattice_nm: Lengths | None = Field(
        default=None, description="the lattice parameter on the laboratory's own certificate in nm (a, or [a, c])"
    )
    u_standard_lattice_nm: Lengths | None = Field(
        default=None, description="its standard uncertainty (k = 1) in nm"
    )


class InstrumentTable(Table):
    """Where the instrument comes from: a file, or a calibration within the study."""

    file: PathText | None = Field(default=None, description="the path of an instrument file")
    calibrate: CalibrateTable | None = Field(
        default=None, description="the table of a pattern that calibrates the study"
    )


class FitTable(Table):
    """Choices of the fit."""

    engine: Annotated[str, one_of("own", "scipy")] = Field(
        default="own", description="the least-squares engine: own or scipy"
    )


class StudyTable(Table):
    """The whole file."""

    title: str = Field(default="", description="the title of the study, as text in quotes")
    phases: list[str] = Field(
        default=[], description="catalogue names of phases, or paths of CIF and phase files"
    )
    tin_scale: PathText | None = Field(
        default=None, description="the path of the laboratory's own scale of tin (xrdorder tin-scale writes it)"
    )
    relations: PathText | None = Field(
        default=None, description="the path of a file with the laboratory's own relations"
    )
    instrument: InstrumentTable = Field(
        description="the table [instrument] with a file, or [instrument.calibrate]"
    )
    fit: FitTable = Field(default=FitTable(), description="the table [fit]")
    defaults: MeasurementTable = Field(default=MeasurementTable(), description="the table [defaults]")
    lots: dict[str, LotTable] = Field(default={}, description="a table [lots.<name>] for every wire lot")
    samples: Annotated[list[SampleTable], Field(min_length=1)] = Field(
        description="a table [[samples]] for every sample"
    )


def check(table: dict[str, Any], folder: Path) -> tuple[description.Study | None, list[Problem]]:
    """Check the content of a study file and turn it into a study.

    Parameters
    ----------
    table : dict
        What the TOML file holds.
    folder : Path
        Absolute path of the study folder.

    Returns
    -------
    study : Study or None
        None when there are problems.
    problems : list of (place, complaint)
        In the order of the file: first single values, then what does not fit together.
    """
    problems: list[Problem] = []
    checked = None
    try:
        checked = StudyTable.model_validate(table)
    except ValidationError as error:
        problems += [_problem(dict(item), table) for item in error.errors(include_url=False)]
    problems += [item for item in disagreements(table, folder) if item not in problems]
    if checked is None or problems:
        return None, problems
    study = _study(checked, folder)
    problems = [
        (sample_words(k, table), said)
        for k, sample in enumerate(study.samples)
        if (said := specimen_problem(sample))
    ]
    return (None, problems) if problems else (study, [])


# --- single values ---------------------------------------------------------------------------------------

_EXPECTED = {
    "float_type": "a number",
    "string_type": "text in quotes",
    "list_type": "a list in [ ]",
    "dict_type": "a table",
    "model_type": "a table",
    "finite_number": "a finite number",
    "bool_type": "true or false",
}


def _problem(error: dict[str, Any], table: dict[str, Any]) -> Problem:
    """Say one complaint of the models in words of the trade."""
    location = tuple(error["loc"])
    if location and location[-1] == "[key]":
        location = location[:-1]
    kind, given = error["type"], error["input"]
    models, wanted = _along(location)
    where = place(location, table)
    if kind == "extra_forbidden":
        if models[-1] is FitTable and location[-1] in ChoicesTable.model_fields:
            return where, f"does not stand here; give fit = {{ {location[-1]} = ... }} in [defaults] or a sample"
        return where, f"unknown key; {did_you_mean(str(location[-1]), models[-1].model_fields)}"
    if kind == "missing":
        return where, f"is missing; give {wanted}"
    if kind in ("too_short", "string_too_short"):
        return where, f"is empty; give {wanted}"
    if kind == "value_error":
        text = " ".join(str(error["ctx"]["error"]).split())
        return where, text if ";" in text else f"{text}; give {wanted}"
    expected = _EXPECTED.get(kind)
    what = f"{shown(given)} is not {expected}" if expected else f"{shown(given)} does not fit"
    return where, f"{what}; give {wanted}"


def _along(location: tuple[int | str, ...]) -> tuple[list[type[BaseModel]], str]:
    """Walk down a location: the models passed, and what the last field met should hold."""
    models: list[type[BaseModel]] = [StudyTable]
    wanted = "what belongs here"
    for part in location:
        fields = models[-1].model_fields
        if part in fields:
            info = fields[str(part)]
            wanted = info.description or wanted
            inner = next(_models_in(info.annotation), None)
            if inner is not None:
                models.append(inner)
    return models, wanted


def _models_in(annotation: object) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models_in(part)


# --- from tables to dataclasses --------------------------------------------------------------------------


def _study(table: StudyTable, folder: Path) -> description.Study:
    lots = {name: _lot(name, lot) for name, lot in table.lots.items()}
    return description.Study(
        folder=folder,
        title=table.title or folder.name,
        instrument=_instrument(table.instrument, folder),
        phases=tuple(phase_argument(name, folder) for name in table.phases),
        engine=table.fit.engine,
        samples=tuple(_sample(sample, table.defaults, lots, folder) for sample in table.samples),
        tin_scale=None if table.tin_scale is None else folder / table.tin_scale,
        relations=None if table.relations is None else folder / table.relations,
    )


def _instrument(table: InstrumentTable, folder: Path) -> Path | description.CalibrationInput:
    if table.calibrate is None:
        return folder / str(table.file)
    values = table.calibrate.model_dump(exclude={"pattern"})
    return description.CalibrationInput(
        patterns=tuple(folder / path for path in table.calibrate.pattern), **values
    )


def _lot(name: str, table: LotTable) -> description.Lot:
    contents = table.dopant_at_percent
    return description.Lot(
        name=name,
        route=table.route,
        dopants={element: value / 100.0 for element, value in contents.items()},
        u_dopants={element: value / 100.0 for element, value in table.u_dopant_at_percent.items()},
        on_tin_site=table.on_tin_site,
        u_on_tin_site=table.u_on_tin_site,
        undoped=table.undoped,
        lattice_by_dopant_nm=_nm_per_fraction(table.lattice_pm_per_at_percent),
        u_lattice_by_dopant_nm=_nm_per_fraction(table.u_lattice_pm_per_at_percent),
    )


def _nm_per_fraction(given: dict[str, float] | None) -> dict[str, float] | None:
    """Turn pm per at.% into nm per unit atomic fraction."""
    return None if given is None else {element: value / 10.0 for element, value in given.items()}


def _sample(
    table: SampleTable, defaults: MeasurementTable, lots: dict[str, description.Lot], folder: Path
) -> description.Sample:
    usual, own = defaults.model_dump(exclude_none=True), table.model_dump(exclude_none=True)
    measured = {**usual, **own}
    steps = tuple(treatments.Step(step.hold_c, step.hours, step.ramp_k_per_h) for step in table.treatment)
    reading = ("radiation", "axis", "axis_unit", "geometry", "counting_time_s")
    specimen = (
        "wire_axis_angle_deg",
        "temperature_c",
        "u_temperature_k",
        "specimen_length_mm",
        "divergence_deg",
        "internal_standard",
        "strain",
        "u_strain",
    )
    return description.Sample(
        name=table.name,
        patterns=tuple(folder / path for path in table.pattern),
        lot=description.Lot() if table.lot is None else lots[table.lot],
        mount=measured.get("mount", ""),
        treatment=treatments.Schedule(steps) if steps else None,
        choices={**usual["fit"], **own["fit"]},
        strain_gauge=measured.get("strain_gauge", ""),
        strain_bound=measured.get("strain_bound", False),
        corrections_off=tuple(measured.get("corrections_off", ())),
        measured=table.measured.values(),
        reading=description.Reading(**{key: measured.get(key) for key in reading}),
        **{key: measured.get(key) for key in specimen},
    )
