"""Answer what was measured.

`read_pattern` reads text columns, a powder CIF or a NeXus file into one `xarray.DataArray`; `read_patterns`
reads repeated scans and ranges of one specimen as one; `write_pattern` writes a pattern in any of the three
formats.

Each format has a reader of its own (`text`, `powder_cif`, `nexus`) that hands over scans (`content`);
`checks` refuses what cannot be a pattern, `counts` notices intensities that are not counts, `pattern` puts
all together.
"""

from xrdorder.patterns.content import GEOMETRIES, MOUNTS
from xrdorder.patterns.pattern import read_pattern, read_patterns
from xrdorder.patterns.write import write_pattern

__all__ = ["GEOMETRIES", "MOUNTS", "read_pattern", "read_patterns", "write_pattern"]
