"""What a study is: wires, heat treatments, patterns and how they were measured.

`read_study` turns the `study.toml` of a folder into a `Study`, `study_of` does so with a table from elsewhere. It is
checked as a whole: everything that is wrong is reported at once, every problem on a line of its own with its place and
a remedy. A key of the file is a field of the model of its table.
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Self, get_args, get_origin

from pydantic import BeforeValidator, PlainValidator, ValidationInfo, field_validator

from xrdorder.crystals import phase
from xrdorder.description.calibration import Calibration, instrument_of, named_instrument
from xrdorder.description.locations import place, sample_number
from xrdorder.description.lots import Lot
from xrdorder.description.measured_values import MEASURABLE, MeasuredValue
from xrdorder.description.measurement import Choices, Measurement
from xrdorder.description.phases_present import Present, choice_problems, phase_argument
from xrdorder.description.sample import FURNACE_C, Sample
from xrdorder.description.sample_table import STEP_COLUMNS, SampleRow, SampleRows, read_sample_table
from xrdorder.description.treatments import named_treatments
from xrdorder.description.values import FilePath, Text, between, existing, not_empty, one_of
from xrdorder.exceptions import StudyError, XrdorderError, did_you_mean
from xrdorder.files import read_bytes, toml_table
from xrdorder.files.checked_table import (
    CheckedTable,
    Context,
    Problem,
    Refused,
    as_tuple,
    checked,
    key,
    needed,
    refusal,
    typed,
)
from xrdorder.files.names import is_safe_name, safe_name
from xrdorder.treatments import History

DESCRIPTION = "study.toml"

DOSE_SOURCE = "200 to 400 kJ/mol are met in the growth of Nb3Sn layers (from memory; no published number was checked)"
"""Where the activation energy that is taken unless told otherwise comes from: as even odds, 300 ± 58."""


class FitTable(CheckedTable):
    """How all samples are fitted."""

    engine: Annotated[str, one_of("own", "scipy")] = key("the least-squares engine: own or scipy", "own")

    @classmethod
    def unknown(cls, key: str) -> str:
        """Know the choices of the fit."""
        if key in Choices.keys():
            return f"does not stand here; give fit = {{ {key} = ... }} in [defaults] or a sample"
        return super().unknown(key)


class DoseReference(CheckedTable):
    """With what activation energy and at what temperature thermal doses are given."""

    q_kj_per_mol: Annotated[float, between(0.0, 1000.0)] = key("the activation energy in kJ/mol, 0 to 1000", 300.0)
    u_q_kj_per_mol: Annotated[float, between(0.0, 1000.0)] = key(
        "the standard uncertainty of the activation energy in kJ/mol", 58.0
    )
    reference_c: Annotated[float, between(*FURNACE_C)] = key(
        "the temperature at which the hours of a dose are counted, in °C", 650.0
    )
    above_c: Annotated[float, between(-273.15, FURNACE_C[1])] | None = key(
        "a temperature in °C: the hours at or above it become the column hours_above"
    )
    source: Text = key("where the activation energy comes from, in quotes", DOSE_SOURCE)

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find an activation energy without its uncertainty."""
        if "q_kj_per_mol" in given and "u_q_kj_per_mol" not in given:
            said = "is missing; give the standard uncertainty (k = 1) of your own q_kj_per_mol, or 0"
            yield ("u_q_kj_per_mol",), said

    def completed(self, context: Context) -> Self:
        """Say of an activation energy without a source that it has none."""
        unsaid = "q_kj_per_mol" in self.model_fields_set and "source" not in self.model_fields_set
        return self.model_copy(update={"source": "told in study.toml, without a source"}) if unsaid else self


def _known_phase(name: object, info: ValidationInfo) -> object:
    """Accept the name of a phase, or the path of its file, which becomes absolute."""
    if info.context is None or not isinstance(name, str):
        return name
    argument = phase_argument(name, info.context.folder)
    try:
        phase(argument)
    except XrdorderError as error:
        raise ValueError(str(error)) from None
    return argument


