"""Write a report beside the results of a study."""

from __future__ import annotations

import io
from collections.abc import Callable, Collection, Iterable, Sequence
from pathlib import Path

from xrdorder.exceptions import UnknownNameError, did_you_mean
from xrdorder.figures.layout import SCREEN, SIZES
from xrdorder.files import TableWriter
from xrdorder.files.atomic import make_folder, write_atomically
from xrdorder.reports.first_look import first_look
from xrdorder.reports.gallery import NAMES, study_pictures
from xrdorder.reports.of_fits import NAME as FIT
from xrdorder.reports.of_fits import fit_pictures
from xrdorder.reports.page import page
from xrdorder.reports.pictures import FORMATS, Missing, Picture, Scene
from xrdorder.results.open_study import RESULTS, OpenStudy
from xrdorder.results.study_table import study_table

FOLDER, PAGE, TABLE = "report", "report.html", "table.csv"
PARTS = ("page", "figures", "tables")


def write_report(
    opened: OpenStudy,
    only: Collection[str] = (),
    form: str = "svg",
    size: str = SCREEN.name,
    samples: Sequence[str] = (),
    progress: Callable[[int, int, str], None] | None = None,
    missed: Callable[[Missing], None] | None = None,
) -> list[Path]:
    """Write the page, the figures with their captions, and the table.

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
        Whose fits are drawn; one of the variant ahead unless given.
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
    if form not in FORMATS:
        raise UnknownNameError(f"format '{form}' is unknown; choose one of {', '.join(FORMATS)}")
    if size not in SIZES:
        raise UnknownNameError(f"size '{size}' is unknown; choose one of {', '.join(SIZES)}")
    known = (*PARTS, FIT, *NAMES)
    for word in only:
        if word not in known:
            raise UnknownNameError(f"there is no part and no figure '{word}' of a report; {did_you_mean(word, known)}")
    opened.require_as_run()
    folder = opened.study.folder / RESULTS / FOLDER
    look = first_look(opened.results, opened.library())
    written: list[Path] = []
    lost: dict[str, Missing] = {}

    def write(path: Path, content: bytes) -> None:
        make_folder(path.parent)
        write_atomically(path, lambda part: part.write_bytes(content))
        written.append(path)

    parts = set(PARTS) & set(only) if only else set(PARTS)
    named = set() if "figures" in parts else {*NAMES, FIT} & set(only)
    scene = Scene(opened, look, SIZES[size])
    shown = list(study_pictures(Scene(opened, look))) if "page" in parts else []
    if "page" in parts:
        text, missing = page(opened, look, shown, progress)
        lost |= {one.name: one for one in missing}
        write(folder / PAGE, text.encode("utf-8"))

    def save(pictures: Iterable[Picture | Missing]) -> None:
        for one in pictures:
            ready = one if isinstance(one, Missing) else one.ready(form)
            if isinstance(ready, Missing):
                lost.setdefault(ready.name, ready)
                continue
            write(folder / f"{ready.name}.{form}", ready.content(form))
            write(folder / f"{ready.name}.txt", f"{ready.caption}\n".encode())

    if FIT in named or "figures" in parts or samples:
        save(fit_pictures(scene, samples))
    if "figures" in parts or named - {FIT}:
        at_hand = shown and size == SCREEN.name and not named
        save(shown if at_hand else study_pictures(scene, named))
    if "tables" in parts:
        write(folder / TABLE, _csv(opened))
    if missed is not None:
        for one in lost.values():
            missed(one)
    return written


def _csv(opened: OpenStudy) -> bytes:
    stream = io.StringIO(newline="")
    writer = TableWriter(stream)
    table = study_table(opened.results)
    writer.writerow([one.label for one in table.head])
    writer.writerows(table.texts())
    return stream.getvalue().encode("utf-8")
