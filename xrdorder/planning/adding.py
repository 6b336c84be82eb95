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
from xrdorder.description.values import name_in
from xrdorder.exceptions import StudyError
from xrdorder.files.atomic import write_text
from xrdorder.files.names import safe_name
from xrdorder.planning.foretold import ADDED, suggested
from xrdorder.treatments import History, Schedule


class Added(NamedTuple):
    """What was written: file, treatment, sample, and the pattern it waits for."""

    file: Path
    treatment: str
    sample: str
    pattern: str


class Waiting(NamedTuple):
    """A sample of a suggestion that was added, whose pattern is not there yet."""

    sample: str
    schedule: History | None
    pattern: str

    @property
    def words(self) -> str:
        """Say it in a few words."""
        return f"{self.sample} has no pattern yet at {self.pattern}"


def waiting(study: Study, lot: str) -> tuple[Waiting, ...]:
    """Suggestions of a lot that were added to the study and whose patterns are not there."""
    mine = {sample.name: sample for sample in study.samples if sample.lot.name == lot}
    added = suggested({name: treatment.treatment for name, treatment in mine.items()}, study.treatments)
    return tuple(
        Waiting(name, mine[name].treatment, name_in(mine[name].pattern[0], study.folder))
        for name in added if mine[name].treatment and not all(file.is_file() for file in mine[name].pattern)
    )  # fmt: skip


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
        The same treatment was added before and waits for its pattern; the file is written in a way that nothing can
        be appended to, or cannot be written.
    """
    if same := [candidate for candidate in waiting(study, lot) if candidate.schedule == schedule]:
        raise StudyError(
            f"{schedule.short_name} was added before and waits: {same[0].words}; nothing was written. React it and run "
            "the study, or add another suggestion (--number 3 --add 2)"
        )
    file = study.folder / DESCRIPTION
    text = file.read_text(encoding="utf-8-sig")
    taken = {sample.name.casefold() for sample in study.samples}
    number = 1 + max((int(m[1]) for name in study.treatments if (m := re.fullmatch(rf"{ADDED}(\d+)", name))), default=0)
    steps = schedule.steps[-1]
    base = safe_name(f"{lot or 'wire'}-{getattr(steps, 'hold_c', 0):g}c-{getattr(steps, 'hours', 0):g}h")
    name = next(
        candidate
        for candidate in (base, *(f"{base}-{k}" for k in range(2, 1000)))
        if candidate.casefold() not in taken
    )
    alike = [sample for sample in study.samples if sample.lot.name == lot]
    suffix = alike[0].pattern[0].suffix if alike and alike[0].pattern else ".xy"
    folder = alike[0].pattern[0].parent if alike and alike[0].pattern else study.folder
    pattern = folder / f"{name}{suffix}"
    told = Path(name_in(pattern, study.folder)).as_posix()
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