class Study(CheckedTable):
    """A study as described in its folder.

    Attributes
    ----------
    folder : Path
        Absolute path of the study folder.
    phases : tuple of str
        Catalogue names, or absolute paths of CIF and phase files; empty takes those of reacted wire.
    instrument : Path or Calibration, or None
        An instrument file, or the pattern from which the study calibrates itself; of samples that name no calibration.
    calibrations : mapping of str to Path or Calibration
        Instruments that samples name.
    dose : DoseReference
        How thermal doses are given.
    absent : tuple of (place, complaint)
        Pattern files that are not there, where the description was read to run it.
    """

    folder: Path = Path()
    absent: tuple[tuple[str, str], ...] = ()
    title: str = key("the title of the study, as text in quotes", "")
    phases: Annotated[tuple[Annotated[str, BeforeValidator(_known_phase)], ...], BeforeValidator(as_tuple)] = key(
        "catalogue names of phases, or paths of CIF and phase files", ()
    )
    tin_scale: Annotated[FilePath, existing("leave it out")] | None = key(
        "the path of the laboratory's own scale of tin (xrdorder tin-scale writes it)"
    )
    relations: Annotated[FilePath, existing("leave it out")] | None = key(
        "the path of a file with the laboratory's own relations"
    )
    instrument: Annotated[Path | Calibration | None, PlainValidator(instrument_of)] = key(
        "the table [instrument] with a file, or [instrument.calibrate]"
    )
    calibrations: dict[str, Annotated[Path | Calibration, PlainValidator(named_instrument)]] = key(
        "a table [calibrations.<name>] with a file, or with the keys of [instrument.calibrate]", {}
    )
    fit: FitTable = key("the table [fit]", FitTable())
    dose: DoseReference = key("the table [dose]", DoseReference())
    defaults: Measurement = key("the table [defaults]", Measurement())
    lots: dict[str, Lot] = key("a table [lots.<name>] for every wire lot", {})
    treatments: Annotated[dict[str, History | None], PlainValidator(named_treatments)] = key(
        "a table [treatments.<name>] for every treatment", {}
    )
    samples_table: Text | None = key("the path of a CSV table of samples")
    samples: Annotated[tuple[Sample, ...], not_empty, BeforeValidator(as_tuple)] = needed(
        "a table [[samples]] for every sample, or samples_table"
    )

    @property
    def engine(self) -> str:
        """Name of the least-squares engine."""
        return self.fit.engine

    @property
    def lacks_calibration(self) -> bool:
        """Whether a calibration that samples use lacks a pattern file."""
        used = {sample.calibration for sample in self.samples}
        given = [self.calibrations[name] if name else self.instrument for name in used]
        return any(not path.is_file() for each in given if isinstance(each, Calibration) for path in each.pattern)

    def sample(self, name: str) -> Sample:
        """Give the sample of that name.

        Raises
        ------
        StudyError
            There is none; the message names the closest.
        """
        for sample in self.samples:
            if sample.name == name:
                return sample
        hint = did_you_mean(name, [sample.name for sample in self.samples])
        raise StudyError(f"{self.folder / DESCRIPTION}: has no sample '{name}'; {hint}")

    def to_toml(self) -> str:
        """Write the study as the text of a `study.toml` in its folder, which reads back as this study.

        Raises
        ------
        StudyError
            The name of a file cannot stand in it.
        """
        from xrdorder.description.toml_text import study_text

        return study_text(self)

    @field_validator("defaults", "lots")
    @classmethod
    def _for_samples(cls, value: Any, info: ValidationInfo) -> Any:
        """Keep what the samples, which come after, refer to; lots learn their names."""
        if info.field_name == "lots":
            value = {name: lot.model_copy(update={"name": name}) for name, lot in value.items()}
        if info.context is not None:
            info.context.read[info.field_name] = value
        return value

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find what is good for itself, but not beside the rest of the file."""
        samples = [typed(sample, dict) for sample in typed(given.get("samples"), list)]
        yield from _calibration_problems(given, samples)
        yield from _same_phases(given.get("phases"), context.folder)
        usual = context.written("defaults")
        if "fit" in usual:
            present = Present.of([{**usual, **sample} for sample in samples], context)
            yield from ((("defaults", *at), said) for at, said in choice_problems(usual["fit"], present))
        yield from _same_names(samples, given)

    def completed(self, context: Context) -> Self:
        """Take the folder, and hold what is told of each specimen against each other."""
        problems: list[Problem] = []
        for k, sample in enumerate(self.samples):
            try:
                sample.specimen()
            except XrdorderError as error:
                problems.append((("samples", k), str(error)))
        if problems:
            raise refusal(problems)
        return self.model_copy(update={"folder": context.folder, "title": self.title or context.folder.name})


def _calibration_problems(given: Mapping[str, Any], samples: Sequence[Mapping[str, Any]]) -> Iterator[Problem]:
    """Find names of calibrations that cannot be, and samples that name none where they must."""
    named = typed(given.get("calibrations"), dict)
    first: dict[str, str] = {}
    for name in named:
        if not is_safe_name(name):
            yield ("calibrations", name), f"'{name}' is not safe as a file name; take '{safe_name(name)}'"
        if (other := first.setdefault(name.casefold(), name)) != name:
            yield ("calibrations", name), f"differs from '{other}' in the case of letters only; give it another name"
    if "instrument" in given or "calibration" in typed(given.get("defaults"), dict):
        return
    without = [k for k, sample in enumerate(samples) if "calibration" not in sample]
    if not named and len(without) == len(samples):
        yield ("instrument",), "is missing; give the table [instrument] with a file, or [instrument.calibrate]"
    elif named and without:
        more = f", as in {len(without) - 1} more" if len(without) > 1 else ""
        said = f"is missing{more}; name one of {', '.join(named)} here or in [defaults], or give a table [instrument]"
        yield ("samples", without[0], "calibration"), said


def _same_phases(phases: object, folder: Path) -> Iterator[Problem]:
    seen: dict[str, int] = {}
    for k, name in enumerate(typed(phases, list)):
        try:
            present = phase(phase_argument(name, folder))
        except (XrdorderError, TypeError, AttributeError):
            continue
        if seen.setdefault(present.name, k) != k:
            said = f"'{present.name}' is already phases no. {seen[present.name] + 1}; name every phase once"
            yield ("phases", k), said


def _same_names(samples: Sequence[Mapping[str, Any]], table: Mapping[str, Any]) -> Iterator[Problem]:
    """Find names that two samples share; file systems of Windows and macOS do not tell capitals from small letters."""
    first: dict[str, int] = {}
    for k, sample in enumerate(samples):
        name = sample.get("name")
        if isinstance(name, str) and (j := first.setdefault(name.casefold(), k)) != k:
            other = samples[j]["name"]
            of = sample_number(j, table) + ("" if other == name else f" in other letters ({other})")
            yield ("samples", k, "name"), f"'{name}' is already the name of {of}; give every sample its own"


def read_study(folder: str | Path, *, to_run: bool = False) -> Study:
    """Read and check the description of a study.

    Parameters
    ----------
    folder : str or Path
        The study folder, which holds `study.toml`. Relative paths in the file start from this folder.
    to_run : bool
        Look for the pattern files as well: those that are not there stand in `Study.absent`, and among the problems
        where there are others. Results can be looked at without them.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        The folder or its description cannot be read, or the description is wrong. The message has one line
        for every problem: file, place in the file, what is wrong, what to do.
    """
    root, table = _load(Path(folder))
    return study_of(table, root, to_run=to_run)


def study_of(table: Mapping[str, Any], folder: Path, *, to_run: bool = False) -> Study:
    """Make a study of a table such as a study file holds.

    Parameters
    ----------
    table : mapping
        What stands in the file.
    folder : Path
        Absolute path of the study folder.
    to_run : bool
        As of `read_study`.

    Raises
    ------
    Refused
        All that is wrong, as `read_study` tells it.
    """
    table, listed = _with_rows(table, folder)
    study, problems, context = None, [], Context(folder, table, to_run)
    try:
        study = checked(Study, table, context)
    except Refused as error:
        problems = [*error.problems]
        if error.only_absent:  # there may be a study without them
            try:
                study = checked(Study, table, replace(context, to_run=False))
            except Refused as other:
                problems = [*other.problems, *problems]
    absent = tuple((place(at, table), said) for at, said in problems)
    if study is not None and not listed.problems:
        return study.model_copy(update={"absent": absent})
    problems = _by_sample([*listed.problems, *listed.beside(problems, table)], table)
    file = folder / DESCRIPTION
    raise Refused("\n".join(f"{file}: {place(at, table)}: {said}" for at, said in problems), problems)


def _load(folder: Path) -> tuple[Path, dict[str, Any]]:
    """Read the TOML of a study folder; the folder comes back as an absolute path."""
    file = folder / DESCRIPTION
    if folder.is_file():
        raise StudyError(f"{folder}: is a file; name the study folder, which holds {DESCRIPTION}")
    if not folder.exists():
        raise StudyError(f"{folder}: no such study folder; check the path")
    try:
        content = read_bytes(file)
    except FileNotFoundError:
        raise StudyError(f"{folder}: holds no {DESCRIPTION}; name a study folder, or describe one") from None
    except OSError as error:
        raise StudyError(f"{file}: cannot be read ({error.strerror}); check the file") from error
    try:
        return folder.resolve(), toml_table(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise StudyError(f"{file}: line {line} is not UTF-8 text; save the file as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        reason = " ".join(str(error).split())
        raise StudyError(f"{file}: is not valid TOML: {reason}; correct it there") from error


# --- samples in a table ----------------------------------------------------------------------------------


def _with_rows(table: Mapping[str, Any], folder: Path) -> tuple[Mapping[str, Any], SampleRows]:
    """Put the rows of the table of samples behind the samples of the file."""
    name, own = table.get("samples_table"), table.get("samples", [])
    if not isinstance(name, str) or not name or not isinstance(own, list):
        return table, SampleRows()
    listed = read_sample_table(name, folder, sample_columns())
    return {**table, "samples": [*own, *listed.rows]}, listed


def _by_sample(problems: Sequence[Problem], table: Mapping[str, Any]) -> list[Problem]:
    """Put the lines of each sample together, where its first one stands."""
    rows = {row.number: k for k, row in enumerate(typed(table.get("samples"), list)) if isinstance(row, SampleRow)}
    first: dict[object, int] = {}
    keyed = []
    for i, (location, said) in enumerate(problems):
        match location:
            case ("samples", int(k), *_):
                of: object = k
            case ("samples_table", int(row), *_) if row in rows:
                of = rows[row]
            case _:
                of = (i, location)
        keyed.append((first.setdefault(of, i), (location, said)))
    return [problem for _, problem in sorted(keyed, key=lambda item: item[0])]


def sample_columns() -> dict[str, str]:
    """Columns that a table of samples may have, and what stands in them; keys within keys with a point."""
    kinds: dict[str, str] = {}
    for name, info in Sample.keys().items():
        if name == "measured":
            parts = {f".{key}": _kind(key_type.annotation) for key, key_type in MeasuredValue.keys().items()}
            kinds |= {f"measured.{of}{key.removesuffix('.value')}": parts[key] for of in MEASURABLE for key in parts}
        elif name == "fit":
            kinds |= {f"fit.{key}": _kind(key_type.annotation) for key, key_type in Choices.keys().items()}
        else:
            kinds[name] = _kind(info.annotation)
    return {name: kind for name, kind in kinds.items() if kind} | dict.fromkeys(STEP_COLUMNS, "number")


def _kind(annotation: object) -> str:
    """What a cell holds of a field; empty where it is nothing for a cell."""
    parts = set(_parts(annotation))
    if tuple in parts and Ellipsis in parts:
        return "list"
    if {dict, tuple} & parts:
        return ""
    return "flag" if bool in parts else "number" if float in parts else "text"


def _parts(annotation: object) -> Iterator[object]:
    yield get_origin(annotation) or annotation
    for part in get_args(annotation):
        yield from _parts(part)
