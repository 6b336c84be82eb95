"""What is wrong with options that describe a study or a calibration, said of the option before anything is fitted."""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from xrdorder.exceptions import InstrumentError, StudyError, XrdorderError

if TYPE_CHECKING:
    from xrdorder.description.sample import Sample
    from xrdorder.profiles import Instrument

_OPTIONS = {"texture_axes": "texture-axis", "dopant_at_percent": "dopant", "u_dopant_at_percent": "dopant"}
_BY_OPTION = ("mu_t", "mu_r", "roughness", "divergence_deg", "specimen_length_mm")


@contextmanager
def told_by_options() -> Iterator[None]:
    """Within this, say a complaint about a key of a description of the option that told it.

    Raises
    ------
    StudyError
        What cannot be; every line begins with the name of an option.
    """
    from xrdorder.files.checked_table import Refused

    try:
        yield
    except Refused as error:
        lines = dict.fromkeys(f"{_as_option(location)}: {said}" for location, said in error.problems)
        raise StudyError("\n".join(lines)) from error


def _as_option(location: Sequence[int | str]) -> str:
    """Name the option that tells a key of a description.

    >>> _as_option(("defaults", "fit", "mu_t")), _as_option(("defaults", "fit", "texture_axes", "nb"))
    ('--mu-t', '--texture-axis nb')
    """
    keys = [part for part in location if isinstance(part, str)]
    match keys:
        case ["defaults", "fit", *rest] if rest:
            keys = rest
        case ["defaults", *rest] | ["lots", _, *rest] if rest:
            keys = rest
    key, *of = keys or ["samples"]
    return " ".join([f"--{_OPTIONS.get(key, key.replace('_', '-'))}", *of])


def require_fit(sample: "Sample", file: Path) -> None:
    """Refuse a sample that could not be fitted with an instrument.

    Raises
    ------
    XrdorderError
        Another radiation, or numbers of another kind of specimen; or the file is no instrument.
    """
    from xrdorder.profiles import read_instrument

    instrument = read_instrument(file)
    _require_radiation(sample.radiation, instrument, file)
    _require_geometry(sample, instrument)


def _require_radiation(given: str | None, instrument: "Instrument", file: Path) -> None:
    from xrdorder.xrays import radiation

    if given is None:
        return
    asked, calibrated = radiation(given).wavelength_nm, radiation(instrument.radiation).wavelength_nm
    if abs(asked / calibrated - 1.0) > 1e-3:  # as the fit tells two radiations apart
        raise InstrumentError(
            f"--radiation {given}: {asked:.6f} nm, but {file} was calibrated with {instrument.radiation} "
            f"({calibrated:.6f} nm); calibrate with the same radiation, or correct the option"
        )


def _require_geometry(sample: "Sample", instrument: "Instrument") -> None:
    """Numbers that belong to another kind of specimen than the instrument's, or that it needs and that are missing."""
    import numpy as np

    from xrdorder.fitting import FitOptions
    from xrdorder.fitting.whole_pattern import sample_geometry

    try:
        geometry = sample_geometry(
            instrument, sample.divergence_deg, sample.specimen_length_mm, FitOptions(**sample.choices)
        )
        geometry.intensity_factor(np.radians([30.0]))
    except XrdorderError as error:
        said = str(error).removeprefix("geometry: ").removeprefix("fit: ")
        for name in _BY_OPTION:
            said = re.sub(rf"\b{name}\b", f"--{name.replace('_', '-')}", said)
        raise type(error)(f"{said} (the instrument was calibrated in {instrument.geometry})") from error
