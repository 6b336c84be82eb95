"""How long the frames of a furnace run take, and how much memory, as the run gets longer.

Run from the checkout: ``nice python -m tests.benchmarks.furnace_run [FRAMES ...]`` (1000 and 10 000 unless told), which
takes minutes; the first length is done by one process as well. Nothing here is asserted. Frames are made on the fly,
a block at a time, by the generator of `tests.series.furnace`, so that memory is that of the run; they are invented.
"""

import contextlib
import os
import resource
import sys
import tempfile
import threading
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # as the command does

import numpy as np

from tests.series.furnace import WrittenRun, write_calibration, write_log
from xrdorder.series import run_series

FRAMES = (1000, 10_000)
WORKERS = 2
_EACH_S = 0.2


class Watched:
    """Memory (proportional set size) and processor time of this process and all it has started, while within."""

    def __init__(self) -> None:
        self.largest_mib = self.processor_s = self.seconds = self._watching_s = 0.0
        self._end = threading.Event()

    def __enter__(self) -> "Watched":
        self._start, self._used = time.perf_counter(), _processor_s()
        self._thread = threading.Thread(target=self._watch)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()
        self.seconds = time.perf_counter() - self._start
        self.processor_s = _processor_s() - self._used - self._watching_s

    def _watch(self) -> None:
        me = Path("/proc/self").resolve()
        while not self._end.wait(_EACH_S):
            memory = 0.0
            for process in (me, *_children(me)):
                with contextlib.suppress(OSError, StopIteration):
                    rollup = (process / "smaps_rollup").read_text().splitlines()
                    memory += int(next(line for line in rollup if line.startswith("Pss:")).split()[1]) / 1024
            self.largest_mib = max(self.largest_mib, memory)
        self._watching_s = time.thread_time()


def _processor_s() -> float:
    """Processor time of this process and of those that it has started and that have ended."""
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in used)


def _children(process: Path) -> list[Path]:
    """Processes that a process has started, and theirs."""
    found: list[Path] = []
    for task in (process / "task").iterdir():
        with contextlib.suppress(OSError):
            for number in (task / "children").read_text().split():
                child = Path("/proc") / number
                found += [child, *_children(child)]
    return found


def main(lengths: tuple[int, ...]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_calibration(folder / "instrument.toml")
        for frames in lengths:
            truth = WrittenRun(folder / f"stack{frames}.nxs", frames, step_k=10.0)
            write_log(truth, folder / "log.csv")
            for workers in (1, WORKERS) if frames == lengths[0] else (WORKERS,):
                with Watched() as watched:
                    run = run_series(
                        truth.path, folder / "instrument.toml", folder / "log.csv", folder / f"out{frames}-{workers}",
                        workers=workers,
                    )  # fmt: skip
                warm = run.table["warm"].values == 1
                evaluations = run.table["evaluations"].values
                print(
                    f"{frames} frames, {workers} process(es): {watched.seconds:.0f} s, "
                    f"{1e3 * watched.processor_s / frames:.1f} ms of processor time each, "
                    f"{watched.largest_mib:.0f} MiB at most"
                )
                print(
                    f"  {100.0 * warm.mean():.1f} % warm in {np.nanmean(evaluations[warm]):.2f} evaluations, "
                    f"others in {np.nanmean(evaluations[~warm]):.1f}", flush=True,
                )  # fmt: skip


if __name__ == "__main__":
    main(tuple(int(one) for one in sys.argv[1:]) or FRAMES)
