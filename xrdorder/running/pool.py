"""Many tasks over several processes, with linear algebra held to one thread in each, or over a cluster.

Threads would not do: the fit holds the interpreter lock. Workers are spawned, not forked: forking a process
whose numerical libraries run threads can lock up. A spawned worker takes one to two seconds to start (Python
plus imports), which is why a handful of samples is fitted in this process instead.
"""

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context, parent_process
from types import ModuleType
from typing import TypeVar

from xrdorder.exceptions import StudyError
from xrdorder.running.collection import collect_seldom

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


class Processes:
    """Processes of this machine, kept from one kind of work to the next; for a few tasks the one at work alone.

    To be used in a `with` statement, at whose end tasks not begun are dropped, and those in work are let finish.

    Parameters
    ----------
    workers : int, optional
        How many; 1 works in this process; by the number of cores and tasks unless given.
    """

    def __init__(self, workers: int | None = None) -> None:
        self._wanted = workers
        self._executor: ProcessPoolExecutor | None = None

    def __enter__(self) -> "Processes":
        return self

    def __exit__(self, *_: object) -> None:
        if self._executor is not None:
            self._executor.shutdown(wait=True, cancel_futures=True)

    def start(self, work: Callable[[T], R], tasks: int) -> None:
        """Start as many processes as so many tasks need; they import what the work takes while this one goes on."""
        count = _workers(self._wanted, tasks)
        if count > 1 and self._executor is None:
            self._executor = ProcessPoolExecutor(count, get_context("spawn"), _begin_worker, (work,))
            with _single_threaded(), _without_main():
                for _ in range(count):
                    self._executor.submit(int)  # each task starts a process as long as none is idle

    def begin(self, work: Callable[[T], R], tasks: Sequence[T]) -> Callable[[Callable[[T, R], None]], None]:
        """Begin tasks; what is given waits for them and reports each (see `run_all`), or does them where there is one.

        Raises
        ------
        StudyError
            A worker was killed.
        """
        self.start(work, len(tasks))
        if self._executor is None:
            return lambda done: _report(done, ((task, work(task)) for task in tasks))
        with _told_if_killed(), _single_threaded(), _without_main():
            futures = {self._executor.submit(work, task): task for task in tasks}
        return lambda done: _report(done, ((futures[future], future.result()) for future in as_completed(futures)))


@contextmanager
def processes(workers: "int | Processes | None") -> Iterator[Processes]:
    """Give processes at hand, which are kept, or so many new ones, which end with the block."""
    if isinstance(workers, Processes):
        yield workers
    else:
        with Processes(workers) as new:
            yield new


def run_all(
    work: Callable[[T], R],
    tasks: Sequence[T],
    *,
    workers: int | Processes | None,
    cluster: str | None = None,
    done: Callable[[T, R], None],
) -> None:
    """Do all tasks, in this process, in several or on a cluster, and report each as it ends.

    Parameters
    ----------
    work : callable
        A function of a module, so that a worker can find it.
    tasks : sequence
    workers : int or Processes or None
        Number of processes, or those at hand; 1 works in this one; None decides by the number of cores and tasks.
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
    if cluster is not None:
        from xrdorder.running.cluster import Cluster

        Cluster(cluster).run(work, tasks, done)
        return
    with processes(workers) as pool:
        pool.begin(work, tasks)(done)


def _report(done: Callable[[T, R], None], ended: Iterable[tuple[T, R]]) -> None:
    with _told_if_killed():
        for task, result in ended:
            done(task, result)


@contextmanager
def _told_if_killed() -> Iterator[None]:
    try:
        yield
    except BrokenProcessPool as error:
        raise StudyError(
            "a worker process was ended from outside (out of memory?); finished samples are kept: "
            "run again, with fewer workers"
        ) from error


def _workers(wanted: int | None, tasks: int) -> int:
    if wanted is None:
        return max(1, min(available_cores(), tasks)) if tasks >= FEWEST_FOR_WORKERS else 1
    if wanted < 1:
        raise StudyError(f"workers = {wanted} cannot work; give one or more")
    return max(1, min(wanted, tasks))


def _begin_worker(_: object) -> None:
    """Leave Ctrl-C to the parent process: samples in work are finished and stored. End when it is killed.

    What is handed over is the work: to find it, its module was imported.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    collect_seldom()
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
