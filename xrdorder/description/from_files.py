"""A study for patterns that came without one, so that every later command works on them too."""

import json
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from xrdorder.description.study import DESCRIPTION
from xrdorder.exceptions import StudyError
from xrdorder.files import read_bytes, shown
from xrdorder.files.atomic import make_folder, write_atomically
from xrdorder.files.names import safe_name

HEADING = "# Written by xrdorder for patterns fitted without a study of their own."
"""First line of such a file; a file that begins otherwise was written by a person and is never replaced."""

LOT = "lot"

_BARE = re.compile(r"[A-Za-z0-9_-]+")  # keys that TOML takes without quotes


@dataclass(frozen=True)
class ImplicitOptions:
    """What may be told about patterns that are fitted without a study; None or empty where nothing was.

    Attributes
    ----------
    phases : tuple of str
        Catalogue names, or paths of phase files as seen from the working directory.
    dopant_at_percent : mapping of str to float
        Dopant content of the A15 in at.%.
    u_dopant_at_percent : mapping of str to float
        Its standard uncertainty (k = 1) where it is known, at.%.
    undoped : bool
        The wires are known to hold no dopant.
    mount : str or None
    temperature_c, specimen_length_mm, divergence_deg : float or None
    internal_standard : str or None
        Certified powder mixed into the specimens.
    radiation, axis, axis_unit, diffractogram : str or None
        How to read files that do not say it.
    engine : str
    choices : mapping of str to value
        Choices of the fit, by the names of `xrdorder.fitting.FitOptions`.
    """

    phases: tuple[str, ...] = ()
    dopant_at_percent: Mapping[str, float] = field(default_factory=dict)
    u_dopant_at_percent: Mapping[str, float] = field(default_factory=dict)
    undoped: bool = False
    mount: str | None = None
    temperature_c: float | None = None
    specimen_length_mm: float | None = None
    divergence_deg: float | None = None
    internal_standard: str | None = None
    radiation: str | None = None
    axis: str | None = None
    axis_unit: str | None = None
    diffractogram: str | None = None
    engine: str = "own"
    choices: Mapping[str, object] = field(default_factory=dict)


def implicit_study(
    folder: str | Path,
    patterns: Sequence[str | Path],
    instrument: str | Path,
    options: ImplicitOptions | None = None,
) -> Path:
    """Write the `study.toml` of a study that fits these patterns, one sample each.

    Parameters
    ----------
    folder : str or Path
        The study folder; made when it is not there.
    patterns : sequence of str or Path
        Pattern files, as seen from the working directory. Samples are named after them.
    instrument : str or Path
        Instrument file.
    options : ImplicitOptions, optional

    Returns
    -------
    Path
        The study folder.

    Raises
    ------
    StudyError
        There are no patterns, the folder holds a study that somebody wrote, or it cannot be written.
    """
    options = options or ImplicitOptions()
    root = Path(folder)
    if not patterns:
        raise StudyError("no pattern was named; name at least one file")
    if root.is_file():
        raise StudyError(f"{root}: is a file; name a folder for the study")
    target = root / DESCRIPTION
    if target.exists() and not _written_here(target):
        raise StudyError(
            f"{target}: describes a study already and is not replaced; run that one, or name another folder"
        )
    make_folder(root)
    text = _text(root.resolve(), [Path(path) for path in patterns], Path(instrument), options)
    write_atomically(target, lambda path: _write(path, text))
    return root


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def _written_here(path: Path) -> bool:
    try:
        return read_bytes(path).startswith(f"{HEADING}\n".encode())
    except OSError:
        return False


def _text(root: Path, patterns: list[Path], instrument: Path, options: ImplicitOptions) -> str:
    lines = [HEADING, "# Edit freely, then remove the line above: a file without it is never replaced.", ""]
    if options.phases:
        lines.append(f"phases = {as_toml([_phase(name, root) for name in options.phases])}")
    lines += ["[instrument]", f"file = {as_toml(_relative(instrument, root))}", ""]
    lines += ["[fit]", f"engine = {as_toml(options.engine)}", ""]
    lines.append("[defaults]")
    for key in (
        "mount",
        "temperature_c",
        "specimen_length_mm",
        "divergence_deg",
        "internal_standard",
        "radiation",
        "axis",
        "axis_unit",
        "diffractogram",
    ):
        value = getattr(options, key)
        if value is not None:
            lines.append(f"{key} = {as_toml(value)}")
    if options.choices:
        lines.append(f"fit = {as_toml(options.choices)}")
    if options.dopant_at_percent:
        lines += ["", f"[lots.{LOT}]", f"dopant_at_percent = {as_toml(options.dopant_at_percent)}"]
        if options.u_dopant_at_percent:
            lines.append(f"u_dopant_at_percent = {as_toml(options.u_dopant_at_percent)}")
    elif options.undoped:
        lines += ["", f"[lots.{LOT}]", "undoped = true"]
    for name, path in zip(_names(patterns), patterns, strict=True):
        lines += [
            "",
            "[[samples]]",
            f"name = {as_toml(name)}",
            f"pattern = {as_toml(_relative(path, root))}",
        ]
        if options.dopant_at_percent or options.undoped:
            lines.append(f"lot = {as_toml(LOT)}")
    return "\n".join(lines) + "\n"


def _names(patterns: list[Path]) -> list[str]:
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


def _relative(path: Path, root: Path) -> str:
    """Give a path from the study folder, so that both can be moved together; absolute across drives."""
    absolute = path.absolute()
    try:
        return Path(os.path.relpath(absolute, root)).as_posix()
    except ValueError:
        return absolute.as_posix()


def _phase(name: str, root: Path) -> str:
    """Give the path of a phase file from the study folder; a catalogue name stays."""
    return _relative(Path(name), root) if Path(name).is_file() else name


def as_toml(value: object) -> str:
    """Write a plain value as TOML.

    Raises
    ------
    StudyError
        A text, the name of a file, is made of bytes that are no UTF-8.
    """
    if isinstance(value, str):
        if value != value.encode("utf-8", "replace").decode("utf-8"):
            raise StudyError(f"'{shown(value)}' is no UTF-8 and cannot stand in a study; rename the file")
        # JSON escapes what TOML wants escaped, but for DEL
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(as_toml(item) for item in value)}]"
    if isinstance(value, Mapping):
        pairs = (f"{key if _BARE.fullmatch(key) else as_toml(key)} = {as_toml(item)}" for key, item in value.items())
        return f"{{ {', '.join(pairs)} }}"
    return str(value).lower() if isinstance(value, bool) else repr(value)
