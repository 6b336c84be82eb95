"""Open regular files of sensible size, and nothing else.

A named pipe waits for ever, a device may have no end, and a wrong name may lead to either. What a file is must be asked
of the opened file: between a question to its name and the opening it may have become another.
"""

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path

MOST_BYTES = 64 * 2**20
"""Descriptions, tables and logs are far smaller: a year of a furnace, each second, is 1 GB, each minute 16 MB."""

_NO_WAIT = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


def read_bytes(path: str | Path, most: int = MOST_BYTES) -> bytes:
    """Read a regular file whole.

    Parameters
    ----------
    path : str or Path
        The file.
    most : int
        Bytes beyond which it is refused.

    Raises
    ------
    OSError
        It is missing, may not be read, is no regular file, or larger than `most`; `strerror` says which.
    """
    with open_regular(path) as file:
        if os.fstat(file.fileno()).st_size <= most:
            data = file.read(most + 1)  # system files tell no size, or a wrong one
            if len(data) <= most:
                return data
    raise OSError(errno.EFBIG, f"larger than {most // 2**20} MB", str(path))


def open_regular(path: str | Path) -> BufferedReader:
    """Open a regular file for reading.

    Raises
    ------
    OSError
        It is missing, may not be read, or is no regular file; `strerror` says which.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY | _NO_WAIT)
    except ValueError as error:  # a zero byte in the name
        raise OSError(errno.EINVAL, str(error), str(path)) from None
    try:
        _check(os.fstat(descriptor), path)
    except OSError:
        os.close(descriptor)
        raise
    return open(descriptor, "rb")


def read_text(path: str | Path, most: int = MOST_BYTES) -> str:
    """Read a regular file of text in UTF-8, with or without byte-order mark; lines end in a line feed.

    Raises
    ------
    OSError
        As `read_bytes`.
    UnicodeDecodeError
        It is no UTF-8.
    """
    return read_bytes(path, most).decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")


def _check(status: os.stat_result, path: str | Path) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise IsADirectoryError(errno.EISDIR, "a folder, not a file", str(path))
    if not stat.S_ISREG(status.st_mode):
        raise OSError(errno.EINVAL, "not a regular file but a pipe or device", str(path))


def shown(path: str | Path) -> str:
    r"""Give a path as text that can be printed and stored in one line, whatever bytes the name is made of.

    >>> shown("wire\n\udce4.xy")
    'wire??.xy'
    """
    text = str(path).encode("utf-8", "replace").decode("utf-8")
    return "".join(c if c.isprintable() else "?" for c in text)
