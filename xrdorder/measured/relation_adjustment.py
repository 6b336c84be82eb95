"""What a laboratory makes its own: an offset or slope of a published relation, as a file of relations."""

from __future__ import annotations

import json
import re
from pathlib import Path

from xrdorder.exceptions import StudyError
from xrdorder.files.atomic import write_atomically
from xrdorder.measured.agreement import Agreement, Line

HEAD = """\
# Relations of this laboratory, written by xrdorder measured.
# A study takes them with relations = "{name}" at the top of its study.toml; every result then names them.
"""


def adopted_name(agreement: Agreement, lot: str) -> str:
    """Name of the adjusted relation: that of the published one and of the lot.

    >>> from xrdorder.relations import relation
    >>> adopted_name(Agreement((relation("godeke-2006-boltzmann"),)), "Heron 7")
    'godeke-2006-boltzmann-heron-7'
    """
    word = re.sub(r"[^a-z0-9]+", "-", lot.casefold()).strip("-") or "own"
    return f"{agreement.route[0].name}-{word}"


def adjustment_text(agreement: Agreement, lot: str, title: str, wire: str = "any", *, slope: bool = False) -> str:
    """Write an adjustment as an entry of a file of relations.

    Parameters
    ----------
    agreement : Agreement
        With something to adopt.
    lot, title : str
        Wire lot and study it was found on.
    wire : str
        Kind of wire of the lot, for which alone it then holds.
    slope : bool
        Offset and slope instead of an offset alone.

    Raises
    ------
    StudyError
        There is nothing to adopt.
    """
    line = adoptable(agreement, slope=slope)
    output = agreement.route[0].output
    of = f"lot {lot}" if lot else "samples without lot"
    count = len(agreement.samples)
    source = f"measured values of {count} sample{'s' if count > 1 else ''} of {of}, study '{title}'"
    # Of a slope all digits count: offset and slope hang together, and the line is known far better than either.
    digits = 9 if slope else 6
    slope_lines = (
        f"slope = {line.slope:.9g}\nu_slope = {line.u_slope:.9g}\ncorrelation = {line.correlation:.9g}\n"
        if slope
        else ""
    )
    criteria = set(agreement.criteria)
    criterion = criteria.pop() if len(criteria) == 1 else ""
    return (
        "[[adjustment]]\n"
        f"of = {json.dumps(agreement.route[0].name)}\n"
        f"name = {json.dumps(adopted_name(agreement, lot))}\n"
        f"offset = {line.offset:.{digits}g}  # {output.unit}\n"
        f"u_offset = {line.u:.{digits if slope else 3}g}  # {output.unit}\n"
        f"{slope_lines}"
        f"wire = {json.dumps(wire)}\n"
        f"{f'criterion = {json.dumps(criterion)}' + chr(10) if criterion else ''}"
        f"source = {json.dumps(source, ensure_ascii=False)}\n"
        f"samples = {json.dumps(agreement.samples, ensure_ascii=False)}\n"
    )


def adoptable(agreement: Agreement, *, slope: bool = False) -> Line:
    """Give the line that may be adopted.

    Raises
    ------
    StudyError
        There is none; the message says why.
    """
    name, replaced = agreement.route[0].name, agreement.route[0].replaces
    if replaced:
        raise StudyError(
            f"relation '{name}': is adopted itself, and nothing is put on top of it; take '{replaced}' with "
            "--relation, and leave the old entry out of your file"
        )
    if agreement.reason:
        raise StudyError(f"relation '{name}': was not compared, {agreement.reason}; take another with --relation")
    if agreement.shifted is None:
        raise StudyError(
            f"relation '{name}': a sample lies outside its validity at its central value; take another with --relation"
        )
    if not slope:
        return agreement.shifted
    if agreement.tilted is None:
        count = len(agreement.samples)
        raise StudyError(
            f"relation '{name}': {count} measured samples are too few for a slope, or all predict the same; "
            "adopt an offset alone"
        )
    return agreement.tilted


def write_adjustments(entries: list[str], path: Path) -> None:
    """Write a file of relations with these adjustments; a file that is there is left alone.

    Raises
    ------
    StudyError
        There is such a file, or the disk refuses.
    """
    if path.exists():
        raise StudyError(f"{path}: is there already; name another file, and join the two by hand")
    if not path.parent.is_dir():
        raise StudyError(f"{path}: there is no folder {path.parent}; make it, or choose another place")
    text = "\n".join([HEAD.format(name=path.name), *entries])

    def write(temporary: Path) -> None:
        temporary.write_text(text, encoding="utf-8")

    write_atomically(path, write)
