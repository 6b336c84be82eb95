"""Tasks over the workers of a dask scheduler that somebody else has started, by the extra ``cluster``.

Scheduler, workers and their network are dask's and the batch system's; what it takes to reach them (certificates,
credentials) stands in dask's own configuration. Here tasks are sent, a few more than there are workers, and their ends
reported. Workers see the same files under the same names as this process. The address goes nowhere but to dask: what
dask says of itself is not passed on, and messages do not name it.
"""

import logging
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from itertools import islice
from typing import Any, TypeVar

from xrdorder.exceptions import StudyError

T = TypeVar("T")
R = TypeVar("R")

_PATIENCE_S = 10.0  # a scheduler answers within a second
_AHEAD = 4  # tasks sent for each thread of the workers: none waits for work, and few are sent in vain
_FEWEST_AHEAD = 32  # workers may still be starting
_ALONE = threading.Lock()
_SAME = ("xrdorder", "numpy", "scipy", "numba")


@dataclass(frozen=True)
class Cluster:
    """The workers of a scheduler.

    Parameters
    ----------
    address : str
        As dask has it: ``tcp://host:8786``, ``tls://host:8786``.
    """

    address: str = field(repr=False)

    def run(self, work: Callable[[T], R], tasks: Sequence[T], done: Callable[[T, R], None]) -> None:
        """Do all tasks (see `xrdorder.running.pool.run_all`); those of a worker that dies are done by another.

        Raises
        ------
        StudyError
            dask is not installed, no scheduler answers, it was lost, or workers have other versions installed.
        """
        if not tasks:
            return
        try:
            import distributed
        except ImportError:
            raise StudyError(
                "cluster: dask.distributed is not installed; install xrdorder with the extra cluster, or leave it out"
            ) from None
        programs, waiting, doing = _programs(), iter(tasks), {}
        with _quiet(), _connected(distributed, self.address) as client:

            def send(number: int) -> list[Any]:
                sent = {
                    client.submit(_alone, work, task, programs, pure=False): task
                    for task in islice(waiting, number)
                }
                doing.update(sent)
                return list(sent)

            try:
                first = send(max(_FEWEST_AHEAD, _AHEAD * sum(client.nthreads().values())))
                ended = distributed.as_completed(first, loop=client.loop)
                for future in ended:
                    task = doing.pop(future)
                    done(task, future.result())
                    for another in send(1):
                        ended.add(another)
            except distributed.KilledWorker:
                raise StudyError(
                    "cluster: a task ended several workers one after the other (out of memory?); finished ones are "
                    "kept: run again, with more memory for each worker"
                ) from None
            except (CancelledError, OSError, TimeoutError) as error:
                if isinstance(error, OSError) and client.status == "running":
                    raise  # of the task itself
                raise StudyError(
                    "cluster: the scheduler was lost; finished tasks are kept: start it and run again"
                ) from None
            finally:
                if client.status == "running":
                    client.cancel(list(doing))


def _programs() -> dict[str, str]:
    """Versions of what the answers hang on."""
    programs = {}
    for name in _SAME:
        try:
            programs[name] = version(name)
        except PackageNotFoundError:
            programs[name] = "none"
    return programs


def _alone(work: Callable[[T], R], task: T, programs: dict[str, str]) -> R:
    """Do a task in a worker, one at a time: the fit holds the interpreter lock, so that threads would gain nothing."""
    here = _programs()
    for name, wanted in programs.items():
        if here[name] != wanted:
            raise StudyError(
                f"cluster: a worker has {name} {here[name]}, this process {wanted}; start both from one environment"
            )
    with _ALONE:
        return work(task)


@contextmanager
def _connected(distributed: Any, address: str) -> Iterator[Any]:
    """Connection to the scheduler.

    Raises
    ------
    StudyError
        It does not answer.
    """
    try:  # a client of an address that is none would complain once more when it is collected
        distributed.comm.get_address_host_port(address, strict=True)
        client = distributed.Client(address, timeout=_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TypeError, RuntimeError, ImportError) as error:
        raise StudyError(
            f"cluster: no scheduler answers at the address given ({type(error).__name__}); is it running, and reached "
            "from here? An address is like tcp://host:8786"
        ) from None
    try:
        yield client
    finally:
        client.close(timeout=_PATIENCE_S)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep back what dask logs and warns of: addresses stand in it."""
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logging.disable(before)
