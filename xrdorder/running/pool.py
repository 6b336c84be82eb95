"""Many tasks over several processes, with linear algebra held to one thread in each, or over a cluster.

Threads would not do: the fit holds the interpreter lock. Workers are spawned, not forked: forking a process
whose numerical libraries run threads can lock up. A spawned worker takes one to two seconds to start (Python
plus imports), which is why a handful of samples is fitted in this process instead.
"""

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from types import ModuleType
from typing import Protocol, TypeVar

from xrdorder.exceptions import StudyError

T = TypeVar("T")
R = TypeVar("R")

FEWEST_FOR_WORKERS = 4
"""Below so many samples the start of the workers costs more than they save (a fit takes about a second)."""

THREAD_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)


def available_cores() -> int:
    """Cores this process may use, which can be fewer than the machine has."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Pool(Protocol):
    """Who does tasks."""

    def run(self, work: Callable[[T], R], tasks: Sequence[T], done: Callable[[T, R], None]) -> None:
        """Do all tasks, and report each as it ends (see `run_all`)."""


def run_all(
    work: Callable[[T], R],
    tasks: Sequence[T],
    *,
    workers: int | None,
    cluster: str | None = None,
    done: Callable[[T, R], None],
) -> None:
    """Do all tasks, in this process, in several or on a cluster, and report each as it ends.

    Parameters
    ----------
    work : callable
        A function of a module, so that a worker can find it.
    tasks : sequence
    workers : int or None
        Number of processes; 1 works in this one; None decides by the number of cores and tasks.
    cluster : str, optional
        Address of a dask scheduler, whose workers do it instead (`xrdorder.running.cluster`).
    done : callable
        Called in this process with the task and its result, in the order in which they end.

    Raises
    ------
    StudyError
        A worker was killed, or the cluster cannot be used. What `work` raises is raised here; tasks not begun are
        dropped then, as on Ctrl-C, and those in work are let finish.
    """
    pool: Pool = Processes(workers)
    if cluster is not None:
        from xrdorder.running.cluster import Cluster

        pool = Cluster(cluster)
    pool.run(work, tasks, done)


@dataclass(frozen=True)
class Processes:
    """Processes of this machine, or the one at work alone; `workers` as of `run_all`."""

    workers: int | None

    def run(self, work: Callable[[T], R], tasks: Sequence[T], done: Callable[[T, R], None]) -> None:
        """Do all tasks (see `Pool`)."""
        count = _workers(self.workers, len(tasks))
        if count == 1:
            for task in tasks:
                done(task, work(task))
            return
        with ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_begin_worker) as executor:
            try:
                with _single_threaded(), _without_main():
                    futures = {executor.submit(work, task): task for task in tasks}
                for future in as_completed(futures):
                    done(futures[future], future.result())
            except BrokenProcessPool as error:
                raise StudyError(
                    "a worker process was ended from outside (out of memory?); finished samples are kept: "
                    "run again, with fewer workers"
                ) from error
            except BaseException:
                executor.shutdown(wait=True, cancel_futures=True)
                raise


def _workers(wanted: int | None, tasks: int) -> int:
    if wanted is None:
        return max(1, min(available_cores(), tasks)) if tasks >= FEWEST_FOR_WORKERS else 1
    if wanted < 1:
        raise StudyError(f"workers = {wanted} cannot work; give one or more")
    return max(1, min(wanted, tasks))


def _begin_worker() -> None:
    """Leave Ctrl-C to the parent process: samples in work are finished and stored. End when it is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """Wait for the end of the parent: a worker whose parent was killed would otherwise wait for work forever."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def _single_threaded() -> Iterator[None]:
    """Let processes started within hold their linear algebra to one thread; it is read before numpy loads."""
    before = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


@contextmanager
def _without_main() -> Iterator[None]:
    """Let processes started within not run the user's script again.

    A spawned process imports the main module of its parent. A short script without the usual guard would
    start all over in every worker; nothing in it is needed there.
    """
    main = sys.modules["__main__"]
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main
