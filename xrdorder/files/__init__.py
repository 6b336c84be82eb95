"""What stands on the disk, before anybody asks what it means.

`read_bytes` and `read_text` open regular files of sensible size and nothing else; `toml_table` reads TOML, and
`xrdorder.files.cif` CIF, that strangers wrote; `csv_text` writes tables that a spreadsheet can open; `shown` prints any
name. What a file is about, and which error fits, is for its reader to say.
"""

from xrdorder.files.regular import MOST_BYTES, read_bytes, read_text, require_regular, shown
from xrdorder.files.tables import csv_text
from xrdorder.files.toml import toml_table

__all__ = ["MOST_BYTES", "csv_text", "read_bytes", "read_text", "require_regular", "shown", "toml_table"]
