"""The instruments of a study: read from their files, or calibrated once from the study's own standards."""

from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from xrdorder import __version__
from xrdorder.crystals.standards import standard
from xrdorder.description.calibration import Calibration
from xrdorder.description.study import Study
from xrdorder.description.values import require_files
from xrdorder.exceptions import InstrumentError, StudyError, XrdorderError
from xrdorder.files.atomic import file_hash, require_no_folder
from xrdorder.profiles import Instrument, read_instrument, write_instrument
from xrdorder.results.fingerprint import OF_FIT, fingerprint
from xrdorder.results.sample_file import Provenance, stored_sample, write_sample

if TYPE_CHECKING:
    from xrdorder.fitting import Calibration as FittedCalibration


def calibration_files(name: str = "") -> tuple[str, str]:
    """Names of the instrument file and of the fit of a calibration, in the results folder.

    >>> calibration_files(), calibration_files("mo")
    (('instrument.toml', 'calibration.nc'), ('instrument-mo.toml', 'calibration-mo.nc'))
    """
    if not name:
        return "instrument.toml", "calibration.nc"
    return f"instrument-{name}.toml", f"calibration-{name}.nc"


def study_instruments(study: Study, results: Path, *, again: bool = False) -> dict[str, Instrument]:
    """Give the instruments that samples of a study use, calibrating them if needed.

    A calibration within the study leaves an instrument file and its fit in the results folder and is taken from
    there as long as its input is unchanged. What no sample uses is not calibrated.

    Parameters
    ----------
    study : Study
    results : Path
        The results folder.
    again : bool
        Calibrate even if nothing has changed.

    Returns
    -------
    dict of str to Instrument
        By the name of the calibration; that of the table ``[instrument]`` is empty.

    Raises
    ------
    StudyError
        An instrument file cannot be used, or a calibration failed; all of them at once.
    """
    instruments: dict[str, Instrument] = {}
    wrong: list[XrdorderError] = []
    for name in dict.fromkeys(sample.calibration for sample in study.samples):
        try:
            instruments[name] = _instrument(study, name, results, again)
        except XrdorderError as error:
            wrong.append(error)
    if len(wrong) == 1:
        raise wrong[0]
    if wrong:
        raise StudyError("\n".join(map(str, wrong)))
    return instruments


def calibration_words(results: Path, identity: str) -> str:
    """Say from what a calibration of this identity was made; no more than that without a record in the results."""
    for record in sorted(results.glob("calibration*.nc")):
        stored = stored_sample(record)
        if stored is not None and (origin := stored.provenance).calibration == identity:
            patterns = ", ".join(f"{name}, SHA-256 {digest}" for name, digest in origin.input_sha256.items())
            return f"{identity}, by {origin.options.get('standard', 'a standard')}, {origin.created}; {patterns}"
    return identity


def _instrument(study: Study, name: str, results: Path, again: bool) -> Instrument:
    given = study.calibrations[name] if name else study.instrument
    if given is None:
        raise StudyError("instrument: is missing, and a sample names no calibration; give one")
    if isinstance(given, Path):
        return read_instrument(given)
    file, record = (results / file_name for file_name in calibration_files(name))
    try:
        provenance = _provenance(given)
        for path in (file, record):
            require_no_folder(path)
        if not again and file.is_file():
            with suppress(InstrumentError, OSError):  # a damaged file is made again, as the samples are
                if file_hash(file) == _vouched(record, provenance.fingerprint):
                    return read_instrument(file)
        return _calibrate(given, provenance, file, record)
    except XrdorderError as error:
        raise StudyError(f"{f'calibrations.{name}' if name else 'instrument.calibrate'}: {error}") from error


_FILE = "instrument_sha256"


def _vouched(record: Path, fingerprint: str) -> str:
    """SHA-256 of the instrument file that the record of this calibration was made with; empty without such a record.

    An instrument is known by its values; a digit that changes in its covariance would change every uncertainty unseen.
    """
    stored = stored_sample(record)
    if stored is None or stored.provenance.fingerprint != fingerprint:
        return ""
    return str(stored.provenance.options.get(_FILE, ""))


def _provenance(given: Calibration) -> Provenance:
    require_files(given.pattern)
    hashes = {path.name: file_hash(path) for path in given.pattern}
    options = given.model_dump(exclude={"pattern"})
    return Provenance(
        fingerprint=fingerprint(hashes, options, OF_FIT), input_sha256=hashes, version=__version__, options=options
    )


def fit_standard(given: Calibration) -> "FittedCalibration":
    """Read the pattern of a certified powder and fit it.

    Raises
    ------
    XrdorderError
        The pattern cannot be read, or is not one of the powder.
    """
    from xrdorder.fitting import calibrate
    from xrdorder.running.fit_sample import read

    pattern = read(given.pattern, given, "")
    powder = standard(given.standard).with_value(given.standard_lattice_nm, given.u_standard_lattice_nm)
    geometry = given.geometry or pattern.attrs["geometry"] or "reflection"
    return calibrate(pattern, powder, **given.of_fit() | {"geometry": geometry})


def _calibrate(given: Calibration, provenance: Provenance, file: Path, record: Path) -> Instrument:
    from xrdorder.running.fit_sample import of_fit

    calibration = fit_standard(given)
    write_instrument(calibration.instrument, file)
    # The file is what later runs read, so it is what this run takes too: samples fitted in two runs share it.
    instrument = read_instrument(file)
    stamped = replace(
        provenance,
        options={**provenance.options, _FILE: file_hash(file)},
        calibration=instrument.id,
        created=datetime.now(UTC).isoformat(timespec="seconds"),
    )
    # The record goes last: it vouches for the instrument file beside it.
    write_sample(of_fit("calibration", calibration.fit, stamped), record)
    return instrument
