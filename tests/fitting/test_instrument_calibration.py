"""The instrument out of a certified powder."""

from math import inf
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from tests.fitting.conftest import INSTRUMENT, TWO_THETA
from tests.generator import InstrumentTruth, simulate_standard
from tests.made import as_pattern
from xrdorder.exceptions import FitError, InstrumentError, UnknownNameError
from xrdorder.fitting import Calibration, calibrate
from xrdorder.patterns import read_pattern
from xrdorder.profiles import INSTRUMENT_NAMES


def test_finds_the_instrument(calibration: Calibration) -> None:
    instrument = calibration.instrument
    for name in INSTRUMENT_NAMES:
        # shares of both groups in the generator: G. Hölzer et al., Phys. Rev. A 56 (1997) 4554, from memory
        truth = 0.341 / 0.659 if name == "alpha2_ratio" else getattr(INSTRUMENT, name)
        u = instrument.uncertainty(name)
        # four uncertainties for nine parameters; offset and displacement also take up what the generator leaves out
        margin = 0.003 if name == "two_theta_offset" else 0.0
        assert abs(instrument.values[name] - truth) < 4.0 * u + margin, name


def test_offset_and_displacement_cannot_be_told_apart(calibration: Calibration) -> None:
    assert abs(calibration.offset_displacement_correlation) > 0.95
    assert calibration.displacement_mm == pytest.approx(0.02, abs=4.0 * calibration.u_displacement_mm + 0.01)


def test_axial_ratios_are_tied(calibration: Calibration) -> None:
    values = calibration.instrument.values
    assert values["axial_source_ratio"] == values["axial_detector_ratio"]
    i, j = INSTRUMENT_NAMES.index("axial_source_ratio"), INSTRUMENT_NAMES.index("axial_detector_ratio")
    covariance = calibration.instrument.covariance
    assert covariance[i, i] == covariance[i, j] == covariance[j, j] > 0.0


def test_offset_and_displacement_are_uncertain_by_the_certificate_too(calibration: Calibration) -> None:
    instrument = calibration.instrument
    assert instrument.total("two_theta_offset") > 3.0 * instrument.uncertainty("two_theta_offset")
    # truths of the generator; by counting alone the offset is five uncertainties off, the displacement three
    assert abs(instrument.values["two_theta_offset"] - INSTRUMENT.two_theta_offset) < 2.0 * instrument.total(
        "two_theta_offset"
    )
    assert abs(calibration.displacement_mm - 0.02) < 2.0 * calibration.u_displacement_mm


def test_a_pattern_of_two_powders_makes_no_instrument(standard_pattern: xr.DataArray) -> None:
    silicon = as_pattern(*simulate_standard(INSTRUMENT, "srm-640c", TWO_THETA, seed=3))
    both = standard_pattern.copy(data=standard_pattern.values + silicon.values)
    with pytest.raises(FitError, match=r"srm-660c does not explain .*chi squared \d+, .*no instrument was made"):
        calibrate(both, "srm-660c", detector_distance_mm=217.5)


def test_certificate_error_moves_the_instrument(
    standard_pattern: xr.DataArray, calibration: Calibration
) -> None:
    from dataclasses import replace

    from xrdorder.crystals.standards import standard

    certified = standard("srm-660c")
    u = certified.u_lengths_nm[0]
    other = replace(certified, lengths_nm=(certified.lengths_nm[0] + u,))
    moved = calibrate(standard_pattern, other, detector_distance_mm=217.5, domain_size_nm=inf)
    k = INSTRUMENT_NAMES.index("two_theta_offset")
    change = moved.instrument.values["two_theta_offset"] - calibration.instrument.values["two_theta_offset"]
    # the stored shift is linear; one standard uncertainty is a small step
    assert change == pytest.approx(calibration.instrument.certificate_shift[k], rel=0.05)


