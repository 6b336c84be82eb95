"""The process that HDF5 is read in: its end is the end of one file."""

import multiprocessing
import os
import sys
from concurrent.futures import ProcessPoolExecutor

import h5py
import numpy as np
import pytest

from xrdorder.exceptions import PatternError
from xrdorder.patterns import nexus_apart, read_pattern, write_pattern
from xrdorder.patterns.nexus import read_nexus
from xrdorder.patterns.nexus_apart import read_apart

ROWS = "".join(f"{20 + 0.02 * k:.2f} {100 + k % 7}\n" for k in range(60))


@pytest.fixture
def path(tmp_path):
    (tmp_path / "a.xy").write_text(f"# counting_time_s: 2\n# Cu K-alpha\n{ROWS}\n# counting_time_s: 3\n{ROWS}")
    write_pattern(read_pattern(tmp_path / "a.xy"), tmp_path / "a.nxs")
    return tmp_path / "a.nxs"


def test_nothing_is_lost_on_the_way(path):
    with h5py.File(path, "a") as file:
        data = file["entry1/data"]
        data["data_errors"][:] = np.arange(60) / 3.0
        data.attrs.update({"mount": "wires-laid-flat", "flags": '[["a", "b"]]'})
    data = path.read_bytes()
    here, there = read_nexus(data, "a"), read_apart(data, "a")
    for one, other in zip(here.ranges, there.ranges, strict=True):
        for key in ("axis", "values", "uncertainties", "counting_time_s", "numbers"):
            assert np.array_equal(getattr(one, key), getattr(other, key))
        assert one.where == other.where
    here.ranges, there.ranges = [], []
    assert here == there
    assert here.radiation == "cu-ka"


def test_its_errors_are_those_of_the_reader(path):
    with pytest.raises(PatternError, match=r"^a\.nxs: damaged or truncated HDF5 file \(.*\); copy it again"):
        read_apart(path.read_bytes()[:900], "a.nxs")


@pytest.mark.parametrize(
    ("program", "message"),
    [
        ("import time; time.sleep(60)", "not read within 2 s"),
        ("import os, signal; os.abort()", "ended with code"),
        ("x = []\nwhile True: x.append(bytes(10_000_000))", "ended with code"),
    ],
)
def test_its_end_is_one_line(path, monkeypatch, program, message):
    monkeypatch.setattr(nexus_apart, "SECONDS", 2.0)
    held = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); "
    held += "from xrdorder.patterns.nexus_apart import _hold; _hold(0)\n"
    monkeypatch.setattr(nexus_apart, "_PROGRAM", held + program)
    with pytest.raises(PatternError, match=message) as error:
        read_pattern(path)
    assert "\n" not in str(error.value)


@pytest.mark.skipif(sys.platform == "win32", reason="this system has no such limits")
def test_a_dataset_that_claims_too_much_memory(tmp_path):
    with h5py.File(tmp_path / "a.nxs", "w") as file:
        data = file.create_group("entry/data")
        data.attrs.update({"NX_class": "NXdata", "signal": "a", "axes": ["b"]})
        file["entry"].attrs["NX_class"] = "NXentry"
        for key in "ab":  # chunks of 4 GB of nothing
            data.create_dataset(key, (9_000_000,), "f8", chunks=(500_000_000,), maxshape=(None,), compression=1)
            data[key].id.write_direct_chunk((0,), b"x" * 100)
    with pytest.raises(PatternError, match="HDF5"):
        read_pattern(tmp_path / "a.nxs")


@pytest.mark.slow
def test_it_works_within_the_processes_of_a_study(path):
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        found = pool.submit(read_pattern, path).result()
    assert found.identical(read_pattern(path))


def test_it_imports_nothing_from_where_it_is_started(path, tmp_path, monkeypatch):
    (tmp_path / "json.py").write_text("raise SystemExit(3)")
    (tmp_path / "numpy.py").write_text("raise SystemExit(3)")
    monkeypatch.chdir(tmp_path)
    if "" in sys.path:
        monkeypatch.setattr(sys, "path", [p for p in sys.path if p])
    assert read_pattern(os.path.basename(path)).size == 60
