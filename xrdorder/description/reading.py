"""The keys of `study.toml`, checked when the file is read.

Every table of the file is a model; the description of a field says what belongs there and in which unit, and
becomes the remedy in the message when something else stands there. `check` reports all problems at once.

The models live at the edge only: `check` hands on the plain dataclasses of `xrdorder.description.study`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, Field, ValidationError

from xrdorder.description import study as description
from xrdorder.description.calibration import InstrumentTable, as_instrument, instrument_of
from xrdorder.description.locations import in_columns, place, sample_words
from xrdorder.description.lots import LotTable, lot_of
from xrdorder.description.measured_schema import MeasuredTable, ValueTable
from xrdorder.description.measurement import ChoicesTable, MeasurementTable
from xrdorder.description.missing_files import absent_patterns
from xrdorder.description.phases_present import Problem, disagreements, phase_argument
from xrdorder.description.sample_table import STEP_COLUMNS, Row, SampleRows, read_sample_table
from xrdorder.description.specimen import FURNACE_C, specimen_problem
from xrdorder.description.treatments import WAYS, Treatments
from xrdorder.description.values import (
    Day,
    NotNegative,
    Paths,
    PathText,
    SafeName,
    Table,
    between,
    one_of,
    shown,
)
from xrdorder.exceptions import did_you_mean


class SampleTable(MeasurementTable):
    """A reacted piece of wire."""

    name: SafeName = Field(description="a name of its own, safe as a file name")
    pattern: Paths = Field(description="the path of the pattern, or a list of paths of one specimen")
    lot: str | None = Field(default=None, description="the name of a lot described under [lots.<name>]")
    treatment: Any = Field(default=None, description=WAYS)  # checked by `Treatments`
    position_m: NotNegative | None = Field(default=None, description="the place along the spool in m, zero or more")
    date: Day | None = Field(default=None, description="the day of the measurement, as 2026-03-14")
    measured: MeasuredTable = Field(
        default=MeasuredTable(), description="what the laboratory measured itself, a table [samples.measured]"
    )


class FitTable(Table):
    """Choices of the fit."""

    engine: Annotated[str, one_of("own", "scipy")] = Field(
        default="own", description="the least-squares engine: own or scipy"
    )


class DoseTable(Table):
    """How thermal doses are given."""

    q_kj_per_mol: Annotated[float, between(0.0, 1000.0)] | None = Field(
        default=None, description="the activation energy in kJ/mol, 0 to 1000"
    )
    u_q_kj_per_mol: Annotated[float, between(0.0, 1000.0)] | None = Field(
        default=None, description="the standard uncertainty of the activation energy in kJ/mol"
    )
    reference_c: Annotated[float, between(*FURNACE_C)] | None = Field(
        default=None, description="the temperature at which the hours of a dose are counted, in °C"
    )
    above_c: Annotated[float, between(-273.15, FURNACE_C[1])] | None = Field(
        default=None, description="a temperature in °C: the hours at or above it become the column hours_above"
    )
    source: PathText | None = Field(default=None, description="where the activation energy comes from, in quotes")


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
    instrument: InstrumentTable | None = Field(
        default=None, description="the table [instrument] with a file, or [instrument.calibrate]"
    )
    calibrations: dict[str, InstrumentTable] = Field(
        default={}, description="a table [calibrations.<name>] with a file, or with the keys of [instrument.calibrate]"
    )
    fit: FitTable = Field(default=FitTable(), description="the table [fit]")
    dose: DoseTable = Field(default=DoseTable(), description="the table [dose]")
    defaults: MeasurementTable = Field(default=MeasurementTable(), description="the table [defaults]")
    lots: dict[str, LotTable] = Field(default={}, description="a table [lots.<name>] for every wire lot")
    treatments: dict[str, Any] = Field(default={}, description="a table [treatments.<name>] for every treatment")
    samples_table: PathText | None = Field(default=None, description="the path of a CSV table of samples")
    samples: Annotated[list[SampleTable], Field(min_length=1)] = Field(
        description="a table [[samples]] for every sample, or samples_table"
    )


def check(
    table: dict[str, Any], folder: Path, *, to_run: bool = False
) -> tuple[description.Study | None, list[Problem]]:
    """Check the content of a study file and turn it into a study.

    Parameters
    ----------
    table : dict
        What the TOML file holds.
    folder : Path
        Absolute path of the study folder.
    to_run : bool
        Look for the pattern files as well.

    Returns
    -------
    study : Study or None
        None when there are problems.
    problems : list of (place, complaint)
        First single values, then what does not fit together; all lines of one sample stand where its first does.
    """
    table, listed = _with_rows(table, folder)
    if isinstance(named := table.get("calibrations"), dict):
        table = {**table, "calibrations": {name: as_instrument(one) for name, one in named.items()}}
    problems: list[Problem] = []
    checked = None
    try:
        checked = StudyTable.model_validate(table)
    except ValidationError as error:
        problems += [_problem(dict(item), table) for item in error.errors(include_url=False)]
    treatments = Treatments(table.get("treatments"), folder)
    problems += [item for item in disagreements(table, folder, treatments) if item not in problems]
    absent = tuple(_of_rows(list(absent_patterns(table, folder)), table, listed)) if to_run else ()
    if checked is None or problems or listed.problems:
        return None, _by_sample([*listed.problems, *_of_rows(problems, table, listed), *absent], table)
    study = replace(_study(checked, folder, treatments), absent=absent)
    problems = [
        (sample_words(k, table), said)
        for k, sample in enumerate(study.samples)
        if (said := specimen_problem(sample))
    ]
    return (None, problems) if problems else (study, [])


def _by_sample(problems: Sequence[Problem], table: dict[str, Any]) -> list[Problem]:
    """Put the lines of each sample together, where its first one stands."""
    samples = table.get("samples")
    starts: dict[str, int] = {}
    for k, sample in enumerate(samples if isinstance(samples, list) else ()):
        starts[sample_words(k, table)] = k
        if isinstance(sample, Row):
            starts[sample.place] = k
    first: dict[object, int] = {}
    keyed = []
    for i, (where, said) in enumerate(problems):
        # of "a.csv, row 3 (sample 'x'), column lot" and "sample 'x', lot" whatever names the sample
        parts = where.split(", ")
        of = next((starts[w] for n in (1, 2) if (w := ", ".join(parts[:n])) in starts), None)
        keyed.append((first.setdefault((i, where) if of is None else of, i), (where, said)))
    return [problem for _, problem in sorted(keyed, key=lambda item: item[0])]


# --- samples in a table ----------------------------------------------------------------------------------


def _with_rows(table: dict[str, Any], folder: Path) -> tuple[dict[str, Any], SampleRows]:
    """Put the rows of the table of samples behind the samples of the file."""
    name, own = table.get("samples_table"), table.get("samples", [])
    if not isinstance(name, str) or not name or not isinstance(own, list):
        return table, SampleRows()
    found = read_sample_table(name, folder, sample_columns())
    return {**table, "samples": [*own, *found.rows]}, found


def _of_rows(problems: Sequence[Problem], table: dict[str, Any], listed: SampleRows) -> Iterator[Problem]:
    """Say the columns of problems; what follows from a problem of the table itself is left out."""
    samples = table.get("samples")
    rows = {
        sample_words(k, table): row
        for k, row in enumerate(samples if isinstance(samples, list) else ())
        if isinstance(row, Row)
    }
    for where, said in problems:
        if where == "samples" and listed.problems:
            continue
        at = in_columns(where, rows)
        if not (said.startswith("is missing") and at.endswith(tuple(f", column {name}" for name in listed.missing))):
            yield at, said


def sample_columns() -> dict[str, str]:
    """Columns that a table of samples may have, and what stands in them; keys within keys with a point."""
    kinds: dict[str, str] = {}
    for name, info in SampleTable.model_fields.items():
        if name == "measured":
            for quantity in MeasuredTable.model_fields:
                parts = {f".{key}": _kind(one.annotation) for key, one in ValueTable.model_fields.items()}
                kinds |= {f"measured.{quantity}{key.removesuffix('.value')}": kind for key, kind in parts.items()}
        elif name == "fit":
            kinds |= {f"fit.{key}": _kind(one.annotation) for key, one in ChoicesTable.model_fields.items()}
        else:
            kinds[name] = "text" if name == "treatment" else _kind(info.annotation)
    return {name: kind for name, kind in kinds.items() if kind} | dict.fromkeys(STEP_COLUMNS, "number")


def _kind(annotation: object) -> str:
    """What a cell holds of a field; empty where it is nothing for a cell."""
    parts = set(_parts(annotation))
    if {dict, tuple} & parts:
        return ""
    return "list" if list in parts else "flag" if bool in parts else "number" if float in parts else "text"


def _parts(annotation: object) -> Iterator[object]:
    yield get_origin(annotation) or annotation
    for part in get_args(annotation):
        yield from _parts(part)


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
        return where, f"unknown key; {_hint(str(location[-1]), models[-1])}"
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


_SLIPS = {
    LotTable: {"dopants": "dopant_at_percent", "dopant": "dopant_at_percent"},
    MeasurementTable: {"temperature": "temperature_c", "slit": "divergence_deg"},
}
"""What people write for a key that is spelt quite differently."""

_TOP = ("title", "phases", "tin_scale", "relations", "samples_table")
_OF_STEPS = (*STEP_COLUMNS, "ramp", "time_h", "steps")


def _hint(key: str, model: type[BaseModel]) -> str:
    """Say where an unknown key belongs, or which one was meant."""
    if model is not StudyTable and key in _TOP:
        return f"{key} belongs at the top of the file, before the first table in [ ]"
    if model is SampleTable and key in _OF_STEPS:
        return "it belongs to the heat treatment: treatment = [{ ramp_k_per_h = ..., hold_c = ..., hours = ... }]"
    for of, slips in _SLIPS.items():
        if issubclass(model, of) and key in slips:
            return f"did you mean '{slips[key]}'?"
    return did_you_mean(key, model.model_fields)


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


def _study(table: StudyTable, folder: Path, treatments: Treatments) -> description.Study:
    lots = {name: lot_of(name, lot) for name, lot in table.lots.items()}
    return description.Study(
        folder=folder,
        title=table.title or folder.name,
        instrument=None if table.instrument is None else instrument_of(table.instrument, folder),
        phases=tuple(phase_argument(name, folder) for name in table.phases),
        engine=table.fit.engine,
        samples=tuple(_sample(sample, table.defaults, lots, treatments) for sample in table.samples),
        tin_scale=None if table.tin_scale is None else folder / table.tin_scale,
        relations=None if table.relations is None else folder / table.relations,
        dose=_dose(table.dose),
        calibrations={name: instrument_of(one, folder) for name, one in table.calibrations.items()},
    )


def _dose(table: DoseTable) -> description.DoseReference:
    given = table.model_dump(exclude_none=True)
    if "q_kj_per_mol" in given:
        given.setdefault("source", "told in study.toml, without a source")
    return description.DoseReference(**given)


def _sample(
    table: SampleTable, defaults: MeasurementTable, lots: dict[str, description.Lot], treatments: Treatments
) -> description.Sample:
    usual, own = defaults.model_dump(exclude_none=True), table.model_dump(exclude_none=True)
    measured = {**usual, **own}
    told, _ = treatments.read(table.treatment)
    reading = ("radiation", "axis", "axis_unit", "geometry", "counting_time_s", "diffractogram")
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
        patterns=tuple(treatments.folder / path for path in table.pattern),
        lot=description.Lot() if table.lot is None else lots[table.lot],
        mount=measured.get("mount", ""),
        treatment=told.history,
        treatment_log=told.log,
        calibration=measured.get("calibration", ""),
        position_m=table.position_m,
        date=table.date or "",
        choices={**usual["fit"], **own["fit"]},
        strain_gauge=measured.get("strain_gauge", ""),
        strain_bound=measured.get("strain_bound", False),
        corrections_off=tuple(measured.get("corrections_off", ())),
        measured=table.measured.values(),
        reading=description.Reading(**{key: measured.get(key) for key in reading}),
        **{key: measured.get(key) for key in specimen},
    )
