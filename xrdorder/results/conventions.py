"""What the CF conventions ask of a netCDF file.

CF metadata conventions 1.8, https://cfconventions.org: units that the database of UDUNITS-2 can read (section 3.1),
``Conventions``, ``title`` and ``history`` of the whole (section 2.6). A table of several quantities has no unit of its
own: there the units stand in a variable beside the names. Texts have none at all.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

CONVENTIONS = "CF-1.8"

# UDUNITS reads at.% as a pressure: the technical atmosphere, times per cent
_UDUNITS = {"": "1", "at.%": "percent", "degree²": "degree2", "nm²": "nm2", "mm²": "mm2", "°C": "degree_Celsius",
            "h": "hour"}  # fmt: skip


def udunits(printed: str) -> str:
    """Write a printed unit as UDUNITS reads it.

    >>> udunits("at.%"), udunits("nm"), udunits("")
    ('percent', 'nm', '1')
    """
    return _UDUNITS.get(printed, printed)


def units_beside(printed: Iterable[str], of: str) -> tuple[NDArray[np.object_], dict[str, str]]:
    """Units of several quantities, and the attributes of the variable that holds them.

    Parameters
    ----------
    printed : iterable of str
        Units as they are printed.
    of : str
        Variables of the table whose units they are.
    """
    return np.array([udunits(quantity) for quantity in printed], dtype=object), {
        "long_name": f"units of {of}, for UDUNITS"
    }


def about(title: str, made: str, created: str) -> dict[str, str]:
    """Attributes of a whole file.

    Parameters
    ----------
    title : str
    made : str
        What was done by which program.
    created : str
        Time in UTC, ISO 8601; empty where nobody knows it.
    """
    return {
        "Conventions": CONVENTIONS,
        "title": title,
        "history": f"{created}: {made}" if created else made,
    }
