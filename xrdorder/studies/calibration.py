"""The instrument of a study: read from its file, or calibrated once from the study's own standard."""

from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path

from xrdorder import __version__
from xrdorder.crystals.standards import standard
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.fitting import calibrate
from xrdorder.profiles import Instrument, read_instrument, write_instrument
from xrdorder.studies.description import CalibrationInput, Reading, Study
from xrdorder.studies.files import file_hash
from xrdorder.studies.fingerprint import fingerprint
from xrdorder.studies.store import Provenance, read_fingerprint, write_sample
from xrdorder.studies.work import of_fit, read, require_files

INSTRUMENT_FILE = "instrument.toml"
CALIBRATION_FILE = "calibration.nc"


def study_instrument(study: Study, results: Path, *, again: bool = False) -> Instrument:
    """Give the instrument of a study, calibrating it if needed.

    A calibration within the study leaves `instrument.toml` and `calibration.nc` (its fit) in the results
    folder and is taken from there as long as its input is unchanged.

    Parameters
    ----------
    study : Study
    results : Path
        The results folder.
    again : bool
        Calibrate even if nothing has changed.

    Raises
    ------
    StudyError
        The instrument file cannot be used, or the calibration failed.
    """
    if isinstance(study.instrument, Path):
        return read_instrument(study.instrument)
    file, record = results / INSTRUMENT_FILE, results / CALIBRATION_FILE
    try:
        provenance = _provenance(study.instrument)
        if not again and file.is_file() and read_fingerprint(record) == provenance.fingerprint:
            return read_instrument(file)
        return _calibrate(study.instrument, provenance, file, record)
    except XrdorderError as error:
        raise StudyError(f"instrument.calibrate: {error}") from error


def _provenance(given: CalibrationInput) -> Provenance:
    require_files(given.patterns)
    hashes = {path.name: file_hash(path) for path in given.patterns}
    options = {key: value for key, value in asdict(given).items() if key != "patterns"}
    return Provenance(
        fingerprint=fingerprint(hashes, options), input_sha256=hashes, version=__version__, options=options
    )


def _calibrate(given: CalibrationInput, provenance: Provenance, file: Path, record: Path) -> Instrument:
    pattern = read(given.patterns, Reading(radiation=given.radiation, geometry=given.geometry), "")
    powder = standard(given.standard).with_value(given.standard_lattice_nm, given.u_standard_lattice_nm)
    calibration = calibrate(
        pattern,
        powder,
        radiation=given.radiation,
        detector_distance_mm=given.detector_distance_mm,
        divergence_deg=given.divergence_deg,
        specimen_length_mm=given.specimen_length_mm,
        monochromator_two_theta_deg=given.monochromator_two_theta_deg,
        temperature_c=given.temperature_c,
        domain_size_nm=given.standard_domain_size_nm,
        illuminated_length_mm=given.illuminated_length_mm,
        polarisation_ratio=given.polarisation_ratio,
        geometry=given.geometry or pattern.attrs["geometry"] or "reflection",
        mu_t=given.mu_t,
        mu_r=given.mu_r,
        focused=given.focused,
    )
    write_instrument(calibration.instrument, file)
    # The file is what later runs read, so it is what this run takes too: samples fitted in two runs share it.
    instrument = read_instrument(file)
    stamped = replace(
        provenance, calibration=instrument.id, created=datetime.now(UTC).isoformat(timespec="seconds")
    )
    # The record goes last: its fingerprint vouches for the instrument file beside it.
    write_sample(of_fit("calibration", calibration.fit, stamped), record)
    return instrument
