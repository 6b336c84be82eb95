"""Answer what was measured.

`read_pattern` reads text columns, a powder CIF or a NeXus file into one `xarray.DataArray`; `read_patterns`
reads repeated scans and ranges of one specimen as one; `write_pattern` writes a pattern in any of the three
formats.

Each format has a reader of its own (`text`, `powder_cif`, `nexus`) that hands over scans (`content`);
`checks` refuses what cannot be a pattern, `counts` notices intensities that are not counts, `ended` files that were cut
short, `pattern` puts all together. Names are handed on lazily: the process that reads a NeXus file (`nexus_apart`) is
started for each, and needs neither xarray nor the writers.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from xrdorder.patterns.content import GEOMETRIES, MOUNTS

if TYPE_CHECKING:
    from xrdorder.patterns.pattern import read_pattern, read_patterns
    from xrdorder.patterns.write import write_pattern

__all__ = ["GEOMETRIES", "MOUNTS", "read_pattern", "read_patterns", "write_pattern"]

_HOME = {"read_pattern": "pattern", "read_patterns": "pattern", "write_pattern": "write"}


def __getattr__(name: str) -> Any:
    """Import the module that owns `name` the first time it is asked for."""
    if name in _HOME:
        return getattr(import_module(f"xrdorder.patterns.{_HOME[name]}"), name)
    raise AttributeError(f"module 'xrdorder.patterns' has no attribute '{name}'")
