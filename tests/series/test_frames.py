"""Stacks and folders: frames as they were measured, a few at a time, and one line for what cannot be read."""

import re

import h5py
import numpy as np
import pytest
from click.testing import CliRunner

from tests.series.furnace import GRID, Truth, write_stack
from xrdorder.cli import main
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.series.frames import open_frames

COUNTS = np.random.default_rng(3).poisson(30.0, (7, len(GRID))).astype(float)
TRUTH = Truth(np.linspace(1.0, 2.0, 7), np.full(7, 650.0), {}, COUNTS)


@pytest.fixture
def stack(tmp_path):
    return write_stack(TRUTH, tmp_path / "stack.nxs", count_time=np.arange(1.0, 8.0))


@pytest.fixture
def folder(tmp_path):
    for k in range(3):
        np.savetxt(tmp_path / f"frame{k}.xy", np.column_stack([GRID, COUNTS[k]]), fmt=["%.2f", "%d"])
    (tmp_path / "times.csv").write_text("file,time_s\nframe0.xy,0\nframe1.xy,60\nframe2.xy,120\n")
    return tmp_path


def test_a_stack_gives_the_frames_asked_for(stack):
    frames = open_frames(stack)
    np.testing.assert_allclose(frames.times_h, TRUTH.hours, rtol=1e-12)
    read = list(frames.read(2, 5))
    assert len(read) == 3
    for k, pattern in enumerate(read, start=2):
        np.testing.assert_array_equal(pattern.values, COUNTS[k])
        np.testing.assert_array_equal(pattern["two_theta"], GRID)
        assert float(pattern["counting_time"][0]) == k + 1.0
        assert pattern.attrs["source_file"] == f"stack.nxs frame {k}"


def test_the_digest_sees_its_own_frames_alone(stack):
    before = [open_frames(stack).digest(0, 3), open_frames(stack).digest(3, 7)]
    with h5py.File(stack, "r+") as file:
        file["entry/data/counts"][5, 100] += 1
    after = [open_frames(stack).digest(0, 3), open_frames(stack).digest(3, 7)]
    assert before[0] == after[0]
    assert before[1] != after[1]


def test_a_frame_that_is_no_pattern_takes_its_place_alone(stack):
    with h5py.File(stack, "r+") as file:
        file["entry/data/counts"][1, 5] = -3
    good, bad, other = open_frames(stack).read(0, 3)
    assert isinstance(bad, XrdorderError)
    assert "stack.nxs frame 1: counts below zero" in str(bad)
    np.testing.assert_array_equal(good.values, COUNTS[0])
    np.testing.assert_array_equal(other.values, COUNTS[2])


def test_a_folder_is_read_in_the_order_of_its_table(folder):
    (folder / "frame1.xy").write_text("no pattern\n")
    frames = open_frames(folder)
    np.testing.assert_allclose(frames.times_h, [0.0, 1.0 / 60.0, 2.0 / 60.0])
    first, bad, last = frames.read(0, 3)
    assert isinstance(bad, XrdorderError)
    np.testing.assert_array_equal(first.values, COUNTS[0])
    np.testing.assert_array_equal(last.values, COUNTS[2])


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (None, "has no times.csv"),
        ("name,when\n", "line 1: needs the columns file and time_s or time_h"),
        ("file,time_s\na.xy,now\n", "line 2: needs a file and a number under time_s"),
        ("file,time_h\na.xy,2\nb.xy,1\n", "frame 1: its time is not later"),
        ("file,time_h\n", "0 frames"),
        ("", "it has none"),
    ],
)
def test_tables_of_times_that_cannot_be(tmp_path, table, said):
    if table is not None:
        (tmp_path / "times.csv").write_text(table)
    with pytest.raises(StudyError, match=said) as error:
        open_frames(tmp_path)
    assert "\n" not in str(error.value)


def _without_unit(file):
    del file["entry/data/time"].attrs["units"]


def _flat(file):
    del file["entry/data/counts"]
    file["entry/data/counts"] = np.ones(5)


def _short_times(file):
    del file["entry/data/time"]
    file["entry/data/time"] = np.arange(3.0)


def _backwards(file):
    file["entry/data/two_theta"][...] = GRID[::-1]


def _twice(file):
    file.copy("entry", "other")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_without_unit, "tell the unit of time"),
        (_flat, "no NXdata group"),
        (_short_times, "7 frames of"),
        (_backwards, "angles must rise"),
        (_twice, "2 NXdata groups"),
    ],
)
def test_stacks_that_cannot_be(stack, spoil, said):
    with h5py.File(stack, "r+") as file:
        spoil(file)
    with pytest.raises(StudyError, match=said) as error:
        open_frames(stack)
    assert "\n" not in str(error.value)


def test_what_is_no_stack(tmp_path, stack):
    (tmp_path / "text.nxs").write_text("two theta, counts\n")
    cut = tmp_path / "cut.nxs"
    cut.write_bytes(stack.read_bytes()[:3000])
    for path in (tmp_path / "text.nxs", cut):
        with pytest.raises(StudyError, match="is no HDF5 stack, or damaged") as error:
            open_frames(path)
        assert "\n" not in str(error.value)
    with pytest.raises(StudyError, match=re.escape("no such file or folder")):
        open_frames(tmp_path / "nowhere")


@pytest.mark.parametrize("missing", ["folder", "nowhere"])
def test_the_command_says_so_in_one_line(stack, tmp_path, missing):
    (tmp_path / "folder").mkdir()
    (tmp_path / "log.csv").write_text("time_h,temperature_c\n0,20\n1,650\n")
    log = tmp_path / "log.csv"
    words = [tmp_path / missing, "--instrument", stack, "--log", log, "--out", tmp_path / "out"]
    result = CliRunner().invoke(main, ["series", *map(str, words)])
    assert result.exit_code == 2
    assert result.output.count("\n") == 1
    assert "times.csv" in result.output
    assert not (tmp_path / "out").exists()
