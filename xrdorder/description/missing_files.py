"""Pattern files that are not there: all at once, those of samples and of calibrations, before anything is fitted.

A sample without its file is a row with the reason, and its earlier result stays; a calibration without its file stops a
run. Both are found when the description is read.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from xrdorder.description.locations import place, sample_words
from xrdorder.description.study import CalibrationInput, Study
from xrdorder.exceptions import did_you_mean

Problem = tuple[str, str]

_HINTS = 20
"""Missing files that get a suggestion: to compare each of a thousand names with all files would take a minute."""


def absent_patterns(table: dict[str, Any], folder: Path) -> Iterator[Problem]:
    """Find pattern files that are not there.

    Parameters
    ----------
    table : dict
        What the TOML file holds, rows of a table of samples included.
    folder : Path
        Absolute path of the study folder.

    Yields
    ------
    place, complaint : str
    """
    beside: dict[Path, list[str]] = {}
    told = 0
    for where, name in _named(table):
        if not isinstance(name, str) or not name or (path := folder / name).is_file():
            continue
        told += 1
        if path.is_dir():
            yield where, f"'{name}' is a folder; name a pattern file in it"
            continue
        if path.exists():
            yield where, f"'{name}' is a pipe or device; name a regular file"
            continue
        hint = "correct the path"
        if told <= _HINTS:
            if path.parent not in beside:
                beside[path.parent] = [one.name for one in path.parent.iterdir()] if path.parent.is_dir() else []
            found = did_you_mean(path.name, beside[path.parent])
            hint = found if found.startswith("did you") else hint
        yield where, f"there is no file '{name}' in {folder}; {hint}"


def _named(table: dict[str, Any]) -> Iterator[tuple[str, object]]:
    """Places and names of all pattern files, calibrations first."""
    instruments: list[tuple[tuple[str, ...], object]] = [(("instrument",), table.get("instrument"))]
    if isinstance(named := table.get("calibrations"), dict):
        instruments += [(("calibrations", name), one) for name, one in named.items()]
    for location, one in instruments:
        calibrate = one.get("calibrate") if isinstance(one, dict) else None
        if isinstance(calibrate, dict):
            where = place((*location, "calibrate", "pattern"), table)
            yield from ((where, name) for name in _listed(calibrate.get("pattern")))
    samples = table.get("samples")
    for k, sample in enumerate(samples if isinstance(samples, list) else ()):
        if isinstance(sample, dict):
            where = f"{sample_words(k, table)}, pattern"
            yield from ((where, name) for name in _listed(sample.get("pattern")))


def _listed(given: object) -> list[object]:
    return given if isinstance(given, list) else [given]


def stops(study: Study) -> bool:
    """Whether a calibration that samples use lacks a file."""
    used = {sample.calibration for sample in study.samples}
    given = [study.calibrations[name] if name else study.instrument for name in used]
    return any(not path.is_file() for one in given if isinstance(one, CalibrationInput) for path in one.patterns)