def test_value_not_read_on_a_certificate_is_said(standard_pattern: xr.DataArray) -> None:
    loose = calibrate(standard_pattern, "srm-660b", detector_distance_mm=217.5, domain_size_nm=inf)
    assert any("certificate" in remark for remark in loose.instrument.remarks)


def test_wrong_use(standard_pattern: xr.DataArray) -> None:
    with pytest.raises(UnknownNameError, match="srm-660c"):
        calibrate(standard_pattern, "srm-1", detector_distance_mm=217.5)
    with pytest.raises(InstrumentError, match="must be positive"):
        calibrate(standard_pattern, "srm-660c", detector_distance_mm=0.0)
    with pytest.raises(InstrumentError, match="does not name its radiation"):
        calibrate(standard_pattern.assign_attrs(radiation=""), "srm-660c", detector_distance_mm=217.5)
    flat = as_pattern(TWO_THETA, np.random.default_rng(0).poisson(100.0, len(TWO_THETA)).astype(float))
    with pytest.raises(FitError, match="not in this pattern"):
        calibrate(flat, "srm-660c", detector_distance_mm=217.5)


@pytest.mark.parametrize("size_nm", [700.0, 1500.0, 4000.0])
def test_domains_of_a_standard_that_nobody_told_are_in_doubt(size_nm: float) -> None:
    """Its lines are broadened by domains as authors found them; the instrument must not be sure that they are not."""
    counts = simulate_standard(INSTRUMENT, two_theta=TWO_THETA, displacement_mm=0.02, domain_size_nm=size_nm)[1]
    pattern = as_pattern(TWO_THETA, counts)
    untold = calibrate(pattern, "srm-660c", detector_distance_mm=217.5).instrument
    told = calibrate(pattern, "srm-660c", detector_distance_mm=217.5, domain_size_nm=size_nm).instrument
    k = INSTRUMENT_NAMES.index("lorentz_sec")
    assert not told.domains_shift.any()
    # axial divergence is a little otherwise in the model, which costs a tenth of a thousandth of a degree
    assert told.values["lorentz_sec"] == pytest.approx(INSTRUMENT.lorentz_sec, abs=2e-4)
    # two standard uncertainties; exact counts leave no other error
    assert abs(untold.values["lorentz_sec"] - told.values["lorentz_sec"]) < 2.0 * abs(untold.domains_shift[k])
    # 1500 nm within a factor of two, (2/pi) lambda / D
    u = np.degrees(0.154059 / 1500.0) * 2.0 / np.pi * 0.75
    assert abs(untold.domains_shift[k]) == pytest.approx(u, rel=0.1)


@pytest.mark.slow
def test_a_resampled_standard_makes_an_instrument_as_uncertain_as_the_scan_itself(tmp_path: Path) -> None:
    """A flat specimen in a wide beam makes lines that no model here has: misfit, whose uncertainty is the question."""
    flat = InstrumentTruth(two_theta_offset=0.01, flat_specimen=True, divergence_deg=2.0)
    angles = np.round(20.0 + 0.02626 * np.arange(3808), 5)
    counts = simulate_standard(flat, two_theta=angles, seed=1, peak_counts=60_000.0)[1]
    grid = np.arange(angles[0], angles[-1], 0.026)
    made = []
    for name, x, y in (("raw", angles, counts), ("resampled", grid, np.interp(grid, angles, counts))):
        np.savetxt(tmp_path / name, np.column_stack([x, y]), fmt="%.5f")
        pattern = read_pattern(tmp_path / name, radiation="cu-ka")
        made.append(calibrate(pattern, "srm-660c", detector_distance_mm=217.5).instrument)
    raw, resampled = made
    assert any("resampled" in remark for remark in resampled.remarks)
    for parameter in INSTRUMENT_NAMES:
        if raw.uncertainty(parameter) > 0.0:
            # serial correlation is estimated from some thousand residuals, to a tenth
            ratio = resampled.uncertainty(parameter) / raw.uncertainty(parameter)
            assert ratio == pytest.approx(1.0, abs=0.15), parameter
