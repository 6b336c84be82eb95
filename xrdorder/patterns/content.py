"""What a reader of one file format hands over, before anything is checked or converted.

Every reader (text, powder CIF, NeXus) fills the same two small classes; the checks, the conversion to 2θ, the
search for intensities that are not counts and the assembly then need no knowledge of formats.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import PatternError

Array = NDArray[np.float64]

#: What may stand on the horizontal axis of a file.
AXES = ("two-theta", "d", "q")
#: Ways of passing the beam by the specimen.
GEOMETRIES = ("reflection", "transmission", "capillary")
#: Ways of preparing wire for the diffractometer; they decide which strain and which texture is seen.
MOUNTS = ("ground-powder", "whole-filaments", "polished-section", "wires-laid-flat", "transmission")

#: What a CIF says of counts whose uncertainties are not those of counting: the dictionary has no item for them.
COUNTS_IN_SPITE_OF_SU = "counts with standard uncertainties of their own"

#: Specimen temperatures (K) that differ by less are one: 2 K are 0.06 at.% of tin in the lattice parameter of
#: A15.
SAME_TEMPERATURE = 2.0


@dataclass
class ScanRange:
    """One scan over a stretch of the axis, upwards or downwards.

    Attributes
    ----------
    axis : (n,) array
        Angles (degree), d or q as the file gives them, in the order of the file.
    values : (n,) array
        Counts or intensities.
    uncertainties : (n,) array or None
        Standard uncertainties of `values` where the file gives them.
    counting_time_s : (n,) array or None
        Seconds for each point; None where the file does not say.
    where : str
        Place in the file in front of the number of a point, "line" or "block data_x, point".
    numbers : (n,) int array
        Number of each point or line, counted from 1.
    """

    axis: Array
    values: Array
    uncertainties: Array | None
    counting_time_s: Array | None
    where: str
    numbers: NDArray[np.int64]

    def place(self, index: int) -> str:
        """Say where point `index` stands in the file, "line 17"."""
        return f"{self.where} {self.numbers[index]}"

    @property
    def remedy(self) -> str:
        """Say how scans are told apart in a file of this format."""
        return "put a blank line between scans" if self.where == "line" else "give each scan its own block or entry"

    def reversed(self) -> "ScanRange":
        """Return the range back to front."""
        return self._cut(slice(None, None, -1))

    def without_last(self) -> "ScanRange":
        """Return the range without its last point."""
        return self._cut(slice(None, -1))

    def _cut(self, part: slice) -> "ScanRange":
        return ScanRange(
            self.axis[part],
            self.values[part],
            None if self.uncertainties is None else self.uncertainties[part],
            None if self.counting_time_s is None else self.counting_time_s[part],
            self.where,
            self.numbers[part],
        )


@dataclass
class FileContent:
    """What one file says: its scans and what it declares about them.

    Attributes
    ----------
    ranges : list of ScanRange
        The scans in the order of the file.
    axis : str
        "two-theta", "d" or "q" where the format says it, else "" (then the reader's caller decides).
    axis_unit : str
        Unit of the axis where the format says it, else "".
    radiation : str
        Name of the radiation in the words of `xrdorder.xrays.radiation`, "" where nothing is said.
    wavelength_nm : float or None
        Wavelength the file gives, nm.
    geometry, mount : str
        As in `GEOMETRIES` and `MOUNTS`, "" where nothing is said.
    temperature_c : float or None
        Temperature of the specimen, °C.
    intensity_kind : str
        "counts" or "intensities" where the file says it, else "".
    start_time : str
        When the first scan began, as the file says it (ISO 8601), else "".
    flags : list of (name, message)
        What the reader noticed.
    """

    ranges: list[ScanRange] = field(default_factory=list)
    axis: str = ""
    axis_unit: str = ""
    radiation: str = ""
    wavelength_nm: float | None = None
    geometry: str = ""
    mount: str = ""
    temperature_c: float | None = None
    intensity_kind: str = ""
    start_time: str = ""
    flags: list[tuple[str, str]] = field(default_factory=list)

    def merge(self, part: "FileContent", file: str, place: str) -> None:
        """Add what one part of the file says about the measurement.

        Parameters
        ----------
        part : FileContent
            What the part says; its ranges are not looked at.
        file, place : str
            File and place of the part, for the message.

        Raises
        ------
        PatternError
            If two parts say different things: they are then no ranges of one scan.
        """
        for item in ("radiation", "wavelength_nm", "geometry", "mount", "temperature_c"):
            old, new = getattr(self, item), getattr(part, item)
            if new in ("", None):
                continue
            near = item == "temperature_c" and old is not None and abs(old - new) <= SAME_TEMPERATURE
            if old not in ("", None) and old != new and not near:
                raise PatternError(
                    f"{file}: {place}: {item} is {new}, further up it is {old}; scans that differ in this "
                    "cannot be one pattern, give each a file of its own"
                )
            setattr(self, item, new)
        if part.intensity_kind and self.intensity_kind != "intensities":
            self.intensity_kind = part.intensity_kind
        self.start_time = min(filter(None, (self.start_time, part.start_time)), default="")
        self.flags.extend(flag for flag in part.flags if flag not in self.flags)
