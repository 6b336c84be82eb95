"""Where something stands in a study file, in words: samples by their names, all other lists counted from one."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from xrdorder.description.sample_table import SampleRow


def place(location: Sequence[int | str], table: Mapping[str, Any] | None = None) -> str:
    """Write a location as a person looks for it.

    Parameters
    ----------
    location : sequence of int or str
        Keys, and numbers of list items counted from zero. ``("samples_table", row, column)`` is a place in the table
        of samples, with rows counted as a spreadsheet does.
    table : mapping, optional
        The whole file, which holds the names of the samples.

    Examples
    --------
    >>> file = {"samples": [{"name": "A-650"}, {}], "samples_table": "a.csv"}
    >>> place(("samples", 0, "treatment", 1, "hold_c"), file), place(("samples", 1, "name"), file)
    ("sample 'A-650', treatment no. 2, hold_c", 'sample no. 2, name')
    >>> place(("lots", "A b", "route"), file), place(("samples_table", 2, "lot"), file)
    ('lots."A b".route', 'a.csv, row 2, column lot')
    """
    table = table or {}
    match tuple(location):
        case ("samples_table", int(row), *column):
            return f"{table['samples_table']}, row {row}{f', column {column[0]}' if column else ''}"
        case ("samples", int(k), *within):
            sample = _sample(k, table)
            words = sample_words(k, table)
            if isinstance(sample, SampleRow):
                return f"{words}, column {sample.column(within)}" if within else words
            return _joined(words, within)
    return _joined("", location)


def _joined(text: str, parts: Sequence[int | str]) -> str:
    after_item = bool(text)
    for part in parts:
        if isinstance(part, int):
            text += f" no. {part + 1}"
        else:
            text += (", " if after_item else "." if text else "") + key_words(part)
        after_item = isinstance(part, int)
    return text


def key_words(key: str) -> str:
    """Write a key as it stands in the file."""
    return key if re.fullmatch(r"[\w-]+", key, re.ASCII) else f'"{key}"'


def sample_words(k: int, table: Mapping[str, Any]) -> str:
    """Name a sample; one without a name, or whose name another has as well, by its number; in a table by its row."""
    sample = _sample(k, table)
    name = sample.get("name") if isinstance(sample, dict) else None
    if isinstance(sample, SampleRow):
        return f"{sample.place} (sample '{_in_one_line(name)}')" if "name" in sample else sample.place
    names = [item.get("name") for item in table["samples"] if isinstance(item, dict)] if sample is not None else []
    if isinstance(name, str) and name.strip() and names.count(name) == 1:
        return f"sample '{_in_one_line(name)}'"
    return sample_number(k, table)


def sample_number(k: int, table: Mapping[str, Any]) -> str:
    """Say which sample it is without its name."""
    sample = _sample(k, table)
    return sample.place if isinstance(sample, SampleRow) else f"sample no. {k + 1}"


def _sample(k: int, table: Mapping[str, Any]) -> Any:
    samples = table.get("samples")
    return samples[k] if isinstance(samples, list) and k < len(samples) else None


def _in_one_line(text: Any) -> str:
    """A cell whose quote is not closed goes on in the next lines; a message stays one line."""
    return " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())
