"""What stands on the disk, before anybody asks what it means.

`read_bytes` and `read_text` open regular files of sensible size and nothing else; `toml_table` reads TOML and
`xrdorder.files.cif` CIF that strangers wrote; `TableWriter` writes tables for spreadsheets; `shown` prints any
name. What a file is about, and which error fits, is for its reader to say.
"""

from xrdorder.files.regular import MOST_BYTES, open_regular, read_bytes, read_text, shown
from xrdorder.files.spreadsheets import TableWriter
from xrdorder.files.toml import toml_table

__all__ = [
    "MOST_BYTES",
    "TableWriter",
    "open_regular",
    "read_bytes",
    "read_text",
    "shown",
    "toml_table",
]
