"""Long campaigns: jobs over processes, results line by line in a file, so that a run can be broken off and resumed."""

import json
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import Any

Job = tuple[Any, ...]
Row = dict[str, Any]


def rows(file: Path) -> Iterator[tuple[Job, list[Row]]]:
    """Jobs that are done, and what they found; a line cut off by a crash is passed over."""
    if not file.exists():
        return
    for line in file.read_text().splitlines():
        try:
            entry = json.loads(line)
        except json.JSONDecodeError:
            continue
        yield tuple(entry["job"]), entry["rows"]


def run(work: Callable[..., list[Row]], jobs: Sequence[Job], workers: int, file: Path) -> list[Row]:
    """Do the jobs that the file does not hold yet, each `work(*job)`; return the rows of all jobs asked for."""
    os.environ["OMP_NUM_THREADS"] = "1"
    done = dict(rows(file))
    left = [job for job in jobs if job not in done]
    torn = file.exists() and not file.read_bytes().endswith(b"\n")
    with (
        file.open("a") as target,
        ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool,
    ):
        if torn:
            target.write("\n")
        futures = {pool.submit(work, *job): job for job in left}
        for number, future in enumerate(as_completed(futures), start=1):
            job = futures[future]
            done[job] = future.result()
            target.write(json.dumps({"job": job, "rows": done[job]}) + "\n")
            target.flush()
            print(f"{number} of {len(left)} jobs done", end="\r", flush=True)
    print()
    return [row for job in jobs for row in done[job]]
