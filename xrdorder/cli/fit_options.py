"""Whether the options of a fit make sense, asked before any pattern is fitted; what is wrong is said of the option."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

from xrdorder.exceptions import StudyError, XrdorderError

if TYPE_CHECKING:
    from xrdorder.description.study import Sample
    from xrdorder.profiles import Instrument

_PLACE = re.compile(r"^(?:defaults\.fit\.|defaults\.|lots\.lot\.|)(\w+)(?:\.(\S+?)| no\. \d+)?: ")
_OPTIONS = {"texture_axes": "texture-axis", "dopant_at_percent": "dopant", "u_dopant_at_percent": "dopant"}
_BY_OPTION = ("mu_t", "mu_r", "roughness", "divergence_deg", "specimen_length_mm")


def require_sense(study: Path, instrument: Path) -> None:
    """Check a study that was written from options of the command line.

    Raises
    ------
    XrdorderError
        An option that no pattern could be fitted with; the message begins with its name.
    """
    from xrdorder.description.study import read_study
    from xrdorder.profiles import read_instrument

    try:
        described = read_study(study)
    except StudyError as error:
        raise StudyError("\n".join(dict.fromkeys(map(_as_option, str(error).splitlines())))) from error
    found = read_instrument(instrument)
    sample = described.samples[0]  # all alike but for their patterns
    _require_radiation(sample, found, instrument)
    _require_geometry(sample, found)


def _as_option(line: str) -> str:
    """Say a complaint about a place in study.toml of the option that was written there.

    >>> _as_option("out/study.toml: defaults.fit.mu_t: -1 is outside 0 to 1e+06; give ...")
    '--mu-t: -1 is outside 0 to 1e+06; give ...'
    >>> _as_option("out/study.toml: defaults.fit.texture_axes.nb: 0 0 0 is no plane; give ...")
    '--texture-axis nb: 0 0 0 is no plane; give ...'
    """
    _, _, text = line.partition("study.toml: ")
    match = _PLACE.match(text)
    if match is None:
        return line
    name = _OPTIONS.get(match[1], match[1].replace("_", "-"))
    return f"--{name}{f' {match[2]}' if match[2] else ''}: {text[match.end() :]}"


def _require_radiation(sample: "Sample", instrument: "Instrument", file: Path) -> None:
    from xrdorder.exceptions import InstrumentError
    from xrdorder.xrays import radiation

    given = sample.reading.radiation
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
