"""Read a NeXus file in a process of its own, with limits of time and memory.

Damaged or malicious bytes can hang the HDF5 library for good, make it ask for all the memory there is, or end its
process. Here that is the end of one file, told in one line. The process is given the bytes of the file and no name to
open, and hands back plain arrays and JSON.

Its start takes as long as loading numpy and h5py, a few tenths of a second; text files and CIF do not need it. It works
within the processes of a study too: it is started as a program, which knows nothing of its parent.
"""

import io
import json
import os
import subprocess
import sys
from dataclasses import fields
from typing import Any

import numpy as np

from xrdorder.exceptions import PatternError
from xrdorder.patterns.content import FileContent, ScanRange

SECONDS = 30.0
"""A file of ten million points takes one; the library never comes back from a hang."""

MEMORY_BYTES = 2 * 2**30
"""Address space beside the content of the file, of which it keeps two copies: libraries, and arrays of ten million
points."""

_COLUMNS = ("axis", "values", "uncertainties", "counting_time_s", "numbers")
# The paths of this process are those of the other; nothing is imported from the folder it is started in (-P).
_PROGRAM = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1]); "
    "from xrdorder.patterns.nexus_apart import answer; answer(sys.argv[2])"
)


def read_apart(data: bytes, name: str) -> FileContent:
    """Read the pattern of a NeXus file.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        Its name, for messages.

    Returns
    -------
    FileContent
        As from `xrdorder.patterns.nexus.read_nexus`.

    Raises
    ------
    PatternError
        As there; also if reading takes longer than `SECONDS` or needs more memory than it is given.
    """
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # each would take address space
    command = [sys.executable, "-P", "-c", _PROGRAM, json.dumps(sys.path), name]
    try:
        done = subprocess.run(
            command, input=data, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=SECONDS,
            env=os.environ | threads, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise _damaged(name, f"not read within {SECONDS:g} s") from None
    except OSError as error:
        raise PatternError(f"{name}: no process could be started to read HDF5 ({error.strerror}); try again") from None
    if done.returncode:
        raise _damaged(name, f"the HDF5 library ended with code {done.returncode}")
    return _unpacked(done.stdout)


def _damaged(name: str, reason: str) -> PatternError:
    return PatternError(f"{name}: damaged or truncated HDF5 file ({reason}); copy it again from where it was measured")


def answer(name: str) -> None:
    """Read the file on the standard input and hand over what it says: the work of the other process."""
    data = sys.stdin.buffer.read()
    _hold(len(data))
    from xrdorder.patterns.nexus import read_nexus

    try:
        packed = _packed(read_nexus(data, name))
    except PatternError as error:
        packed = io.BytesIO()
        np.savez(packed, error=np.array(str(error)))
    sys.stdout.buffer.write(packed.getvalue())
    sys.stdout.buffer.flush()


def _hold(size: int) -> None:
    """Limit this process, where the system knows limits; the time also ends it when its parent was killed."""
    try:
        import resource
    except ImportError:  # pragma: no cover (the other system)
        return
    seconds = int(SECONDS) + 1
    for what, limit in (
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_AS, MEMORY_BYTES + 2 * size),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, 0),
    ):
        hard = resource.getrlimit(what)[1]
        least = limit if hard == resource.RLIM_INFINITY else min(limit, hard)
        resource.setrlimit(what, (least, hard))


def _packed(content: FileContent) -> io.BytesIO:
    arrays = {
        f"{key}_{k}": column
        for k, scan in enumerate(content.ranges)
        for key in _COLUMNS
        if (column := getattr(scan, key)) is not None
    }
    about = {item.name: getattr(content, item.name) for item in fields(content) if item.name != "ranges"}
    about["where"] = [scan.where for scan in content.ranges]
    stream = io.BytesIO()
    np.savez(stream, about=np.array(json.dumps(about)), **arrays)
    return stream


def _unpacked(data: bytes) -> FileContent:
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        if "error" in arrays:
            raise PatternError(str(arrays["error"]))
        about = json.loads(str(arrays["about"]))
        columns: dict[str, Any] = {key: arrays[key] for key in arrays.files}
    ranges = []
    for k, where in enumerate(about.pop("where")):
        parts: list[Any] = [columns.get(f"{key}_{k}") for key in _COLUMNS]
        axis, values, uncertainties, times, numbers = parts
        ranges.append(ScanRange(axis, values, uncertainties, times, where, numbers))
    about["flags"] = [tuple(flag) for flag in about["flags"]]
    return FileContent(ranges, **about)
