"""A chosen proposal becomes part of the study: a treatment and its sample, appended to study.toml as text.

What stands in the file stays as it is, comments included. The new text is read as a whole before it is written.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from pathlib import Path
from typing import NamedTuple

from xrdorder.description.study import DESCRIPTION, Study, study_of
from xrdorder.description.toml_text import own_lines, steps_text
from xrdorder.exceptions import StudyError
from xrdorder.files.atomic import write_text
from xrdorder.files.names import safe_name
from xrdorder.planning.foretold import ADDED
from xrdorder.treatments import Schedule


class Added(NamedTuple):
    """What was written: file, treatment, sample, and the pattern it waits for."""

    file: Path
    treatment: str
    sample: str
    pattern: str


_OF_A_WIRE = ("name", "pattern", "treatment", "measured", "position_m", "date")


def add_treatment(study: Study, lot: str, schedule: Schedule, remark: str) -> Added:
    """Append a treatment and a sample of it to study.toml.

    Parameters
    ----------
    study : Study
    lot : str
    schedule : Schedule
    remark : str
        What was expected, for a comment; one line.

    Raises
    ------
    StudyError
        The file is written in a way that nothing can be appended to, or cannot be written.
    """
    file = study.folder / DESCRIPTION
    text = file.read_text(encoding="utf-8-sig")
    taken = {one.name.casefold() for one in study.samples}
    number = 1 + max((int(m[1]) for name in study.treatments if (m := re.fullmatch(rf"{ADDED}(\d+)", name))), default=0)
    steps = schedule.steps[-1]
    base = safe_name(f"{lot or 'wire'}-{getattr(steps, 'hold_c', 0):g}c-{getattr(steps, 'hours', 0):g}h")
    name = next(one for one in (base, *(f"{base}-{k}" for k in range(2, 1000))) if one.casefold() not in taken)
    alike = [one for one in study.samples if one.lot.name == lot]
    suffix = alike[0].pattern[0].suffix if alike and alike[0].pattern else ".xy"
    folder = alike[0].pattern[0].parent if alike and alike[0].pattern else study.folder
    pattern = folder / f"{name}{suffix}"
    told = pattern.relative_to(study.folder).as_posix() if pattern.is_relative_to(study.folder) else pattern.as_posix()
    lines = [
        "", f"# Suggested by xrdorder on {datetime.date.today().isoformat()}. {' '.join(remark.split())}",
        f"[treatments.{ADDED}{number}]", f"steps = {steps_text(schedule)}", "", "[[samples]]", f'name = "{name}"',
        f'pattern = "{told}"', f'treatment = "{ADDED}{number}"', *own_lines(alike, study, without=_OF_A_WIRE),
    ]  # fmt: skip
    new = text.rstrip("\n") + "\n" + "\n".join(lines) + "\n"
    try:
        study_of(tomllib.loads(new), study.folder)
    except (tomllib.TOMLDecodeError, StudyError) as error:
        reason = str(error).splitlines()[0]
        raise StudyError(f"{file}: nothing can be appended to it ({reason}); add the treatment by hand") from error
    write_text(file, new)
    return Added(file, f"{ADDED}{number}", name, told)
