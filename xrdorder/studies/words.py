"""Words for people: suggestions for names that do not exist, names that are safe as file names, verdicts in short."""

import difflib
import re
import unicodedata
from collections.abc import Iterable

MAX_NAME_BYTES = 150
"""Bytes of a name; file systems allow 255, results and temporary files add their own endings to it."""

_MOST_LISTED = 24
"""Known words in a message: what a screen has room for."""

_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{k}" for port in ("com", "lpt") for k in range(1, 10))}
"""Device names that Windows refuses as file names, with any ending (Win32 naming rules; from memory)."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Suggest the closest known word, or list those there are.

    >>> did_you_mean("hold", ["hold_c", "hours"])
    "did you mean 'hold_c'?"
    >>> did_you_mean("x", ["hold_c", "hours"])
    'known: hold_c, hours'
    >>> did_you_mean("x", (f"wire-{k}" for k in range(10, 99)))[-37:]
    'wire-31, wire-32, wire-33 and 65 more'
    """
    words = sorted(set(known))
    close = difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    if not close:  # letters apart, a difference of case or a forgotten half is the common slip
        close = [item for item in words if word and item.casefold().startswith(word.casefold())][:1]
    if close:
        return f"did you mean '{close[0]}'?"
    if not words:
        return "there are none"
    more = f" and {len(words) - _MOST_LISTED} more" if len(words) > _MOST_LISTED else ""
    return f"known: {', '.join(words[:_MOST_LISTED])}{more}"


def no_such_lot(lot: str, known: Iterable[str]) -> str:
    """Say that no sample is of a wire lot.

    >>> no_such_lot("Heron", ["heron", "heron", "curlew"])
    "no sample is of lot 'Heron'; did you mean 'heron'?"
    """
    return f"no sample is of lot '{lot}'; {did_you_mean(lot, known)}"


def safe_name(text: str) -> str:
    """Turn any text into a name that every file system takes.

    >>> safe_name("wire A 650 °C/100 h")
    'wire-A-650-C-100-h'
    """
    name = re.sub(r"[^\w.+=,@-]+", "-", unicodedata.normalize("NFC", text)).strip("-.")
    while len(name.encode()) > MAX_NAME_BYTES:
        name = name[:-1]
    name = name.rstrip("-.")
    if not name or not name[0].isalnum():
        name = f"sample{name}"
    return f"{name}-sample" if name.split(".")[0].casefold() in _RESERVED else name


def is_safe_name(text: str) -> bool:
    """Tell whether a text may stand as a file name as it is."""
    return safe_name(text) == text


CARE = "use with care"
UNFIT = "do not use"
"""Verdicts on a fit that begin with these words keep a sample out of comparisons."""

_TRUST = {"trustworthy": "yes", CARE: "care", UNFIT: "no"}


def trust(words: str) -> str:
    """Shorten a verdict.

    >>> trust("trustworthy"), trust("use with care: 2 foreign lines"), trust("do not use: chi squared is 40"), trust("")
    ('yes', 'care', 'no', '-')
    """
    return next((mark for start, mark in _TRUST.items() if words.startswith(start)), "-")
