"""Tasks over several processes: all done, errors raised, the environment as it was."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from xrdorder.exceptions import StudyError
from xrdorder.running.pool import FEWEST_FOR_WORKERS, THREAD_VARIABLES, Processes, available_cores, run_all

ROOT = Path(__file__).parents[2]


def square(number):
    return number**2


def look_around(_):
    """Tell what the worker sees: its process, its thread limits, its main module."""
    main = getattr(sys.modules["__main__"], "__file__", None)
    return os.getpid(), [os.environ.get(name) for name in THREAD_VARIABLES], main


def fail_on_three(number):
    if number == 3:
        raise ValueError("three")
    return number


def die(_):
    os._exit(9)


def gathered(work, tasks, workers):
    found = {}
    run_all(work, tasks, workers=workers, done=found.__setitem__)
    return found


@pytest.mark.parametrize("workers", [1, 2, None])
def test_all_tasks_are_done_and_reported(workers):
    assert gathered(square, [1, 2, 3, 4, 5], workers) == {1: 1, 2: 4, 3: 9, 4: 16, 5: 25}


def test_no_task_is_no_work():
    assert gathered(square, [], None) == {}


def test_workers_run_linear_algebra_on_one_thread_and_know_no_script(monkeypatch):
    monkeypatch.setenv("OMP_NUM_THREADS", "7")
    monkeypatch.delenv("MKL_NUM_THREADS", raising=False)
    found = gathered(look_around, [1, 2, 3, 4], 2)
    assert all(pid != os.getpid() for pid, _, _ in found.values())
    assert all(threads == ["1"] * len(THREAD_VARIABLES) for _, threads, _ in found.values())
    assert all(main is None for _, _, main in found.values())
    assert os.environ["OMP_NUM_THREADS"] == "7"
    assert "MKL_NUM_THREADS" not in os.environ


def test_a_few_samples_stay_in_this_process():
    few = list(range(FEWEST_FOR_WORKERS - 1))
    assert {pid for pid, _, _ in gathered(look_around, few, None).values()} == {os.getpid()}


@pytest.mark.parametrize("workers", [1, 2])
def test_an_error_ends_the_run(workers):
    with pytest.raises(ValueError, match="three"):
        gathered(fail_on_three, [1, 2, 3, 4], workers)


def test_a_killed_worker_is_told_in_one_line():
    with pytest.raises(StudyError, match="a worker process was ended") as caught:
        gathered(die, [1, 2], 2)
    assert "\n" not in str(caught.value)


def test_no_workers_cannot_work():
    with pytest.raises(StudyError, match="workers = 0"):
        gathered(square, [1], 0)


def test_cores_are_counted():
    assert 1 <= available_cores() <= (os.cpu_count() or 1)


def test_a_script_without_the_usual_guard_runs_once(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        "print('once', flush=True)\n"
        "from tests.running.test_pool import gathered, square\n"
        "print(gathered(square, [1, 2, 3, 4], 2) == {1: 1, 2: 4, 3: 9, 4: 16}, flush=True)\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True,
        text=True,
        env=environment,
        timeout=120,
        check=True,
    )
    assert done.stdout == "once\nTrue\n"


def leave_a_file(path):
    """Work for a moment, then leave a result."""
    time.sleep(0.2)
    Path(path).write_text("")


def test_processes_go_on_to_other_work_while_this_one_does_its_own(tmp_path):
    """Few tasks as well: the processes are there."""
    files = [tmp_path / str(k) for k in range(2)]
    found, ended = {}, []
    with Processes(2) as pool:
        run_all(look_around, [1, 2, 3, 4], workers=pool, done=found.__setitem__)
        finish = pool.begin(leave_a_file, files)
        until = time.monotonic() + 60.0
        while not all(file.exists() for file in files) and time.monotonic() < until:
            time.sleep(0.01)
        assert ended == [] and all(file.exists() for file in files)
        finish(lambda task, _: ended.append(task))
        assert sorted(ended) == files
        run_all(look_around, [5, 6], workers=pool, done=found.__setitem__)
        with pytest.raises(ValueError, match="three"):
            pool.begin(fail_on_three, [3])(found.__setitem__)
    processes = {pid for pid, *_ in found.values()}
    assert len(found) == 6 and len(processes) <= 2 and os.getpid() not in processes


INTERRUPTED = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell ignores it for what runs in the background
from tests.running.test_pool import leave_a_file, run_all
tasks = [f"{sys.argv[1]}/{k}" for k in range(50)]
try:
    run_all(leave_a_file, tasks, workers=2, done=lambda task, _: print(task, flush=True))
except KeyboardInterrupt:
    print("interrupted", flush=True)
"""


@pytest.mark.slow
def test_killing_the_parent_ends_the_workers(tmp_path):
    """Workers have the output open as well: it ends when the last of them has ended."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED, str(tmp_path)], stdout=subprocess.PIPE, env=environment
    ) as process:
        process.stdout.readline()
        process.kill()
        process.communicate(timeout=30)
    done = len(list(tmp_path.iterdir()))
    assert 0 < done < 20


@pytest.mark.slow
def test_ctrl_c_ends_the_run_after_the_tasks_in_work(tmp_path):
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED, str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        start_new_session=True,
    ) as process:
        first = Path(process.stdout.readline().strip())
        # as a terminal does it: the signal goes to the whole group, workers included
        os.killpg(process.pid, signal.SIGINT)
        output, errors = process.communicate(timeout=60)
    assert output.split()[-1] == "interrupted"
    assert errors == ""
    assert first.exists()
    assert len(list(tmp_path.iterdir())) < 20
