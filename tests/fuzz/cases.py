"""Try one case: a result or one line of complaint, within limits."""

import signal
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import numpy as np

from tests.fuzz.readers import Reader
from xrdorder.exceptions import XrdorderError

SECONDS = 40
"""Wall clock for one case, on a machine that others use too; a good one takes hundredths, a NeXus file may take 30."""


class TooLong(BaseException):
    """Raised in the middle of a reader; no `except Exception` takes it for its own."""


def content(reader: Reader, number: int) -> bytes:
    """Bytes of a case."""
    return reader.make(np.random.default_rng([number, sum(reader.name.encode())]))


def trouble(reader: Reader, data: bytes, folder: Path) -> str:
    """Say what is wrong with how a reader took a file, empty where nothing is."""
    path = folder / reader.file
    path.write_bytes(data)
    try:
        with _limit(), warnings.catch_warnings():
            warnings.simplefilter("ignore", category=RuntimeWarning)
            reader.read(path)
    except XrdorderError as error:
        return _of_message(str(error), reader.lines)
    except TooLong:
        return f"not read within {SECONDS} s"
    except Exception as error:
        return f"{type(error).__name__}: {str(error)[:200]}"
    return ""


def _of_message(text: str, lines: bool) -> str:
    try:
        text.encode()
    except UnicodeEncodeError:
        return f"a message that cannot be printed: {text[:200]!a}"
    told = text.splitlines()
    if not told or not all(line.strip() for line in told):
        return f"an empty line: {text[:200]!r}"
    if len(told) > 1 and not lines:
        return f"{len(told)} lines: {text[:200]!r}"
    return f"a line of {len(max(told, key=len))} characters" if max(map(len, told)) > 1500 else ""


@contextmanager
def _limit() -> Iterator[None]:
    """End what takes too long, where the system can."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def end(_number: int, _frame: FrameType | None) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, end)
    signal.alarm(SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
