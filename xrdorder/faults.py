"""What nobody foresaw: one line for a person, and the details in a log file.

Log files go where the system keeps the state of programs, never beside anybody's data: the folder `xrdorder` in
``$XDG_STATE_HOME``, in ``%LOCALAPPDATA%`` or in ``~/.local/state`` (``~/Library/Logs`` on a Mac); where nothing can be
written there, in the folder of temporary files. Each has a name of its own and is there whole or not at all.
"""

import os
import platform
import sys
import tempfile
import traceback
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from xrdorder.exceptions import XrdorderError

_LONGEST = 200  # characters of a message that still make one line


def cause(error: BaseException) -> str:
    """Say in a few words, on one line, what went wrong.

    >>> cause(KeyError("a")), cause(MemoryError()), cause(OSError(28, "No space left on device", "x.csv"))
    ("KeyError: 'a'", 'out of memory', 'x.csv: No space left on device')
    """
    if isinstance(error, MemoryError):
        return "out of memory"
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}" if error.filename else error.strerror
    text = " ".join(str(error).split())[:_LONGEST]
    if isinstance(error, XrdorderError):
        return text
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def recorded(error: BaseException) -> Path | None:
    """Write the details of an error to a log file of its own.

    None for an error raised on purpose, which has no more to tell than its message, and where no place takes the file.
    """
    if isinstance(error, XrdorderError):
        return None
    for folder in _folders():
        try:
            return _written(folder, _details(error))
        except OSError:
            continue
    return None


def _folders() -> Iterator[Path]:
    state = os.environ.get("XDG_STATE_HOME") or os.environ.get("LOCALAPPDATA")
    if state:
        yield Path(state) / "xrdorder"
    else:
        home = os.path.expanduser("~")
        yield Path(home, *(("Library", "Logs") if sys.platform == "darwin" else (".local", "state")), "xrdorder")
    yield Path(tempfile.gettempdir())


def _details(error: BaseException) -> str:
    from xrdorder import __version__

    head = (
        f"xrdorder {__version__}, Python {platform.python_version()}, {platform.platform()}",
        f"command: {_told(sys.argv)!r}",
        f"folder: {os.getcwd()!r}",
    )
    return "\n".join((*head, "", *traceback.format_exception(error)))


def _told(words: list[str]) -> list[str]:
    """Words of a command, but for the address of a cluster.

    >>> _told(["run", "study", "--cluster", "tcp://host:8786"]), _told(["run", "--cluster=tls://host"])
    (['run', 'study', '--cluster', '...'], ['run', '--cluster=...'])
    """
    after = ["", *words]
    return [
        "..." if before == "--cluster" else "--cluster=..." if word.startswith("--cluster=") else word
        for before, word in zip(after, words, strict=False)
    ]


def _written(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    prefix = f"xrdorder-fault-{datetime.now(UTC):%Y%m%d-%H%M%S}-"
    handle, part = tempfile.mkstemp(".log.part", prefix, folder)
    with os.fdopen(handle, "wb") as file:
        file.write(text.encode("utf-8", "backslashreplace"))
    whole = Path(part).with_suffix("")
    os.replace(part, whole)
    return whole
