"""How far it has got, and how long it will still take: on a terminal only."""

import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO

BURST_S = 0.1
"""Reports that follow each other faster than this at the start are samples that needed no fit."""


class Progress:
    """A line on the terminal that is written over as work proceeds; silent where there is no terminal.

    Use as a context manager, and call with (number done, number in all, what was just done).

    Parameters
    ----------
    work : str
        What is going on, as "fitting".
    stream : text stream, optional
        Standard error unless given.
    clock : callable
        Seconds.
    """

    def __init__(
        self, work: str, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._work, self._clock = work, clock
        self._stream = sys.stderr if stream is None else stream
        self._shown = self._stream.isatty()
        self._length = 0
        self._first: float | None = None
        self._last = 0.0
        self._settled = 0

    def __enter__(self) -> "Progress":
        self._write(f"{self._work} ...")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._write("")

    def __call__(self, done: int, total: int, name: str) -> None:
        """Show the state."""
        now = self._clock()
        if self._first is None:
            self._first = now
        if self._first == now or (self._settled == done - 1 and now - self._last < BURST_S):
            self._settled = done
        self._last = now
        text = f"{self._work}: {done} of {total}"
        counted = done - self._settled
        if done < total and counted > 0:
            # The clock starts with the first report: what was done until then tells nothing about the pace.
            text += f", about {duration((now - self._first) / counted * (total - done))} left"
        self._write(f"{text} ({name})")

    def _write(self, text: str) -> None:
        if not self._shown:
            return
        text = text if len(text) < 79 else f"{text[:75]}..."
        end = "\r" if not text else ""
        self._stream.write(f"\r{text.ljust(self._length)}{end}")
        self._stream.flush()
        self._length = len(text)


def duration(seconds: float) -> str:
    """Say a time as people do.

    >>> duration(8.2), duration(75.0), duration(7300.0)
    ('8 s', '1 min 15 s', '2 h 1 min')
    """
    whole = max(1, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s" if whole % 60 else f"{whole // 60} min"
    return f"{whole // 3600} h {whole % 3600 // 60} min"
