"""Whole studies: treatments to specimens to scans, with a study.toml that can be run at once.

    [specimen]      what all samples have in common, keys of a description
    [lots.<name>]   keys of a lot of study.toml
    [reaction]      how treatments act, see `Reaction`
    [[samples]]     name, lot, treatment ("205/60 + 650/100 h" or steps), wires, and keys of a description of its own

Treatments act by the published kinetics that the planner of heat treatments uses (`xrdorder.kinetics`), of the route of
the lot: conversion, mean temperature at which the layer formed, grain size. Conversion uses up niobium and takes tin
and order from those of the first layer to those of the full one; tin rises with the temperature of formation as Bc2
does. Levels and scatters are inventions of the description: it is a study to rehearse with, not a prediction. Dopants
are those of the lot.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from xrdorder.description.toml_text import as_toml
from xrdorder.exceptions import ValidityError, XrdorderError, did_you_mean
from xrdorder.files.atomic import make_folder, write_text
from xrdorder.files.names import is_safe_name
from xrdorder.kinetics import REFERENCE_C, Courses, conversion, formation_k, log_grain_size, route_of
from xrdorder.patterns import write_pattern
from xrdorder.profiles import Instrument
from xrdorder.profiles.instrument import write_instrument
from xrdorder.simulation.expected_pattern import expected_pattern
from xrdorder.simulation.scans import NOTICE, counted, truth_of, write_truth
from xrdorder.simulation.specimen_file import Described, described, read_table
from xrdorder.treatments import Schedule
from xrdorder.treatments.history import ZERO_CELSIUS_K
from xrdorder.treatments.short_form import schedule_of_holds
from xrdorder.treatments.steps import read_schedule

_RICHEST_AT_PERCENT = 25.4  # tin-rich end of the A15 field in measured samples (estimates.hyperparameters)
_MOST_SAMPLES = 500
_TOP = ("title", "specimen", "lots", "reaction", "samples")
_OF_SAMPLE = ("name", "lot", "treatment", "wires")


@dataclass(frozen=True)
class Reaction:
    """Levels and scatters of the wires of a rehearsal; all of them invented.

    Attributes
    ----------
    niobium_before, niobium_left : float
        Weight fraction of niobium without and after full reaction.
    tin_before_at_percent, tin_after_at_percent : float
        Mean tin of the first and of the full layer, formed at 650 °C.
    order_before, order_after : float
        Site order of both.
    scatter_tin_at_percent, scatter_order, scatter_size : float
        Standard deviations between wires of one treatment; the size as a fraction.
    """

    niobium_before: float = 0.45
    niobium_left: float = 0.03
    tin_before_at_percent: float = 22.5
    tin_after_at_percent: float = 24.3
    order_before: float = 0.86
    order_after: float = 0.95
    scatter_tin_at_percent: float = 0.10
    scatter_order: float = 0.005
    scatter_size: float = 0.03

    def specimen(self, base: Described, treatment: Schedule, route: str = "", seed: int | None = None) -> Described:
        """What the wire is like after a treatment, with its own scatter where there is a seed."""
        acted = act(treatment, route)
        draw = np.zeros(3) if seed is None else np.random.default_rng(seed).normal(size=3)
        tin = self.tin_before_at_percent + acted.conversion * (self.tin_after_at_percent - self.tin_before_at_percent)
        tin += acted.tin_by_formation_at_percent + self.scatter_tin_at_percent * draw[0]
        order = self.order_before + acted.conversion * (self.order_after - self.order_before)
        niobium = self.niobium_before + acted.conversion * (self.niobium_left - self.niobium_before)
        return replace(
            base,
            tin_at_percent=float(np.clip(tin, 18.0, _RICHEST_AT_PERCENT)),
            site_order=float(np.clip(order + self.scatter_order * draw[1], 0.0, 1.0)),
            domain_size_nm=acted.grain_nm * float(np.exp(self.scatter_size * draw[2])),
            weight_fractions={**base.weight_fractions, "nb": niobium},
        )


@dataclass(frozen=True)
class Acted:
    """What a treatment does to a wire.

    Attributes
    ----------
    conversion : float
        Share of the reaction that is done.
    grain_nm : float
    tin_by_formation_at_percent : float
        What the temperature of formation adds to the tin of a layer formed at 650 °C.
    """

    conversion: float
    grain_nm: float
    tin_by_formation_at_percent: float


def act(treatment: Schedule, route: str = "") -> Acted:
    """Let a treatment act by the published kinetics of a route; those of internal tin where none are known.

    >>> act(schedule_of_holds("650/100 h")).conversion > act(schedule_of_holds("625/20 h")).conversion
    True
    """
    chosen, _ = route_of(route)
    value = {name: np.array([parameter.value]) for name, parameter in chosen.parameters.items()}
    courses = Courses([treatment])
    reaction = courses, value["q_conversion"], value["tau_h"], value["exponent"]
    away_k = float(formation_k(*reaction)[0, 0]) - (REFERENCE_C + ZERO_CELSIUS_K)
    grain = log_grain_size(courses, np.log(value["d0_nm"]), value["e_grain"], value["m_grain"])
    return Acted(
        float(conversion(*reaction)[0, 0]),
        float(np.exp(grain[0, 0])),
        float(value["field_per_k"][0] / value["tin_per_field"][0]) * away_k,
    )


@dataclass(frozen=True)
class Piece:
    """A wire of a rehearsal.

    Attributes
    ----------
    name, lot : str
    treatment : Schedule
    told : object
        The treatment as it was written.
    specimen : Described
    """

    name: str
    lot: str
    treatment: Schedule
    told: Any
    specimen: Described


@dataclass(frozen=True)
class Rehearsal:
    """A study that was never measured.

    Attributes
    ----------
    title : str
    lots : mapping of str to mapping
    pieces : tuple of Piece
    """

    title: str
    lots: Mapping[str, Mapping[str, Any]]
    pieces: tuple[Piece, ...]


def is_study(path: Path) -> bool:
    """Tell whether a file describes a study, not a single specimen.

    Raises
    ------
    ValidityError
        It cannot be read.
    """
    return "samples" in read_table(path)


def read_rehearsal(path: Path, seed: int | None = 0) -> Rehearsal:
    """Read what is to be rehearsed; wires scatter by the seed.

    Raises
    ------
    ValidityError
        Something in the file cannot be; the message says where.
    """
    table = read_table(path)
    try:
        return _rehearsal(table, seed)
    except XrdorderError as error:
        raise ValidityError(f"{path}: {error}") from None


def _rehearsal(table: Mapping[str, Any], seed: int | None) -> Rehearsal:
    _known(table, _TOP, "")
    for key in ("specimen", "lots", "reaction"):
        if not isinstance(table.get(key, {}), Mapping):
            raise ValidityError(f"{key} = {table[key]!r}; give a table")
    for name, lot in table.get("lots", {}).items():
        if not isinstance(lot, Mapping):
            raise ValidityError(f"lots.{name} = {lot!r}; give a table [lots.{name}]")
    if not (isinstance(table["samples"], list) and all(isinstance(sample, Mapping) for sample in table["samples"])):
        raise ValidityError(f"samples = {table['samples']!r}; give a table [[samples]] for each treatment")
    base = described(table.get("specimen", {}))
    reaction = _reaction(table.get("reaction", {}))
    lots = {name: dict(lot) for name, lot in table.get("lots", {}).items()}
    pieces: list[Piece] = []
    for number, sample in enumerate(table["samples"], start=1):
        pieces += _pieces(sample, f"samples {number}", base, reaction, lots, seed)
    names = [piece.name for piece in pieces]
    for name in names:
        if names.count(name) > 1:
            raise ValidityError(f"samples: '{name}' is there twice; give each its own name")
    if len(pieces) > _MOST_SAMPLES:
        raise ValidityError(f"samples: {len(pieces)} wires; at most {_MOST_SAMPLES} are simulated at once")
    return Rehearsal(str(table.get("title", "Rehearsal")), lots, tuple(pieces))


def _reaction(table: Mapping[str, Any]) -> Reaction:
    _known(table, [field.name for field in fields(Reaction)], "reaction.")
    for name, value in table.items():
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value < 1e4:
            raise ValidityError(f"reaction.{name} = {value!r}; give a number, zero or more")
    return Reaction(**{name: float(value) for name, value in table.items()})


def _known(table: Mapping[str, Any], known: Any, where: str) -> None:
    for key in table:
        if key not in known:
            raise ValidityError(f"{where}{key}: unknown key; {did_you_mean(key, known)}")


def _pieces(
    sample: Mapping[str, Any], where: str, base: Described, reaction: Reaction,
    lots: Mapping[str, Mapping[str, Any]], seed: int | None,
) -> list[Piece]:  # fmt: skip
    name = sample.get("name", "")
    if not (isinstance(name, str) and is_safe_name(name)):
        raise ValidityError(f"{where}: name = {name!r}; give a name of its own, safe as a file name")
    lot = sample.get("lot", "")
    if lot and lot not in lots:
        raise ValidityError(f"{where}: lot '{lot}' is not described; add a table [lots.{lot}]")
    wires = sample.get("wires", 1)
    if isinstance(wires, bool) or not isinstance(wires, int) or not 1 <= wires <= 99:
        raise ValidityError(f"{where}: wires = {wires!r}; give a whole number from 1 to 99")
    if "treatment" not in sample:
        raise ValidityError(f"{where}: no treatment; give one, as treatment = '650/100 h'")
    treatment = _treatment(sample["treatment"], where)
    route = str(lots.get(lot, {}).get("route", ""))
    own = {key: value for key, value in sample.items() if key not in _OF_SAMPLE}
    if doped := lots.get(lot, {}).get("dopant_at_percent"):
        own.setdefault("dopants_at_percent", doped)
    pieces = []
    for k in range(wires):
        piece = f"{name}-{k + 1}" if wires > 1 else name
        its_own = None if seed is None else seed_of(piece, seed)
        try:
            specimen = described(own, reaction.specimen(base, treatment, route, its_own))
        except XrdorderError as error:
            raise ValidityError(f"{where}: {error}") from None
        pieces.append(Piece(piece, lot, treatment, sample["treatment"], specimen))
    return pieces


def _treatment(told: Any, where: str) -> Schedule:
    try:
        if isinstance(told, str):
            return schedule_of_holds(told)
        schedule, problems = read_schedule(told)
    except (ValueError, TypeError, AttributeError) as error:
        raise ValidityError(f"{where}: treatment: {error}") from None
    if schedule is None:
        raise ValidityError(f"{where}: treatment: {problems[0][1]}")
    return schedule


def seed_of(name: str, seed: int) -> int:
    """Seed of one wire, whatever the order of wires."""
    return zlib.crc32(f"{seed}/{name}".encode())


def write_rehearsal(
    study: Rehearsal,
    instrument: Instrument,
    folder: Path,
    *,
    seed: int | None = 0,
    ending: str = "xy",
    truth_format: str = "toml",
    progress: Callable[[int, int, str], object] = lambda done, total, name: None,
) -> Path:
    """Simulate a study: a folder with patterns, truths, instrument and study.toml.

    Returns
    -------
    Path
        The study.toml.

    Raises
    ------
    StudyError, PatternError, ValidityError
        The folder holds a study already, or something cannot be written or simulated.
    """
    make_folder(folder / "patterns")
    target = folder / "study.toml"
    if target.exists():
        raise ValidityError(f"{target}: is there already; name another folder")
    write_instrument(instrument, folder / "instrument.toml")
    for k, piece in enumerate(study.pieces):
        expected, _ = expected_pattern(piece.specimen, instrument)
        own = None if seed is None else seed_of(piece.name, seed + 1)
        path = folder / "patterns" / f"{piece.name}.{ending}"
        write_pattern(counted(expected, own), path)
        truth = {**truth_of(piece.specimen, instrument, own), "treatment": piece.treatment.short_name}
        write_truth(truth, path, truth_format)
        progress(k + 1, len(study.pieces), piece.name)
    write_text(target, _study_text(study, ending))
    return target


def _study_text(study: Rehearsal, ending: str) -> str:
    lines = [f"# {NOTICE}", f"title = {as_toml(study.title)}", "", "[instrument]", 'file = "instrument.toml"']
    for name, lot in study.lots.items():
        lines += ["", f"[lots.{as_toml(name)}]", *(f"{key} = {as_toml(value)}" for key, value in lot.items())]
    for piece in study.pieces:
        specimen = piece.specimen
        lines += [
            "",
            "[[samples]]",
            f"name = {as_toml(piece.name)}",
            f"pattern = {as_toml(f'patterns/{piece.name}.{ending}')}",
            *([f"lot = {as_toml(piece.lot)}"] if piece.lot else []),
            f"treatment = {as_toml(piece.told)}",
            f"mount = {as_toml(specimen.mount)}",
            f"temperature_c = {as_toml(specimen.temperature_c)}",
            *([f"specimen_length_mm = {as_toml(specimen.specimen_length_mm)}"] if specimen.specimen_length_mm else []),
        ]
    return "\n".join(lines) + "\n"
