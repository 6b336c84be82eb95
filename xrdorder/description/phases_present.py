"""What does not fit together in a study file: values that are good each for itself, but not beside each other.

Works on the raw content of the file, so that nothing hides behind a typo elsewhere.
"""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from xrdorder.crystals import Phase, phase
from xrdorder.crystals.a15 import dopant_site
from xrdorder.crystals.standards import standard
from xrdorder.description.locations import counted_from_one, key_words, place, sample_number, sample_words
from xrdorder.description.measured_values import table_problems
from xrdorder.description.treatments import Treatments
from xrdorder.exceptions import XrdorderError, did_you_mean
from xrdorder.files.names import is_safe_name, safe_name
from xrdorder.patterns.checks import AXIS_UNITS
from xrdorder.xrays.scattering import GEMMI_TABLE, MeasuredDispersion

Problem = tuple[str, str]
T = TypeVar("T")

METALS, METALS_TOGETHER = ("nb", "ta"), "nb-ta"
USUAL_PHASES = ("nb3sn", "nb", "cu-sn")
"""Names of the fit, repeated because checking a description must not load it (a test holds them equal)."""


def disagreements(table: dict[str, Any], folder: Path, treatments: Treatments) -> Iterator[Problem]:
    """Find contradictions between values, and treatments that cannot be.

    Parameters
    ----------
    table : dict
        What the TOML file holds.
    folder : Path
        Absolute path of the study folder.
    treatments : Treatments
        Reads the treatments of the samples.

    Yields
    ------
    place, complaint : str
    """
    yield from _instrument_problems("instrument", table.get("instrument"), folder)
    yield from _calibration_problems(table, folder)
    yield from _phase_problems(table.get("phases"), folder)
    for key in ("tin_scale", "relations"):
        if isinstance(file := table.get(key), str) and file and (said := _no_file(file, folder, "leave it out")):
            yield key, said
    dose = _typed(table.get("dose"), dict)
    if "q_kj_per_mol" in dose and "u_q_kj_per_mol" not in dose:
        yield "dose.u_q_kj_per_mol", "is missing; give the standard uncertainty (k = 1) of your own q_kj_per_mol, or 0"
    defaults, lots = _typed(table.get("defaults"), dict), _typed(table.get("lots"), dict)
    samples = [_typed(sample, dict) for sample in _typed(table.get("samples"), list)]
    asked = _phases(table.get("phases"), folder)
    present = [_Present.of(asked, {**defaults, **sample}, lots) for sample in samples]
    yield from _choice_problems("defaults.fit", defaults.get("fit"), _Present.of_all(asked, present))
    yield from _axis_problems("defaults", {}, defaults)
    for name, lot in lots.items():
        yield from _lot_problems(place(("lots", name), table), _typed(lot, dict))
    yield from treatments.problems
    yield from _name_problems(samples, table)
    for k, (sample, there) in enumerate(zip(samples, present, strict=True)):
        of = sample_words(k, table)
        yield from _choice_problems(f"{of}, fit", sample.get("fit"), there)
        yield from _axis_problems(of, defaults, sample)
        for within, complaint in table_problems(_typed(sample.get("measured"), dict)):
            yield f"{of}, measured.{counted_from_one(within)}", counted_from_one(complaint)
        for within, complaint in treatments.read(sample.get("treatment"))[1]:
            yield f"{of}, {within}", complaint
        lot = sample.get("lot")
        if isinstance(lot, str) and lot not in lots:
            hint = did_you_mean(lot, lots) if lots else f"add a table [lots.{lot}]"
            yield f"{of}, lot", f"no lot '{lot}' is described; {hint}"


@dataclass(frozen=True)
class _Present:
    """What choices of the fit may speak of; None where it is not known because something else is wrong."""

    phases: tuple[str, ...] | None
    standards: frozenset[str]
    elements: frozenset[str] | None

    @classmethod
    def of(cls, asked: Sequence[Phase] | None, sample: dict[str, Any], lots: dict[str, Any]) -> "_Present":
        """Phases asked for and of the internal standard; elements of them and of the dopants."""
        given = sample.get("internal_standard")
        mixed_in = []
        if isinstance(given, str):
            with suppress(XrdorderError):
                mixed_in.append(phase(standard(given).phase))
        standards = frozenset(one.name for one in mixed_in)
        if asked is None:
            return cls(None, standards, None)
        lot = sample.get("lot")
        dopants = _typed(_typed(lots.get(lot) if isinstance(lot, str) else None, dict).get("dopant_at_percent"), dict)
        found = [*asked, *mixed_in]
        elements = {element for one in found for site in one.sites for element in site.occupancy} | {*dopants}
        known = frozenset(elements) if all(one.sites for one in found) else None  # atoms not known: any may be there
        return cls(tuple(one.name for one in asked), standards, known)

    @classmethod
    def of_all(cls, asked: Sequence[Phase] | None, samples: Sequence["_Present"]) -> "_Present":
        """What any of the samples holds."""
        if asked is None or any(one.elements is None for one in samples):
            elements = None
        else:
            elements = frozenset().union(*(one.elements or () for one in samples))
        names = None if asked is None else tuple(one.name for one in asked)
        return cls(names, frozenset().union(*(one.standards for one in samples)), elements if samples else None)


