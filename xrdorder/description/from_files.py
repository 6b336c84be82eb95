"""A study for patterns that came without one, so that every later command works on them too."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from xrdorder.description.phases_present import phase_argument
from xrdorder.description.study import DESCRIPTION, Study, study_of
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
    root = study.folder
    if root.is_file():
        raise StudyError(f"{root}: is a file; name a folder for the study")
    target = root / DESCRIPTION
    if target.exists() and not _written_here(target):
        raise StudyError(
            f"{target}: describes a study already and is not replaced; run that one, or name another folder"
        )
    text = study.to_toml()
    make_folder(root)
    write_text(target, f"{HEADING}\n{_EDIT}\n\n{text}")
    return root


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
