"""What a study is: wires, heat treatments, patterns and how they were measured.

`read_study` turns the `study.toml` of a folder into a `Study`. The file is checked as a whole: everything
that is wrong with it is reported at once, every problem on a line of its own with its place and a remedy. The
keys of the file, their units and their limits stand in `xrdorder.description.reading`.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from xrdorder.description.measured_values import Measured
from xrdorder.exceptions import StudyError
from xrdorder.files import read_bytes, toml_table
from xrdorder.treatments import History

DESCRIPTION = "study.toml"


@dataclass(frozen=True)
class Lot:
    """A wire lot: what is common to all samples cut from it.

    Attributes
    ----------
    name : str
        Name of the lot; empty for samples that name none.
    route : str
        How the wire was made, in the words of the trade.
    dopants, u_dopants : mapping of str to float
        Dopant content of the A15 and its standard uncertainty where one was given, atomic fraction of all
        atoms.
    on_tin_site, u_on_tin_site : mapping of str to float, or None
        Share of each dopant on the tin site where it was measured, and its standard uncertainty; None takes
        the published shares.
    undoped : bool
        The wire is known to hold no dopant.
    lattice_by_dopant_nm, u_lattice_by_dopant_nm : mapping of str to float, or None
        Change of the lattice parameter by unit atomic fraction of a dopant where it was measured, nm.
    filament, barrier : str
        Metals of the filaments and of the diffusion barrier, by the symbols of their elements.
    a15_area_fraction, u_a15_area_fraction : float or None
        Share of A15 in the section without copper, and its standard uncertainty, for samples that give none.
    design : str
        Design of the wire, for its thermal pre-strain; empty where neither it nor the route says.
    """

    name: str = ""
    route: str = ""
    dopants: Mapping[str, float] = field(default_factory=dict)
    u_dopants: Mapping[str, float] = field(default_factory=dict)
    on_tin_site: Mapping[str, float] | None = None
    u_on_tin_site: Mapping[str, float] | None = None
    undoped: bool = False
    lattice_by_dopant_nm: Mapping[str, float] | None = None
    u_lattice_by_dopant_nm: Mapping[str, float] | None = None
    filament: str = ""
    barrier: str = ""
    a15_area_fraction: float | None = None
    u_a15_area_fraction: float | None = None
    design: str = ""


@dataclass(frozen=True)
class Reading:
    """How to read pattern files that do not say it themselves; None where nothing was told."""

    radiation: str | None = None
    axis: str | None = None
    axis_unit: str | None = None
    geometry: str | None = None
    counting_time_s: float | None = None
    diffractogram: str | None = None


@dataclass(frozen=True)
class Sample:
    """A reacted piece of wire and how its pattern was measured.

    Attributes
    ----------
    name : str
        Safe as a file name.
    patterns : tuple of Path
        One file, or several: repeated scans or ranges of one specimen. Absolute paths.
    lot : Lot
    mount : str
        How the specimen was mounted; empty when unknown.
    wire_axis_angle_deg : float or None
        Angle between wire axis and scattering vector.
    temperature_c, u_temperature_k : float or None
        Temperature of the specimen while it was measured, and its standard uncertainty.
    specimen_length_mm, divergence_deg : float or None
        Length of the specimen along the beam; divergence of the slit, None takes that of the instrument.
    internal_standard : str or None
        Certified powder mixed into the specimen.
    treatment : History or None
        What was set, or what was logged.
    treatment_log : Path or None
        The file it was logged in; absolute path.
    position_m : float or None
        Place along the spool.
    date : str
        Day of the measurement as in ISO 8601; empty when it was not told.
    calibration : str
        Which of the calibrations of the study; empty for its instrument.
    reading : Reading
    choices : mapping of str to value
        Choices of the fit, by the names of `xrdorder.fitting.FitOptions`; only what was told.
    strain, u_strain : float or None
        Strain of the A15 along the scattering vector, as a fraction, and its standard uncertainty.
    strain_gauge : str
        Phase whose lattice tells the strain; empty for none.
    strain_bound : bool
        Take the thermal mismatch as the bound of the strain.
    corrections_off : tuple of str
        Corrections that are switched off, of `xrdorder.material.CORRECTIONS`.
    measured : tuple of Measured
        What the laboratory measured itself. No fit and no estimate sees it.
    """

    name: str
    patterns: tuple[Path, ...]
    lot: Lot
    mount: str = ""
    wire_axis_angle_deg: float | None = None
    temperature_c: float | None = None
    u_temperature_k: float | None = None
    specimen_length_mm: float | None = None
    divergence_deg: float | None = None
    internal_standard: str | None = None
    treatment: History | None = None
    reading: Reading = Reading()
    choices: Mapping[str, Any] = field(default_factory=dict)
    strain: float | None = None
    u_strain: float | None = None
    strain_gauge: str = ""
    strain_bound: bool = False
    corrections_off: tuple[str, ...] = ()
    measured: tuple[Measured, ...] = ()
    treatment_log: Path | None = None
    position_m: float | None = None
    date: str = ""
    calibration: str = ""


DOSE_SOURCE = "200 to 400 kJ/mol are met in the growth of Nb3Sn layers (from memory; no published number was checked)"
"""Where the activation energy that is taken unless told otherwise comes from: as even odds, 300 ± 58."""


@dataclass(frozen=True)
class DoseReference:
    """With what activation energy and at what temperature thermal doses are given.

    Attributes
    ----------
    q_kj_per_mol, u_q_kj_per_mol : float
        Activation energy and its standard uncertainty.
    reference_c : float
        Temperature at which the hours of a dose are counted, °C.
    source : str
        Where the activation energy comes from.
    above_c : float or None
        Temperature at or above which the hours of treatments are counted, °C; None where nobody asks.
    """

    q_kj_per_mol: float = 300.0
    u_q_kj_per_mol: float = 58.0
    reference_c: float = 650.0
    source: str = DOSE_SOURCE
    above_c: float | None = None


@dataclass(frozen=True)
class CalibrationInput:
    """Pattern of a certified powder and what the fit of the instrument needs to know about it."""

    patterns: tuple[Path, ...]
    standard: str
    detector_distance_mm: float
    radiation: str | None = None
    divergence_deg: float | None = None
    specimen_length_mm: float | None = None
    monochromator_two_theta_deg: float | None = None
    geometry: str | None = None
    illuminated_length_mm: float | None = None
    polarisation_ratio: float | None = None
    mu_t: float | None = None
    mu_r: float | None = None
    focused: bool = False
    temperature_c: float = 22.5
    diffractogram: str | None = None
    standard_domain_size_nm: float | None = None
    standard_lattice_nm: tuple[float, ...] | None = None
    u_standard_lattice_nm: tuple[float, ...] | None = None


@dataclass(frozen=True)
class Study:
    """A study as described in its folder.

    Attributes
    ----------
    folder : Path
        Absolute path of the study folder.
    title : str
    instrument : Path or CalibrationInput, or None
        An instrument file, or the pattern from which the study calibrates itself; of samples that name no calibration.
    phases : tuple of str
        Catalogue names, or absolute paths of CIF and phase files; empty takes those of reacted wire.
    engine : str
        Name of the least-squares engine.
    samples : tuple of Sample
    tin_scale, relations : Path or None
        Files with the laboratory's own scale of tin and its own relations; absolute paths.
    dose : DoseReference
        How thermal doses are given.
    calibrations : mapping of str to Path or CalibrationInput
        Instruments that samples name.
    absent : tuple of (place, complaint)
        Pattern files that are not there, where the description was read to run it.
    """

    folder: Path
    title: str
    instrument: Path | CalibrationInput | None
    phases: tuple[str, ...]
    engine: str
    samples: tuple[Sample, ...]
    tin_scale: Path | None = None
    relations: Path | None = None
    dose: DoseReference = DoseReference()
    calibrations: Mapping[str, Path | CalibrationInput] = field(default_factory=dict)
    absent: tuple[tuple[str, str], ...] = ()

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
        from xrdorder.exceptions import did_you_mean

        hint = did_you_mean(name, [sample.name for sample in self.samples])
        raise StudyError(f"{self.folder / DESCRIPTION}: has no sample '{name}'; {hint}")


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
    from xrdorder.description.reading import check

    root, table = _load(Path(folder))
    file = root / DESCRIPTION
    checked, problems = check(table, root, to_run=to_run)
    if checked is None or problems:
        raise StudyError("\n".join(f"{file}: {place}: {complaint}" for place, complaint in problems))
    return checked


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
