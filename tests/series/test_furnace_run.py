"""A furnace run of known truth, from counts to onset, amounts, lattice and kinetics; and runs that end early."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import distributed
import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner

from tests.figures.labels import troubles
from tests.series.furnace import (
    A_NM,
    END,
    NO_BEAM_FRAME,
    Q_KJ,
    SIZE_NM,
    STEP_H,
    STEP_MOHM,
    TAU_H,
    furnace_run,
    write_calibration,
    write_log,
    write_stack,
)
from xrdorder.cli import main
from xrdorder.crystals import phase
from xrdorder.exceptions import StudyError
from xrdorder.figures import series_figure
from xrdorder.files import atomic
from xrdorder.profiles import read_instrument
from xrdorder.running.pool import run_all
from xrdorder.series import furnace_run as home
from xrdorder.series import run_series
from xrdorder.series.events import ONSET_FRACTION
from xrdorder.series.frame_fit import fit_frame
from xrdorder.series.frames import open_frames

FRAMES = 200
SHORT = 12
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("furnace")
    write_calibration(folder / "instrument.toml")
    return folder


@pytest.fixture(scope="module")
def truth(folder):
    truth = furnace_run(FRAMES, step_k=10.0)
    write_stack(truth, folder / "stack.nxs")
    write_log(truth, folder / "log.csv")
    return truth


@pytest.fixture(scope="module")
def run(folder, truth):
    return run_series(
        folder / "stack.nxs", folder / "instrument.toml", folder / "log.csv", folder / "out", workers=1
    )


def test_frames_come_out(run):
    status = run.table["status"].values
    assert list(np.flatnonzero(status == "no beam")) == [NO_BEAM_FRAME]
    assert "failed" not in status
    warm = run.table["warm"].values == 1
    assert warm.sum() > 0.85 * FRAMES  # cold: starts of chunks, and the frames in which the A15 appears
    assert np.nanmean(run.table["evaluations"].values[warm]) <= 3.0  # of a cold fit of such a frame, eight or more
    # 1360 points: three standard deviations of the mean of two hundred reduced chi squared are 0.008
    assert np.nanmean(run.table["chi2_reduced"]) == pytest.approx(1.0, abs=0.01)


def test_amounts_lattice_and_size_follow_the_truth(run, truth):
    table = run.table
    for name, weight in truth.weight.items():
        known = (table[f"present_{name}"] == 1).values
        off = (table[f"weight_fraction_{name}"].values - weight) / table[f"u_weight_fraction_{name}"].values
        assert np.abs(off[known]).max() < 4.0  # of two hundred frames none beyond four standard uncertainties
    off = (table["a_nm"] - A_NM["nb3sn"]).values
    assert np.nanmax(np.abs(off / table["u_a_nm"].values)) < 4.0
    # the same expansion in truth and result: only what frames do not share is left
    assert np.nanmax(np.abs(off / table["u_own_a_nm"].values)) < 4.5
    late = table.isel(frame=slice(FRAMES // 2, None))
    size, u_size = late["domain_size_nm"].values, late["u_domain_size_nm"].values
    assert np.nanmean(size) == pytest.approx(SIZE_NM, abs=3.0 * np.nanmedian(u_size) / np.sqrt(5.0))


def test_onset_and_kinetics_are_those_put_in(run, truth):
    onset = float(np.interp(ONSET_FRACTION, truth.weight["nb3sn"], truth.hours))
    assert run.onset is not None
    assert abs(run.onset.time_h - onset) < 3.0 * run.onset.u_h
    assert run.onset.u_h < 0.1
    curve = run.curve
    assert curve is not None
    assert curve.told
    for found, u, value in (
        (curve.end_fraction, curve.u_end_fraction, END),
        (curve.q_kj_per_mol, curve.u_q_kj_per_mol, Q_KJ),
        (curve.tau_h, curve.u_tau_h, TAU_H),
        (curve.exponent, curve.u_exponent, 1.0),
    ):
        assert abs(found - value) < 3.0 * u


def test_steps_of_the_resistance_are_those_put_in(run, folder):
    assert run.signal is not None
    first, second = run.signal.steps
    assert first.matched == "nb3sn appears"
    assert second.matched == ""
    assert abs(second.time_h - STEP_H) < 3.0 * second.u_h
    assert abs(second.change + STEP_MOHM) < 3.0 * second.u_change
    with xr.open_dataset(folder / "out" / "series.nc", engine="h5netcdf") as stored:
        assert len(json.loads(stored.attrs["signal"])["steps"]) == 2
        assert stored["wire_signal"].attrs["units"] == "mΩ"


def test_files_say_what_the_screen_says(run, folder):
    with xr.open_dataset(folder / "out" / "series.nc", engine="h5netcdf") as stored:
        assert json.loads(stored.attrs["onset"])["time_h"] == run.onset.time_h
        np.testing.assert_array_equal(stored["a_nm"], run.table["a_nm"])
        assert stored["a_nm"].attrs["units"] == "nm"
    rows = (folder / "out" / "series.csv").read_text().splitlines()
    assert len(rows) == FRAMES + 1
    assert rows[0].startswith("frame,time_h,temperature_c,status,reason,")


def test_the_figure_has_room_for_its_words(run):
    assert troubles(series_figure(run)) == []


def test_the_screen_answers_first_and_keeps_what_is_done(run, folder):
    before = (folder / "out" / "series.csv").read_bytes()
    words = [folder / "stack.nxs", "--instrument", folder / "instrument.toml", "--log", folder / "log.csv"]
    result = CliRunner(env={"COLUMNS": "80"}).invoke(main, ["series", *map(str, words), "--out", str(folder / "out")])
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert lines[0].startswith("A15 appears after ")
    assert max(map(len, lines[: lines.index("", 2)])) <= 80
    assert "2 of 2 chunks kept" in " ".join(result.output.split())
    assert (folder / "out" / "series.png").stat().st_size > 10_000
    assert (folder / "out" / "series.csv").read_bytes() == before


def test_a_frame_fitted_from_the_one_before_is_that_fitted_from_nothing(folder, truth):
    """On the ramp, where lattices and displacement parameters move from frame to frame: to a hundredth of u."""
    instrument = read_instrument(folder / "instrument.toml")
    phases = [phase(name) for name in ("nb3sn", "nb", "cu-sn")]
    first = int(np.searchsorted(truth.hours, 6.0))
    neighbour, compared = None, 0
    for k, pattern in enumerate(open_frames(folder / "stack.nxs").read(first, first + 6), start=first):
        done = fit_frame(pattern, instrument, phases, float(truth.celsius[k]), neighbour)
        neighbour = done.neighbour
        if done.warm:
            cold = fit_frame(pattern, instrument, phases, float(truth.celsius[k]))
            assert not cold.warm
            if set(cold.free_names) == set(done.free_names):
                compared += 1
                for name, value in cold.values.items():
                    # at its bound a width has no uncertainty; the bound is that of the frame fitted from nothing, and
                    # moves by twice the expansion, 4e-4 over the 27 K of six frames
                    u = cold.contributions.total(name)
                    assert abs(done.values[name] - value) <= (0.01 * u if u > 0.0 else 5e-4 * abs(value))
                    # derivatives of a step before, and changes by scattering factors kept from frame to frame
                    assert done.contributions.total(name) == pytest.approx(u, rel=0.01)
    assert compared >= 3


@pytest.fixture
def short(folder, truth, tmp_path, monkeypatch):
    """Twelve frames in chunks of four, in which the A15 appears."""
    monkeypatch.setattr(home, "CHUNK", 4)
    path = tmp_path / "short.nxs"
    cut = type(truth)(truth.hours[4:16], truth.celsius[4:16], {}, truth.counts[4:16])
    write_stack(cut, path)
    return path, folder / "instrument.toml", folder / "log.csv"


def agree(first: xr.Dataset, second: xr.Dataset) -> None:
    """Hold two runs to 1e-9 of each number or of its u: other processes may sum in another order, and no more."""
    assert set(first.data_vars) == set(second.data_vars)
    for name in first.data_vars:
        x, y = first[name].values, second[name].values
        if x.dtype.kind != "f":
            np.testing.assert_array_equal(x, y)
            continue
        u = first.get(f"u_{name}", 0.0 * first[name]).values
        np.testing.assert_array_equal(np.isfinite(x), np.isfinite(y))
        seen = np.isfinite(x)
        scale = np.maximum(np.abs(x), np.nan_to_num(u))
        assert np.all(np.abs(x - y)[seen] <= 1e-9 * scale[seen]), name


def backwards(work, tasks, **more):
    """Do the last task first."""
    run_all(work, tasks[::-1], **more)


def test_workers_and_order_change_nothing(short, tmp_path, monkeypatch):
    one = run_series(*short, tmp_path / "one", workers=1)
    agree(one.table, run_series(*short, tmp_path / "two", workers=2).table)
    monkeypatch.setattr(home, "run_all", backwards)
    agree(one.table, run_series(*short, tmp_path / "back", workers=1).table)


def test_a_cluster_changes_nothing_though_a_worker_dies(short, tmp_path):
    """Two workers of a dask scheduler, of which one is killed while it fits its first chunk."""
    one = run_series(*short, tmp_path / "one", workers=1)
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        with distributed.Client(cluster) as client:
            processes = list(client.run(os.getpid).values())
        ender = threading.Thread(target=_kill_at_work, args=(processes[0],))
        ender.start()
        two = run_series(*short, tmp_path / "two", cluster=cluster.scheduler_address)
        ender.join()
    agree(one.table, two.table)
    assert cluster.scheduler_address.encode() not in (tmp_path / "two" / "series.nc").read_bytes()


def _kill_at_work(process):
    """End a process that has loaded the fit and works on it."""
    maps = Path(f"/proc/{process}/maps")
    deadline = time.monotonic() + 60.0
    while "h5py" not in maps.read_text() and time.monotonic() < deadline:
        time.sleep(0.01)
    os.kill(process, signal.SIGKILL)


def test_a_damaged_chunk_is_fitted_again(short, tmp_path):
    first = run_series(*short, tmp_path / "out", workers=1)
    path = tmp_path / "out" / "chunks" / "chunk-00001.nc"
    path.write_bytes(path.read_bytes()[:-100])
    second = run_series(*short, tmp_path / "out", workers=1)
    assert (second.chunks_fitted, second.chunks_kept) == (1, 2)
    xr.testing.assert_identical(first.table, second.table)


def test_a_killed_run_loses_the_chunk_in_work_alone(short, tmp_path):
    code = (
        "import sys; from xrdorder.series import furnace_run as home; home.CHUNK = 4\n"
        "run = home.run_series(*sys.argv[1:], workers=1); print(run.chunks_kept, run.chunks_fitted)"
    )
    out = tmp_path / "out"
    command = [sys.executable, "-c", code, *map(str, short), str(out)]
    child = subprocess.Popen(command)
    done = out / "chunks" / "chunk-00000.nc"
    deadline = time.monotonic() + 60.0
    while not done.exists() and time.monotonic() < deadline:
        time.sleep(0.01)
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    assert not (out / "series.csv").exists()
    # gone on with as a user does, in a process that knows nothing of other tests
    again = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    kept, fitted = map(int, again.split())
    assert kept >= 1 and kept + fitted == 3
    assert (out / "series.csv").exists()
    agree(run_series(*short, out, workers=1).table, run_series(*short, tmp_path / "whole", workers=1).table)


def test_how_arrays_are_printed_makes_no_chunk_another(short, tmp_path):
    """Libraries change that for a whole process: a chunk would be fitted again, and a changed phase not noticed."""
    run_series(*short, tmp_path / "out", workers=1)
    with np.printoptions(threshold=5, precision=6):
        assert run_series(*short, tmp_path / "out", workers=1).chunks_kept == 3


def test_ctrl_c_and_a_full_disk_lose_the_chunk_in_work_alone(short, tmp_path, monkeypatch):
    out = tmp_path / "out"

    def interrupted(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_series(*short, out, workers=1, progress=interrupted)
    done = out / "chunks" / "chunk-00000.nc"
    before = done.read_bytes()

    def full(_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as small:
        small.setattr(atomic, "_flush", full)
        with pytest.raises(StudyError, match="No space left on device"):
            run_series(*short, out, workers=1)
    assert [path.name for path in out.rglob("*") if path.is_file() and path.suffix in (".nc", ".part")] == [done.name]
    assert done.read_bytes() == before
    run = run_series(*short, out, workers=1)
    assert (run.chunks_fitted, run.chunks_kept) == (2, 1)


def test_a_log_of_another_clock_is_refused(short, folder, tmp_path):
    log = tmp_path / "late.csv"
    log.write_text("time_h,temperature_c\n500,20\n510,650\n")
    words = [short[0], "--instrument", short[1], "--log", log, "--out", tmp_path / "out"]
    result = CliRunner().invoke(main, ["series", *map(str, words)])
    assert result.exit_code == 2
    assert result.output.count("\n") == 1
    assert "bring both to one clock" in result.output
    assert not Path(tmp_path / "out").exists()
