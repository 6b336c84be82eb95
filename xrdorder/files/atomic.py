"""Files that are either whole or not there: atomic writing, hashes, and one run at a time."""

import errno
import hashlib
import os
import re
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from xrdorder.exceptions import StudyError
from xrdorder.files import TableWriter, open_regular

PART = ".part"
_HELD = (errno.EAGAIN, errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK)
"""What systems say of a lock that another process holds."""

STALE_PART_S = 3600.0
"""Age after which a temporary file is a leftover of a killed run: no sample takes nearly that long."""


def write_atomically(path: Path, write: Callable[[Path], object]) -> None:
    """Write a file under a temporary name in the same folder, then rename it.

    Whoever opens `path`, at any moment, finds the old content or the new one, never half of either.

    Parameters
    ----------
    path : Path
        Where the file shall be; the folder must exist.
    write : callable
        Writes the content to the path it is given.

    Raises
    ------
    StudyError
        The disk refuses: full, read-only, no rights; or a folder stands there. The old file is untouched.
    """
    require_no_folder(path)
    temporary = path.with_name(f".{path.name}.{os.getpid()}{PART}")
    try:
        write(temporary)
        _flush(temporary)
        os.replace(temporary, path)
    except OSError as error:
        raise StudyError(
            f"{path}: cannot be written ({disk_reason(error)}); nothing stored before is lost: "
            "see to disk and rights, then run again"
        ) from error
    finally:
        _remove(temporary)


def write_table(path: Path, rows: Iterable[Iterable[object]]) -> None:
    """Write rows of CSV for spreadsheets (`xrdorder.files.TableWriter`), whole or not at all.

    Raises
    ------
    StudyError
        The disk refuses.
    """

    def write(temporary: Path) -> None:
        with temporary.open("w", newline="", encoding="utf-8") as file:
            TableWriter(file).writerows(rows)

    write_atomically(path, write)


def write_text(path: Path, text: str) -> None:
    """Write a text in UTF-8, likewise.

    Raises
    ------
    StudyError
        As `write_atomically`.
    """
    write_atomically(path, lambda temporary: temporary.write_text(text, encoding="utf-8"))


def disk_reason(error: OSError) -> str:
    """Say in a few words why a file operation failed; HDF5 buries the system's own words in a long report."""
    buried = re.search(r"errno = (\d+)", str(error))
    if reason := os.strerror(int(buried[1])) if buried else error.strerror:
        return reason
    return " ".join(str(error).split())[:200] or "unknown reason"


def _flush(path: Path) -> None:
    """Bring the content to the disk before the rename, so that a power cut cannot leave an empty file."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return  # what cannot be removed is swept away by a later run


def make_folder(folder: Path) -> None:
    """Make a folder with its parents.

    Raises
    ------
    StudyError
        The disk refuses.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as error:
        raise StudyError(f"{folder}: a file stands where a folder is meant; move it away, then run again") from error
    except OSError as error:
        raise StudyError(
            f"{folder}: cannot be made ({disk_reason(error)}); results need a folder that can be written"
        ) from error


def require_no_folder(path: Path) -> None:
    """Check that a folder does not stand where a file shall be written.

    Raises
    ------
    StudyError
        It does.
    """
    if path.is_dir():
        raise StudyError(f"{path}: is a folder where a file is meant; move it away, then run again")


def sweep(folder: Path) -> None:
    """Remove temporary files that a killed run left behind."""
    for leftover in folder.glob(f".*{PART}"):
        try:
            if time.time() - leftover.stat().st_mtime > STALE_PART_S:
                leftover.unlink()
        except OSError:
            continue


def file_hash(path: Path) -> str:
    """SHA-256 of the bytes of a file, in hexadecimal."""
    with open_regular(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def only_run(folder: Path) -> Iterator[None]:
    """Hold a study for one run; a second run at the same time is refused.

    The system releases the lock with the process, however it ends: a crash leaves nothing to clean up.

    Raises
    ------
    StudyError
        Another run holds the study, or the folder cannot be written.
    """
    path = folder / ".lock"
    try:
        lock = path.open("a+b")
    except OSError as error:
        raise StudyError(
            f"{folder}: cannot be written ({disk_reason(error)}); results need a folder that can be written"
        ) from error
    with lock:
        try:
            _lock(lock.fileno())
        except OSError as error:
            if error.errno in _HELD:
                raise StudyError(f"{folder}: another run is at work in this study; wait until it ends") from None
            raise StudyError(
                f"{folder}: cannot be held for one run ({disk_reason(error)}); keep the study on a disk that knows "
                "locks, as those of this machine do"
            ) from error
        yield


if sys.platform == "win32":  # pragma: no cover (the other system)
    import msvcrt

    def _lock(descriptor: int) -> None:
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
