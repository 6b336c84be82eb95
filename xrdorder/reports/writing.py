"""Write a report beside the results of a study."""

from __future__ import annotations

import io
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from xrdorder.drawing.layout import SCREEN, SIZES
from xrdorder.exceptions import StudyError, UnknownNameError, did_you_mean
from xrdorder.files import TableWriter
from xrdorder.files.atomic import make_folder, write_atomically
from xrdorder.quantities.tables import Table
from xrdorder.reports.gallery import NAMES, study_pictures
from xrdorder.reports.of_fits import ALONE, fit_pictures
from xrdorder.reports.of_fits import NAME as FIT
from xrdorder.reports.page import ANSWER, FIRST, page
from xrdorder.reports.pictures import FORMATS, Missing, Picture, Scene
from xrdorder.reports.summary import summary
from xrdorder.results.open_study import RESULTS, OpenStudy

FOLDER, PAGE, TABLE = "report", "report.html", "table.csv"
PARTS = ("page", "summary", "figures", "tables")


def write_report(
    opened: OpenStudy,
    only: Collection[str] = (),
    form: str = "svg",
    size: str = SCREEN.name,
    samples: Sequence[str] = (),
    progress: Callable[[int, int, str], None] | None = None,
    missed: Callable[[Missing], None] | None = None,
) -> list[Path]:
    """Write the page, the summary, the figures with their captions, and the table.

    Parameters
    ----------
    opened : OpenStudy
    only : collection of str
        Of `PARTS`, or names of figures; all of it where left out.
    form : str
        Of `FORMATS`: in which format figures are saved.
    size : str
        Of `SIZES`: how wide figures are that are saved; those of the page are for the screen.
    samples : sequence of str
        That figures of single samples show; what each says of itself unless given.
    progress : callable, optional
    missed : callable, optional
        Told of each figure that could not be made; the rest is written all the same.

    Returns
    -------
    list of Path
        What was written; each whole or not at all.

    Raises
    ------
    UnknownNameError
        There is no such part, figure, format or size.
    StudyError
        The description is no longer that of the results, there is
        no such sample, a result cannot be read, or the disk refuses.
    """
    _require_known(only, form, size)
    opened.require_as_run()
    _require_samples(opened, samples)
    scene = Scene.of(opened)
    files = _Files(opened.study.folder / RESULTS / FOLDER, form)
    parts = set(PARTS) & set(only) if only else set(PARTS)
    named = {*NAMES, FIT, ALONE} & set(only)
    shown: list[Picture | Missing] = []
    if parts & {"page", "summary"}:
        shown = list(study_pictures(scene, () if "page" in parts else FIRST))
        answer = list(study_pictures(scene, (ANSWER,)))
    if "page" in parts:
        text, missing = page(scene, [*answer, *shown], progress)
        files.lost |= {missing_file.name: missing_file for missing_file in missing}
        files.write(PAGE, text.encode("utf-8"))
    if "summary" in parts:
        for name, content in summary(scene, [*shown, *answer]):
            files.write(name, content) if isinstance(content, bytes) else files.miss(content)
    sized = replace(scene, size=SIZES[size], chosen=tuple(samples))
    if FIT in named or "figures" in parts or (samples and not only):
        files.save(fit_pictures(sized))
    if ALONE in named:
        files.save(fit_pictures(sized, alone=True))
    if "figures" in parts:
        at_hand = "page" in parts and size == SCREEN.name and not samples
        files.save(shown if at_hand else study_pictures(sized))
    files.save(study_pictures(sized, named - {FIT, ALONE}, told=True) if named - {FIT, ALONE} else ())
    if "tables" in parts:
        files.write(TABLE, _csv(scene.table))
    if missed is not None:
        for missing_file in files.lost.values():
            missed(missing_file)
    return files.written


def _require_known(only: Collection[str], form: str, size: str) -> None:
    if form not in FORMATS:
        raise UnknownNameError(f"format '{form}' is unknown; choose one of {', '.join(FORMATS)}")
    if size not in SIZES:
        raise UnknownNameError(f"size '{size}' is unknown; choose one of {', '.join(SIZES)}")
    known = (*PARTS, FIT, ALONE, *NAMES)
    for word in only:
        if word not in known:
            raise UnknownNameError(f"there is no part and no figure '{word}' of a report; {did_you_mean(word, known)}")


def _require_samples(opened: OpenStudy, samples: Sequence[str]) -> None:
    known = [str(sample) for sample in opened.results["sample"].values]
    for name in samples:
        if name not in known:
            raise StudyError(f"the study has no sample '{name}'; {did_you_mean(name, known)}")


@dataclass
class _Files:
    """What is written into a folder, and what could not be made."""

    folder: Path
    form: str
    written: list[Path] = field(default_factory=list)
    lost: dict[str, Missing] = field(default_factory=dict)

    def write(self, name: str, content: bytes) -> None:
        path = self.folder / name
        make_folder(path.parent)
        write_atomically(path, lambda part: part.write_bytes(content))
        self.written.append(path)

    def miss(self, missing: Missing) -> None:
        self.lost.setdefault(missing.name, missing)

    def save(self, pictures: Iterable[Picture | Missing]) -> None:
        """Write figures with their captions."""
        for picture in pictures:
            ready = picture if isinstance(picture, Missing) else picture.ready(self.form)
            if isinstance(ready, Missing):
                self.miss(ready)
                continue
            self.write(f"{ready.name}.{self.form}", ready.content(self.form))
            self.write(f"{ready.name}.txt", f"{ready.caption}\n".encode())


def _csv(table: Table) -> bytes:
    stream = io.StringIO(newline="")
    writer = TableWriter(stream)
    writer.writerow([heading.label for heading in table.head])
    writer.writerows(table.texts())
    return stream.getvalue().encode("utf-8")
