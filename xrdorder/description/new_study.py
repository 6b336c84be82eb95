"""Studies that did not exist before.

One for patterns that came without a study, so that every later command works on them too; and one to begin with: a
`study.toml` that is valid as it stands and says what else it may hold.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from xrdorder.description.phases_present import phase_argument
from xrdorder.description.study import DESCRIPTION, Study, study_of
from xrdorder.description.toml_text import as_toml
from xrdorder.exceptions import StudyError
from xrdorder.files import read_bytes
from xrdorder.files.atomic import make_folder, write_text
from xrdorder.files.names import safe_name

HEADING = "# Written by xrdorder for patterns fitted without a study of their own."
"""First line of such a file; a file that begins otherwise was written by a person and is never replaced."""

_EDIT = "# Edit freely, then remove the line above: a file without it is never replaced."

LOT = "lot"
"""Name of the wire lot from which all samples of such a study are."""


def study_from_files(
    folder: str | Path,
    patterns: Sequence[str | Path],
    instrument: str | Path,
    *,
    phases: Sequence[str] = (),
    engine: str = "own",
    lot: Mapping[str, Any] | None = None,
    defaults: Mapping[str, Any] | None = None,
) -> Study:
    """Describe patterns, one sample each.

    Parameters
    ----------
    folder : str or Path
        The study folder to be.
    patterns : sequence of str or Path
        Pattern files, as seen from the working directory. Samples are named after them.
    instrument : str or Path
        Instrument file.
    phases : sequence of str
        Catalogue names, or paths of phase files as seen from the working directory.
    engine : str
    lot : mapping, optional
        Keys of `xrdorder.description.lots.Lot` that hold for all samples.
    defaults : mapping, optional
        Keys of `xrdorder.description.measurement.Measurement` that hold for all samples.

    Raises
    ------
    Refused
        What was told cannot be; the location of what is wrong with a lot begins with ``lots``, `LOT`.
    StudyError
        There are no patterns.
    """
    if not patterns:
        raise StudyError("no pattern was named; name at least one file")
    of_lot = {"lot": LOT} if lot else {}
    paths = [Path(path).absolute() for path in patterns]
    table = {
        "phases": [phase_argument(name, Path.cwd()) for name in phases],
        "instrument": {"file": Path(instrument).absolute()},
        "fit": {"engine": engine},
        "defaults": dict(defaults or {}),
        "lots": {LOT: dict(lot)} if lot else {},
        "samples": [
            {"name": name, "pattern": [path], **of_lot} for name, path in zip(_names(paths), paths, strict=True)
        ],
    }
    return study_of(table, Path(folder).resolve())


def write_study(study: Study) -> Path:
    """Write the `study.toml` of a study from files.

    Returns
    -------
    Path
        The study folder, made when it is not there.

    Raises
    ------
    StudyError
        The folder holds a study that somebody wrote, or it cannot be written.
    """
    target = _description(study.folder, "run that one")
    text = study.to_toml()
    make_folder(study.folder)
    write_text(target, f"{HEADING}\n{_EDIT}\n\n{text}")
    return study.folder


def _description(root: Path, instead: str, *, renewed: bool = True) -> Path:
    """Path of the description to be written; one that a person wrote is not replaced."""
    target = root / DESCRIPTION
    if root.is_file():
        raise StudyError(f"{root}: is a file; name a folder for the study")
    if target.exists() and not (renewed and _written_here(target)):
        raise StudyError(f"{target}: describes a study already and is not replaced; {instead}, or name another folder")
    return target


def _written_here(path: Path) -> bool:
    try:
        return read_bytes(path).startswith(f"{HEADING}\n".encode())
    except OSError:
        return False


def _names(patterns: Sequence[Path]) -> list[str]:
    """Name samples after their files; equal names get a number."""
    names: list[str] = []
    taken: set[str] = set()
    for path in patterns:
        stem = safe_name(path.stem)
        name, k = stem, 1
        while name.casefold() in taken:
            k += 1
            name = f"{stem}-{k}"
        taken.add(name.casefold())
        names.append(name)
    return names


PATTERNS = "patterns"

_TEXT = """\
# A study of xrdorder, to begin with: names and numbers below are examples, none of them is yours yet.
# Put patterns into the folder patterns, change what is yours, take away the # before what you need; then: xrdorder run.
# Paths start at the folder of this file. Keys: docs/reference/study-toml.md; what is wrong is said all at once.
title = {title}
# phases = ["nb3sn", "nb", "cu-sn"]     # looked for unless you say otherwise
# samples_table = "samples.csv"         # samples as rows of a CSV table, beside [[samples]] or in their place

# The diffractometer, by a certified powder measured on it. Where xrdorder calibrate was run already, put in place of
# this table:  [instrument]  and  file = "instrument.toml".  Several calibrations: [calibrations.<name>].
[instrument.calibrate]
pattern = "patterns/lab6.xy"
standard = "srm-660c"                   # as on the bottle
radiation = "cu-ka"
detector_distance_mm = 217.5            # from specimen to detector: the goniometer radius
# divergence_deg = 0.5
# specimen_length_mm = 20.0             # along the beam
# monochromator_two_theta_deg = 26.6    # of a crystal in the beam, where there is one
# temperature_c = 22.5

# What all samples have in common; a sample may say otherwise.
[defaults]
# mount = "ground-powder"               # or polished-section, wires-laid-flat, whole-filaments, transmission
# temperature_c = 22.5                  # while it was measured
# u_temperature_k = 0.5
# specimen_length_mm = 20.0
# divergence_deg = 0.5

# How thermal doses are given; this is what is taken unless you say otherwise.
[dose]
# reference_c = 650

# A wire lot. Say what it is doped with, or that it is not: tin and order depend on it.
[lots.A]
# route = "internal-tin"                # or bronze, powder-in-tube, jelly-roll, in-situ
# undoped = true                        # or the two lines below
# dopant_at_percent = {{ Ta = 2.4 }}      # of all atoms of the A15
# u_dopant_at_percent = {{ Ta = 0.2 }}

# A heat treatment that several samples had; a log of the furnace does as well: log = "furnace.csv".
[treatments.long]
steps = [
    {{ ramp_k_per_h = 25, hold_c = 210, hours = 48 }},
    {{ ramp_k_per_h = 50, hold_c = 650, hours = 100 }},
]

[[samples]]
name = "A-long"
pattern = "patterns/A-long.xy"          # or a list of scans of one specimen
lot = "A"
treatment = "long"
# position_m = 12.5                     # along the spool
# date = 2026-03-14                     # of the measurement

[[samples]]
name = "A-680-50"
pattern = "patterns/A-680-50.xy"
lot = "A"
treatment = [{{ ramp_k_per_h = 50, hold_c = 680, hours = 50 }}]
"""


def new_study(folder: str | Path, title: str = "") -> Path:
    """Write a study to begin with.

    Parameters
    ----------
    folder : str or Path
        The study folder, made where it is not there; it may hold patterns already.
    title : str
        Title of the study; the name of the folder unless given.

    Returns
    -------
    Path
        The description that was written.

    Raises
    ------
    StudyError
        The folder holds a study already, is a file, or cannot be written.
    """
    root = Path(folder)
    target = _description(root, "edit it", renewed=False)
    make_folder(root / PATTERNS)
    write_text(target, _TEXT.format(title=as_toml(title or root.resolve().name)))
    return target