def _name_problems(samples: Sequence[dict[str, Any]], table: dict[str, Any]) -> Iterator[Problem]:
    """Find names that two samples share; file systems of Windows and macOS do not tell capitals from small letters."""
    first: dict[str, int] = {}
    for k, sample in enumerate(samples):
        name = sample.get("name")
        if not isinstance(name, str):
            continue
        j = first.setdefault(name.casefold(), k)
        if j != k:
            other = samples[j]["name"]
            of = sample_number(j, table) + ("" if other == name else f" in other letters ({other})")
            yield (
                f"{sample_words(k, table)}, name",
                f"'{name}' is already the name of {of}; give every sample its own",
            )


def _axis_problems(where: str, defaults: dict[str, Any], own: dict[str, Any]) -> Iterator[Problem]:
    """Find a unit that does not go with the axis, which would stop every pattern that has it."""
    if not {"axis", "axis_unit"} & own.keys():
        return
    axis, unit = ({**defaults, **own}.get(key) for key in ("axis", "axis_unit"))
    axis = "two-theta" if axis is None else axis
    units = {one for units in AXIS_UNITS.values() for one in units}
    if isinstance(axis, str) and axis in AXIS_UNITS and unit in units and unit not in AXIS_UNITS[axis]:
        yield (
            f"{where}.axis_unit" if where == "defaults" else f"{where}, axis_unit",
            f"'{unit}' is no unit of {axis}; give {' or '.join(AXIS_UNITS[axis])}, or another axis",
        )


def _typed(value: object, kind: type[T]) -> T:
    """Give the value if it is of this kind, else an empty one: the models complain about the rest."""
    return value if isinstance(value, kind) else kind()


def _instrument_problems(where: str, table: object, folder: Path) -> Iterator[Problem]:
    if not isinstance(table, dict):
        return
    file = table.get("file")
    if ("file" in table) == ("calibrate" in table):
        has = "both a file and a calibration" if "file" in table else "neither a file nor a calibration"
        way = "a table [instrument.calibrate]" if where == "instrument" else "pattern, standard, detector_distance_mm"
        yield where, f'{has}; give either file = "instrument.toml" or {way}'
    elif isinstance(file, str) and (said := _no_file(file, folder, "calibrate one")):
        yield f"{where}.file", said


def _no_file(file: str, folder: Path, remedy: str) -> str:
    """Say why a file of that name cannot be read, empty where it can."""
    path = folder / file
    if path.is_file():
        return ""
    if path.exists():
        return f"'{file}' is a {'folder' if path.is_dir() else 'pipe or device'}; name a regular file"
    return f"there is no file '{file}' in {folder}; correct the path, or {remedy}"


def _calibration_problems(table: dict[str, Any], folder: Path) -> Iterator[Problem]:
    """Find calibrations that cannot be, and samples that name none where they must, or one that is not there."""
    named = _typed(table.get("calibrations"), dict)
    first: dict[str, str] = {}
    for name, one in named.items():
        where = place(("calibrations", name), table)
        if not is_safe_name(name):
            yield where, f"'{name}' is not safe as a file name; take '{safe_name(name)}'"
        if (other := first.setdefault(name.casefold(), name)) != name:
            yield where, f"differs from '{other}' in the case of letters only; give it another name"
        yield from _instrument_problems(where, one, folder)
    usual = _typed(table.get("defaults"), dict).get("calibration")
    samples = [_typed(sample, dict) for sample in _typed(table.get("samples"), list)]
    told = [("defaults.calibration", usual)]
    told += [(f"{sample_words(k, table)}, calibration", one.get("calibration")) for k, one in enumerate(samples)]
    for where, name in told:
        if isinstance(name, str) and name not in named:
            hint = did_you_mean(name, named) if named else f"add a table [calibrations.{key_words(name)}]"
            yield where, f"no calibration '{name}' is described; {hint}"
    if "instrument" in table or usual is not None:
        return
    if not named:
        if not any("calibration" in one for one in samples):
            yield "instrument", "is missing; give the table [instrument] with a file, or [instrument.calibrate]"
        return
    none = [k for k, one in enumerate(samples) if "calibration" not in one]
    if none:
        more = f" (and of {len(none) - 1} more)" if len(none) > 1 else ""
        yield (
            f"{sample_words(none[0], table)}{more}, calibration",
            f"is missing; name one of {', '.join(named)} here or in [defaults], or give a table [instrument]",
        )


