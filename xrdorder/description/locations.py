"""Where something stands in a study file, in words: samples by their names, all other lists counted from one."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from xrdorder.description.sample_table import Row


def place(location: Sequence[int | str], table: Mapping[str, Any]) -> str:
    """Write a location as a person looks for it.

    Parameters
    ----------
    location : sequence of int or str
        Keys, and numbers of list items counted from zero.
    table : mapping
        The whole file, which holds the names of the samples.

    Examples
    --------
    >>> file = {"samples": [{"name": "A-650"}, {}]}
    >>> place(("samples", 0, "treatment", 1, "hold_c"), file), place(("samples", 1, "name"), file)
    ("sample 'A-650', treatment no. 2, hold_c", 'sample no. 2, name')
    >>> place(("lots", "A b", "route"), file)
    'lots."A b".route'
    """
    text, parts = "", list(location)
    if len(parts) > 1 and parts[0] == "samples" and isinstance(parts[1], int):
        text, parts = sample_words(parts[1], table), parts[2:]
    if len(parts) > 2 and parts[0] == "calibrations" and parts[2] == "calibrate":
        del parts[2]  # see `xrdorder.description.calibration.as_instrument`
    after_item = bool(text)
    for part in parts:
        if isinstance(part, int):
            text += f" no. {part + 1}"
            after_item = True
        else:
            text += (", " if after_item else "." if text else "") + key_words(part)
            after_item = False
    return text


def key_words(key: str) -> str:
    """Write a key as it stands in the file."""
    return key if re.fullmatch(r"[\w-]+", key, re.ASCII) else f'"{key}"'


def counted_from_one(text: str) -> str:
    """Turn items written as Bc2_T[1].u into words.

    >>> counted_from_one("Bc2_T[1].u")
    'Bc2_T no. 2, u'
    """
    return re.sub(r"\[(\d+)\](\.?)", lambda m: f" no. {int(m[1]) + 1}{', ' if m[2] else ''}", text)


def sample_words(k: int, table: Mapping[str, Any]) -> str:
    """Name a sample; one without a name, or whose name another has as well, by its number; in a table by its row."""
    samples = table.get("samples")
    listed = samples if isinstance(samples, list) else []
    if k < len(listed) and isinstance(row := listed[k], Row):
        return f"{row.place} (sample '{_in_one_line(row['name'])}')" if "name" in row else row.place
    names = [item.get("name") if isinstance(item, dict) else None for item in listed]
    name = names[k] if k < len(names) else None
    if isinstance(name, str) and name.strip() and names.count(name) == 1:
        return f"sample '{_in_one_line(name)}'"
    return f"sample no. {k + 1}"


def _in_one_line(text: Any) -> str:
    """A cell whose quote is not closed goes on in the next lines; a message stays one line."""
    return " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())


def sample_number(k: int, table: Mapping[str, Any]) -> str:
    """Say which sample it is without its name."""
    row = table["samples"][k]
    return row.place if isinstance(row, Row) else f"sample no. {k + 1}"


def in_columns(where: str, rows: Mapping[str, Row]) -> str:
    """Say the column where something is wrong in a row of a table; other places stay as they are.

    Parameters
    ----------
    where : str
    rows : mapping of str to Row
        Rows by the words of `sample_words`.
    """
    for words, row in rows.items():
        if where.startswith(f"{words}, ") and not where.startswith(f"{words}, column "):
            return f"{words}, column {row.column(where.removeprefix(f'{words}, '))}"
    return where
