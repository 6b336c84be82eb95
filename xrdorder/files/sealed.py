"""Stored files that tell themselves whether they are whole: a checksum stands behind their content.

HDF5 reads no further than its own content, so that a sealed netCDF file is one for every other program as well. The
checksum is looked at before anything of the content is: HDF5 can stop, or never come back, over bytes that changed.
"""

import hashlib
import re
from pathlib import Path

from xrdorder.files import open_regular
from xrdorder.files.atomic import write_atomically

_SEAL = re.compile(rb"\nsha256 of all above: ([0-9a-f]{64})\n")
_LENGTH = len(b"\nsha256 of all above: \n") + 64


def sealed(content: bytes) -> bytes:
    r"""Put the checksum behind a content.

    >>> sealed(b"abc")[:25]
    b'abc\nsha256 of all above: '
    """
    return content + f"\nsha256 of all above: {hashlib.sha256(content).hexdigest()}\n".encode()


def write_sealed(path: Path, content: bytes) -> None:
    """Write a content with its checksum, whole or not at all.

    Raises
    ------
    StudyError
        The disk refuses; the old file, if any, is untouched.
    """
    write_atomically(path, lambda part: part.write_bytes(sealed(content)))


def read_sealed(path: Path) -> bytes:
    """Read a content that agrees with its checksum.

    Raises
    ------
    OSError
        The file cannot be read, or is none: pipes and devices, which may never end, are not read.
    ValueError
        It is damaged, or was not written by `write_sealed`.
    """
    with open_regular(path) as file:
        whole = file.read()
    content, seal = whole[:-_LENGTH], _SEAL.fullmatch(whole[-_LENGTH:])
    if seal is None:
        raise ValueError("no checksum at its end: cut off, or written by another program or an older version")
    if hashlib.sha256(content).hexdigest().encode() != seal[1]:
        raise ValueError("its content does not agree with its checksum")
    return content
