"""The instrument and its file."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from xrdorder.exceptions import InstrumentError
from xrdorder.profiles import INSTRUMENT_NAMES, Instrument, read_instrument, write_instrument


def some_instrument() -> Instrument:
    rng = np.random.default_rng(5)
    root = rng.normal(size=(9, 9)) * 1e-4
    values = dict(
        zip(INSTRUMENT_NAMES, [0.0123456789, 0.002, -0.001, 0.003, 0.01, 0.02, 0.02, 0.02, 0.51], strict=True)
    )
    return Instrument(
        radiation="cu-ka",
        detector_distance_mm=217.5,
        values=values,
        covariance=root @ root.T,
        certificate_shift=rng.normal(size=9) * 1e-6,
        wavelength_shift=rng.normal(size=9) * 1e-7,
        domains_shift=rng.normal(size=9) * 1e-3,
        divergence_deg=0.5,
        standard="srm-660c",
        standard_lattice_nm=(0.4156826,),
        remarks=('a "quoted" remark',),
    )


def test_round_trip(tmp_path: Path) -> None:
    instrument = some_instrument()
    write_instrument(instrument, tmp_path / "instrument.toml")
    back = read_instrument(tmp_path / "instrument.toml")
    assert back.values == instrument.values
    assert back.specimen_length_mm is None
    assert back.remarks == instrument.remarks
    # correlations are written to twelve digits
    scale = np.sqrt(np.diag(instrument.covariance))
    np.testing.assert_allclose(
        back.covariance / np.outer(scale, scale), instrument.covariance / np.outer(scale, scale), atol=1e-11
    )
    assert list(tmp_path.iterdir()) == [tmp_path / "instrument.toml"]


def test_id_follows_the_content(tmp_path: Path) -> None:
    instrument = some_instrument()
    assert instrument.id == some_instrument().id
    assert instrument.id != replace(instrument, detector_distance_mm=240.0).id
    write_instrument(instrument, tmp_path / "a.toml")
    assert read_instrument(tmp_path / "a.toml").id == instrument.id


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("detector_distance_mm = 217.5", "detector_distance_mm = -1.0"), "must be positive"),
        (("radiation = ", "radio = "), "'radiation' is missing"),
        (("two_theta_offset = 0.0123456789", "two_theta_offset = nan"), "two_theta_offset"),
        (('geometry = "reflection"', 'geometry = "odd"'), "geometry 'odd'"),
        (("[values]", "[values"), "TOML"),
        (("alpha2_ratio = 0.51", "alpha = 0.51"), "alpha2_ratio"),
        (("divergence_deg = 0.5", "divergence_deg = 0.0"), "divergence_deg"),
    ],
)
def test_broken_files_get_one_line(tmp_path: Path, change: tuple[str, str], said: str) -> None:
    path = tmp_path / "instrument.toml"
    write_instrument(some_instrument(), path)
    text = path.read_text()
    assert change[0] in text
    path.write_text(text.replace(*change))
    with pytest.raises(InstrumentError) as caught:
        read_instrument(path)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_missing_file_and_directory(tmp_path: Path) -> None:
    with pytest.raises(InstrumentError, match="no such instrument file"):
        read_instrument(tmp_path / "none.toml")
    with pytest.raises(InstrumentError, match="cannot be read"):
        read_instrument(tmp_path)
    with pytest.raises(InstrumentError, match="cannot be written"):
        write_instrument(some_instrument(), tmp_path / "no" / "folder.toml")
