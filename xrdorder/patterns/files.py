"""Get at a file and recognise its format by content.

What cannot be opened is told apart from what cannot be understood: the remedy is another one.
"""

import re
from pathlib import Path

from xrdorder.exceptions import PatternError
from xrdorder.files import read_bytes, shown
from xrdorder.patterns.content import FileContent
from xrdorder.patterns.text import decode, read_text

_HDF5_SIGNATURE = b"\x89HDF\r\n\x1a\n"
#: Larger than any scan in text or NeXus, images of its detector left aside.
MOST_BYTES = 2**30
_HDF5_SUFFIXES = (".nxs", ".nx", ".nx5", ".h5", ".hdf5", ".hdf")
# A CIF begins with a block header after nothing but comments.
_CIF = re.compile(r"\s*(?:#[^\n]*\n\s*)*data_\S*\s", re.IGNORECASE)


def read_content(path: Path, *, diffractogram: str | None = None) -> tuple[bytes, FileContent]:
    """Read a pattern file of any format.

    Parameters
    ----------
    path : Path
        The file.
    diffractogram : str, optional
        Which one to read of a powder CIF that names several (`xrdorder.patterns.powder_cif.read_cif`); other formats
        name none.

    Returns
    -------
    data, content
        The bytes of the file, and what its reader made of them.

    Raises
    ------
    PatternError
        If the file cannot be opened or understood.
    """
    data, name = _bytes(path), shown(path.name)
    if _is_hdf5(data):
        from xrdorder.patterns.nexus_apart import read_apart

        return data, read_apart(data, name)
    if path.suffix.lower() in _HDF5_SUFFIXES:
        raise PatternError(
            f"{name}: not an HDF5 file in spite of its name; copy it again from where it was measured"
        )
    text = decode(data, name)
    if not text.strip():
        raise PatternError(f"{name}: the file is empty; copy or export it again")
    if path.suffix.lower() == ".cif" or _CIF.match(text):
        from xrdorder.patterns.powder_cif import read_cif

        return data, read_cif(text, name, diffractogram)
    return data, read_text(text, name)


def _bytes(path: Path) -> bytes:
    name = shown(path)
    try:
        return read_bytes(path, MOST_BYTES)
    except FileNotFoundError:
        raise PatternError(f"{name}: no such file; check the name and the folder") from None
    except PermissionError:
        raise PatternError(f"{name}: no permission to read the file; change its permissions") from None
    except IsADirectoryError:
        raise PatternError(f"{name}: a directory; name the pattern files in it") from None
    except OSError as error:
        raise PatternError(f"{name}: cannot be read ({error.strerror}); name a pattern file") from None


def _is_hdf5(data: bytes) -> bool:
    """Look for the signature at 0, 512, 1024, ...: HDF5 allows a block of other bytes in front."""
    offset = 0
    while offset < len(data):
        if data[offset : offset + 8] == _HDF5_SIGNATURE:
            return True
        offset = max(2 * offset, 512)
    return False
