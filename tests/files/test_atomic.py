"""Files are whole or not there, and one run at a time works in a study."""

import errno
import os
import subprocess
import sys
import time

import pytest

from xrdorder.exceptions import StudyError
from xrdorder.files import atomic as files


def test_a_file_is_replaced_in_one_step(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")

    def write(path):
        path.write_text("new")
        assert path.parent == tmp_path  # only within one folder is a rename one step
        assert target.read_text() == "old"

    files.write_atomically(target, write)
    assert target.read_text() == "new"
    assert list(tmp_path.iterdir()) == [target]


def test_a_full_disk_leaves_the_old_file_and_says_so_in_one_line(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")

    def write(path):
        path.write_text("half of it")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with pytest.raises(StudyError) as caught:
        files.write_atomically(target, write)
    assert str(caught.value).startswith(f"{target}: cannot be written (No space left on device); ")
    assert "\n" not in str(caught.value)
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


def test_a_folder_in_the_place_of_a_file_is_told_before_anything_is_written(tmp_path):
    (tmp_path / "a.nc").mkdir()
    with pytest.raises(StudyError, match=r"a\.nc: is a folder where a file is meant; move it away"):
        files.write_atomically(tmp_path / "a.nc", lambda path: pytest.fail("written for nothing"))


def test_the_words_of_the_system_are_found_in_a_report_of_hdf5():
    report = OSError(
        "Can't synchronously write data (file write failed: time = Wed Nov 25 08:48:42 2026\n, filename = "
        "'a.nc', file descriptor = 3, errno = 28, error message = 'No space left on device', buf = 0x5581)"
    )
    assert files.disk_reason(report) == os.strerror(errno.ENOSPC)
    assert files.disk_reason(OSError("odd\nthing")) == "odd thing"
    assert files.disk_reason(PermissionError(errno.EACCES, "may not be read")) == "may not be read"


def test_an_interrupt_leaves_nothing_half_done(tmp_path):
    def write(path):
        path.write_text("half of it")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        files.write_atomically(tmp_path / "a.txt", write)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "file", tmp_path / "file" / "results"):
        with pytest.raises(StudyError, match="a file stands where a folder is meant") as caught:
            files.make_folder(folder)
        assert "\n" not in str(caught.value)


def test_only_old_leftovers_are_swept_away(tmp_path):
    old, young, other = tmp_path / ".a.nc.1.part", tmp_path / ".b.nc.2.part", tmp_path / "c.nc"
    for path in (old, young, other):
        path.write_text("")
    long_ago = time.time() - 2 * files.STALE_PART_S
    os.utime(old, (long_ago, long_ago))
    os.utime(other, (long_ago, long_ago))
    files.sweep(tmp_path)
    assert sorted(tmp_path.iterdir()) == [young, other]


def test_the_hash_is_that_of_the_bytes(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"abc")
    # the example of FIPS 180-4 for SHA-256
    assert files.file_hash(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_disk_without_locks_is_not_taken_for_another_run(tmp_path, monkeypatch):
    def none(_):
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr(files, "_lock", none)
    with pytest.raises(StudyError, match=r"cannot be held for one run \(.*\); keep the study on a disk"):
        with files.only_run(tmp_path):
            pass


HOLD = """
import sys
from pathlib import Path
from xrdorder.files.atomic import only_run
with only_run(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.readline()
"""


def test_a_second_run_is_refused_and_a_killed_one_leaves_no_lock(tmp_path):
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout.readline() == b"held\n"
        with pytest.raises(StudyError, match="another run is at work"), files.only_run(tmp_path):
            pass
        other.kill()
    with files.only_run(tmp_path):
        pass
