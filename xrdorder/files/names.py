"""Names that every file system takes."""

import re
import unicodedata

MAX_NAME_BYTES = 150
"""Bytes of a name; file systems allow 255, results and temporary files add their own endings to it."""

_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{k}" for port in ("com", "lpt") for k in range(1, 10))}
"""Device names that Windows refuses as file names, with any ending (Win32 naming rules; from memory)."""


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