def _phase_problems(phases: object, folder: Path) -> Iterator[Problem]:
    seen: dict[str, int] = {}
    for k, name in enumerate(_typed(phases, list)):
        if not isinstance(name, str):
            continue
        where = f"phases no. {k + 1}"
        try:
            found = phase(phase_argument(name, folder))
        except XrdorderError as error:
            yield where, str(error)
            continue
        if seen.setdefault(found.name, k) != k:
            yield where, f"'{found.name}' is already phases no. {seen[found.name] + 1}; name every phase once"


def phase_argument(name: str, folder: Path) -> str:
    """Give a path (it has an ending or a separator) from the study folder; a catalogue name as it is."""
    if name.lower().endswith((".cif", ".toml")) or "/" in name or "\\" in name:
        return str(folder / name)
    return name


def _phases(given: object, folder: Path) -> list[Phase] | None:
    """Phases that are looked for; None where one of them is not known."""
    try:
        return [phase(phase_argument(name, folder)) for name in _typed(given, list) or USUAL_PHASES]
    except (XrdorderError, TypeError, AttributeError):
        return None


def _lot_problems(where: str, lot: dict[str, Any]) -> Iterator[Problem]:
    dopants = _typed(lot.get("dopant_at_percent"), dict)
    for element in dopants:
        try:
            dopant_site(element)
        except XrdorderError as error:
            yield f"{where}.dopant_at_percent.{element}", str(error)
    if lot.get("undoped") is True and dopants:
        names = ", ".join(map(str, dopants))
        yield (
            f"{where}.undoped",
            f"true says that the wire holds no dopant, but dopant_at_percent names {names}; remove one of the two",
        )
    if ("a15_area_fraction" in lot) != ("u_a15_area_fraction" in lot):
        key, what = (
            ("u_a15_area_fraction", "the standard uncertainty (k = 1) of a15_area_fraction")
            if "a15_area_fraction" in lot
            else ("a15_area_fraction", "the share that the uncertainty belongs to")
        )
        yield f"{where}.{key}", f"is missing; give {what}"
    for key in (
        "u_dopant_at_percent",
        "on_tin_site",
        "u_on_tin_site",
        "lattice_pm_per_at_percent",
        "u_lattice_pm_per_at_percent",
    ):
        for element in _typed(lot.get(key), dict):
            if element not in dopants:
                yield (
                    f"{where}.{key}.{element}",
                    f"dopant_at_percent has no {element}; give its content there, or remove this",
                )


def _choice_problems(where: str, choices: object, present: _Present) -> Iterator[Problem]:
    """Find choices of the fit about phases and elements that lead nowhere, which the fit would pass over in silence."""
    choices = _typed(choices, dict)
    for name in _typed(choices.get("texture_axes"), dict):
        if complaint := _axis_complaint(name, present):
            yield f"{where}.texture_axes.{key_words(name)}", complaint
    for element, numbers in _typed(choices.get("measured_dispersion"), dict).items():
        at = f"{where}.measured_dispersion.{key_words(element)}"
        try:
            MeasuredDispersion(GEMMI_TABLE, {element: tuple(numbers)})
        except XrdorderError as error:
            yield at, str(error)
            continue
        except (TypeError, ValueError):
            continue  # no two numbers: the models complain
        if present.elements is not None and element not in present.elements:
            yield (
                at,
                f"no atom of {element} is in the phases looked for ({', '.join(present.phases or ())}) or among the "
                "dopants; add the phase that holds it, or remove this",
            )


def _axis_complaint(name: str, present: _Present) -> str:
    """Say why no phase fitted could have this texture; empty where one can, or where that is not known."""
    asked = present.phases
    if asked is None:
        return ""
    both = set(METALS) <= set(asked)
    if name in METALS and both:
        return f"niobium and tantalum are fitted together; name '{METALS_TOGETHER}' instead"
    if name in (*asked, *present.standards) or (name == METALS_TOGETHER and both):
        return ""
    if name == METALS_TOGETHER:
        return "niobium and tantalum are not both asked for; name the one that is, or add the other to the phases"
    try:
        phase(name)
    except XrdorderError as error:
        return str(error)
    return f"is not among the phases looked for ({', '.join(asked)}); add it to the phases, or remove this axis"
