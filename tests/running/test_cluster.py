"""A cluster of several processes that somebody else has started: the same answers, workers that die, no answer."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from xrdorder.cli import main
from xrdorder.exceptions import StudyError
from xrdorder.running import cluster as home
from xrdorder.running.pool import run_all
from xrdorder.running.run import run_study

ROOT = Path(__file__).parents[2]
NOBODY = "tcp://127.0.0.1:1"  # port 1 of this machine: nothing listens

# a process of its own, as a batch system would have it; the workers know the tests
STARTED = """
import sys
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=2, processes=True, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """Address of a scheduler with two workers."""
    script = tmp_path_factory.mktemp("cluster") / "start.py"
    script.write_text(STARTED)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, str(script)], cwd=script.parent, env=environment, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    ) as process:  # fmt: skip
        yield process.stdout.readline().strip()
        process.stdin.close()


def process_and_square(number):
    time.sleep(0.1)
    return os.getpid(), number**2


def fail_on_three(number):
    if number == 3:
        raise ValueError("three")
    return number


def end(_):
    os.kill(os.getpid(), signal.SIGKILL)


class Killer:
    """Reports each task, and kills the worker that did the first one while others are in work."""

    def __init__(self, process_of=lambda result: result[0]):
        self.results, self.killed, self._process_of = {}, None, process_of

    def __call__(self, task, result):
        self.results[task] = result
        if self.killed is None:
            self.killed = self._process_of(result)
            os.kill(self.killed, signal.SIGKILL)


@pytest.mark.slow
def test_a_killed_worker_costs_only_time(scheduler):
    killer = Killer()
    run_all(process_and_square, range(40), workers=None, cluster=scheduler, done=killer)
    assert {task: square for task, (_, square) in killer.results.items()} == {n: n**2 for n in range(40)}
    processes = {process for process, _ in killer.results.values()}
    assert len(processes) >= 2
    assert os.getpid() not in processes
    assert killer.killed in processes


@pytest.mark.slow
def test_an_error_of_a_task_ends_the_run(scheduler):
    with pytest.raises(ValueError, match="three"):
        run_all(fail_on_three, range(6), workers=None, cluster=scheduler, done=lambda task, result: None)


@pytest.mark.slow
def test_a_task_that_ends_every_worker_is_told_in_one_line(scheduler):
    with pytest.raises(StudyError, match="ended several workers") as caught:
        run_all(end, [1], workers=None, cluster=scheduler, done=lambda task, result: None)
    assert "\n" not in str(caught.value)


@pytest.mark.slow
def test_workers_of_another_version_are_refused(scheduler, monkeypatch):
    monkeypatch.setattr(home, "_programs", lambda: {"numpy": "0.1"})
    with pytest.raises(StudyError, match=r"a worker has numpy .*, this process 0\.1"):
        run_all(process_and_square, [1], workers=None, cluster=scheduler, done=lambda task, result: None)


@pytest.mark.slow
def test_a_study_is_fitted_as_by_this_machine(tiny, scheduler, capfd):
    folder = tiny.describe("good", "twice", "letters", "missing")
    alone = run_study(folder, workers=1)
    result = CliRunner().invoke(main, ["run", str(folder), "--again", "--no-figures", "--cluster", scheduler])
    assert result.exit_code == 1, result.output  # two samples have no pattern
    together = run_study(folder)
    assert together.attrs["fitted"] == 0
    assert together["status"].equals(alone["status"])
    for name, column in alone.data_vars.items():
        if column.dtype.kind == "f":
            scale = np.maximum(abs(column), alone.get(f"u_{name}", 0.0))
            if "source" in column.dims:  # of a part that is next to nothing, what it is of the whole
                scale = np.sqrt((column**2).sum("source"))
            assert bool((abs(together[name] - column) <= 1e-9 * scale).where(column.notnull(), True).all()), name
    host, port = scheduler.removeprefix("tcp://").split(":")
    for file in folder.rglob("*"):
        if file.is_file():
            assert f":{port}".encode() not in file.read_bytes(), file
    assert port not in result.output + "".join(capfd.readouterr())
    assert host  # an address was given at all


def test_no_scheduler_is_told_in_one_line(monkeypatch):
    monkeypatch.setattr(home, "_PATIENCE_S", 0.2)
    with pytest.raises(StudyError, match="no scheduler answers") as caught:
        run_all(fail_on_three, [1], workers=None, cluster=NOBODY, done=lambda task, result: None)
    assert "127.0.0.1" not in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("address", ["localhost", "tcp://localhost", "localhost:8786", "tcp://localhost:port"])
def test_what_is_no_address_makes_no_client(monkeypatch, address):
    """A client that could not be made waits for its event loop when it is collected, and prints a traceback."""
    monkeypatch.setattr("distributed.Client", lambda *words, **choices: pytest.fail("a client was made"))
    with pytest.raises(StudyError, match="An address is like tcp://host:8786"):
        run_all(fail_on_three, [1], workers=None, cluster=address, done=lambda task, result: None)


def test_without_dask_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(StudyError, match="extra cluster"):
        run_all(fail_on_three, [1], workers=None, cluster=NOBODY, done=lambda task, result: None)


@pytest.mark.slow
def test_dask_is_not_imported_unless_asked_for():
    code = "import sys, xrdorder.running.run, xrdorder.series; sys.exit('distributed' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
