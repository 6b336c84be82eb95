"""A study as the text of a `study.toml`: every key of its models that says something."""

import json
import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from xrdorder.description.calibration import Calibration
from xrdorder.description.measured_values import MeasuredValue
from xrdorder.exceptions import StudyError
from xrdorder.files import shown
from xrdorder.files.checked_table import CheckedTable
from xrdorder.treatments import LoggedTreatment, Schedule

if TYPE_CHECKING:
    from xrdorder.description.sample import Sample
    from xrdorder.description.study import Study

_BARE = re.compile(r"[A-Za-z0-9_-]+")  # keys that TOML takes without quotes
_ELSEWHERE = ("instrument", "calibrations", "treatments", "samples_table", "samples")
"""Keys of a study that stand in the text in another way: treatments and rows of a table stand in their samples."""


def study_text(study: "Study") -> str:
    """Write a study.

    Raises
    ------
    StudyError
        The name of a file is made of bytes that are no UTF-8.
    """
    folder = study.folder
    told = {key: _plain(value, folder) for key, value in _said(study).items() if key not in _ELSEWHERE}
    lots = told.pop("lots", {})
    if study.phases:
        told["phases"] = [_relative(Path(name), folder) if os.path.isabs(name) else name for name in study.phases]
    tables = []
    if study.instrument is not None:
        inside = ".calibrate" * isinstance(study.instrument, Calibration)
        tables.append((f"[instrument{inside}]", _source(study.instrument, folder)))
    tables += [(f"[{key}]", value) for key, value in told.items() if isinstance(value, dict)]
    tables += [(f"[calibrations.{_key(name)}]", _source(of, folder)) for name, of in study.calibrations.items()]
    tables += [(f"[lots.{_key(name)}]", lot) for name, lot in lots.items()]
    tables += [("[[samples]]", _own(sample, study)) for sample in study.samples]
    lines = _lines({key: value for key, value in told.items() if not isinstance(value, dict)})
    for head, table in tables:
        lines += ["", head, *_lines(table)]
    return "\n".join(lines).lstrip("\n") + "\n"


def _source(given: Path | Calibration, folder: Path) -> dict[str, Any]:
    return dict(_plain(given, folder)) if isinstance(given, Calibration) else {"file": _plain(given, folder)}


def _own(sample: "Sample", study: "Study") -> dict[str, Any]:
    """What a sample says itself: not what stands in the defaults, and the lot by its name."""
    usual = study.defaults.model_dump()
    said = {key: value for key, value in _said(sample).items() if key == "fit" or value != usual.get(key, ...)}
    plain = {key: _plain(value, study.folder) for key, value in said.items()}
    choices = {key: value for key, value in sample.choices.items() if value != study.defaults.fit.given().get(key)}
    return plain | ({"lot": sample.lot.name} if sample.lot.name else {}) | {"fit": _plain(choices, study.folder)}


def own_lines(samples: Sequence["Sample"], study: "Study", without: Sequence[str] = ()) -> list[str]:
    """Lines of a sample that say what all of some samples say themselves, but for these keys."""
    every = [_own(sample, study) for sample in samples]
    first = every[0] if every else {}
    common = {key: value for key, value in first.items() if all(entry.get(key) == value for entry in every)}
    return _lines({key: value for key, value in common.items() if key not in without})


def steps_text(schedule: Schedule) -> str:
    """Steps of a treatment as TOML."""
    return as_toml(_plain(schedule.steps, Path()))


def _said(table: CheckedTable) -> dict[str, Any]:
    """Keys of a table that do not say what holds anyway."""
    return {key: value for key, info in table.keys().items() if (value := getattr(table, key)) != info.get_default()}


def _plain(value: object, folder: Path) -> Any:
    """Turn a value into what TOML can hold; paths start from the folder, so that both can be moved together."""
    match value:
        case Path():
            return _relative(value, folder)
        case (Path() as path,):
            return _relative(path, folder)
        case LoggedTreatment():
            return {"log": _plain(value.file, folder)}
        case Schedule(start_c=25.0):
            return _plain(value.steps, folder)
        case CheckedTable():
            return {key: _plain(inner, folder) for key, inner in _said(value).items()}
        case (MeasuredValue(), *_) if isinstance(value, tuple):
            return _by_quantity(value)
        case Mapping():
            return {key: _plain(inner, folder) for key, inner in value.items()}
        case list() | tuple():
            return [_plain(inner, folder) for inner in value]
    return value


def _by_quantity(values: Sequence[MeasuredValue]) -> dict[str, list[dict[str, Any]]]:
    tables: dict[str, list[dict[str, Any]]] = {}
    for value in values:
        tables.setdefault(value.quantity, []).append(_said(value))
    return tables


def _relative(path: Path, folder: Path) -> str:
    """Give a path from the study folder; absolute across drives."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return path.as_posix()


def _lines(table: Mapping[str, Any]) -> list[str]:
    return [f"{_key(key)} = {as_toml(value)}" for key, value in table.items() if value not in ({}, None)]


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else as_toml(key)


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
        return f"{{ {', '.join(f'{_key(key)} = {as_toml(item)}' for key, item in value.items())} }}"
    return str(value).lower() if isinstance(value, bool) else repr(value)
