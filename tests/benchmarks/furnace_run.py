"""How long the frames of a furnace run take, and how much memory, as the run gets longer.

Run from the checkout: ``python -m tests.benchmarks.furnace_run [FRAMES ...]`` (2000 and 10 000 unless told), which
takes minutes. Nothing here is asserted. The counts are those of `tests.series.furnace`, invented.
"""

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.series.furnace import furnace_run, write_calibration, write_log, write_stack
from xrdorder.series import run_series

FRAMES = (2000, 10_000)
WORKERS = 2


def _of_workers() -> float:
    """Processor time of the workers that have ended, their start included."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main(lengths: tuple[int, ...]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_calibration(folder / "instrument.toml")
        for frames in lengths:
            truth = furnace_run(frames, step_k=10.0)
            write_stack(truth, folder / "stack.nxs")
            write_log(truth, folder / "log.csv")
            del truth
            start, before = time.perf_counter(), _of_workers()
            run = run_series(
                folder / "stack.nxs",
                folder / "instrument.toml",
                folder / "log.csv",
                folder / f"out{frames}",
                workers=WORKERS,
            )
            spent = time.perf_counter() - start
            processor = _of_workers() - before
            largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
            warm = run.table["warm"].values == 1
            evaluations = run.table["evaluations"].values
            each = 1e3 * processor / frames
            print(f"{frames} frames, {WORKERS} processes: {spent:.0f} s, {each:.1f} ms of processor time each")
            print(
                f"  {100.0 * warm.mean():.1f} % warm in {np.nanmean(evaluations[warm]):.1f} evaluations, "
                f"others in {np.nanmean(evaluations[~warm]):.1f}; largest worker so far {largest:.0f} MiB"
            )


if __name__ == "__main__":
    main(tuple(int(one) for one in sys.argv[1:]) or FRAMES)
