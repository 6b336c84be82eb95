"""Scans that are not what is said of them: told, and not to be used where the lattice or the order is wrong for it."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from tests.fitting.conftest import INSTRUMENT, SAMPLE, TWO_THETA
from tests.generator import defects, expected_counts, simulate, simulate_standard
from tests.made import as_pattern
from xrdorder.exceptions import FitError
from xrdorder.fitting import Calibration, FitOptions, PatternFit, calibrate, fit_pattern
from xrdorder.fitting.contradictions import why_alpha2
from xrdorder.patterns import read_pattern

pytestmark = pytest.mark.slow

# Slit and length are told, so that the beam is known to stay on the specimen; one population is quicker to fit.
OPTIONS = FitOptions(lattice_distribution="single")


def read(folder: Path, counts: np.ndarray) -> xr.DataArray:
    """Through a file, as a user's pattern comes."""
    file = folder / "scan.xy"
    np.savetxt(file, np.column_stack([TWO_THETA, counts]), fmt=["%.2f", "%.4f"])
    return read_pattern(file, radiation="cu-ka")


def fitted(pattern: xr.DataArray, calibration: Calibration) -> PatternFit:
    return fit_pattern(
        pattern, calibration.instrument, options=OPTIONS, divergence_deg=0.5, specimen_length_mm=20.0
    )


def names(fit: PatternFit) -> set[str]:
    return {flag.name for flag in fit.flags}


@pytest.fixture(scope="module")
def expected() -> np.ndarray:
    return expected_counts(SAMPLE, INSTRUMENT, TWO_THETA)


def test_a_true_scan_contradicts_nothing(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    fit = fitted(sample_pattern, calibration)
    assert fit.quality_words == "trustworthy"


def _stripped() -> np.ndarray:
    return defects.alpha2_stripped(TWO_THETA, simulate(SAMPLE, INSTRUMENT, TWO_THETA, seed=2)[1]).clip(0.0)


def _first_line_alone() -> np.ndarray:
    return simulate(SAMPLE, replace(INSTRUMENT, radiation="cu-ka1"), TWO_THETA, seed=2)[1]


@pytest.mark.parametrize("without", [_stripped, _first_line_alone])
def test_a_doublet_that_is_none_is_found(
    without: Callable[[], np.ndarray], calibration: Calibration, tmp_path: Path
) -> None:
    fit = fitted(read(tmp_path, without()), calibration)
    assert "alpha2-not-of-the-tube" in names(fit)
    assert fit.quality_words.startswith("do not use: ") and "K-alpha2" in fit.quality_words


def test_the_true_radiation_is_taken(calibration: Calibration) -> None:
    single = replace(INSTRUMENT, radiation="cu-ka1")
    standard = as_pattern(*simulate_standard(single, two_theta=TWO_THETA, displacement_mm=0.02, seed=1), "cu-ka1")
    instrument = calibrate(standard, "srm-660c", detector_distance_mm=217.5, domain_size_nm=np.inf).instrument
    scan = as_pattern(*simulate(SAMPLE, single, TWO_THETA, seed=2), "cu-ka1")
    fit = fit_pattern(scan, instrument, options=OPTIONS, divergence_deg=0.5, specimen_length_mm=20.0)
    assert fit.quality_words == "trustworthy"
    assert abs(fit.values["a_nm"] - SAMPLE.lattice_nm) < 3.0 * fit.u("a_nm")


def test_no_instrument_is_made_of_a_standard_without_its_doublet(standard_pattern: xr.DataArray) -> None:
    stripped = defects.alpha2_stripped(TWO_THETA, standard_pattern.values).clip(1.0)
    with pytest.raises(FitError, match=r"K-alpha2 of srm-660c is 0\.2\d of K-alpha1.*: it was removed"):
        calibrate(as_pattern(TWO_THETA, stripped), "srm-660c", detector_distance_mm=217.5)


def test_roots_of_a_standard_are_not_told_as_removed(standard_pattern: xr.DataArray) -> None:
    roots = as_pattern(TWO_THETA, np.sqrt(standard_pattern.values).clip(1.0))
    with pytest.raises(FitError, match=r"K-alpha2 .* is 0\.[67]\d of .* weaker than they were counted") as error:
        calibrate(roots, "srm-660c", detector_distance_mm=217.5)
    assert "removed" not in str(error.value)
    assert why_alpha2(0.7, 0.5) in str(error.value) and why_alpha2(0.2, 0.5) not in str(error.value)


def test_angles_half_a_degree_off_are_not_used(calibration: Calibration) -> None:
    moved = replace(INSTRUMENT, two_theta_offset=INSTRUMENT.two_theta_offset + 0.5)
    fit = fitted(as_pattern(*simulate(SAMPLE, moved, TWO_THETA, seed=2)), calibration)
    assert "angles-off" in names(fit)
    assert fit.quality_words.startswith("do not use: the angles are off")


@pytest.mark.parametrize("whole", [False, True])
def test_square_roots_are_not_used(
    whole: bool, sample_pattern: xr.DataArray, calibration: Calibration, tmp_path: Path
) -> None:
    roots = np.sqrt(sample_pattern.values)
    fit = fitted(read(tmp_path, np.rint(roots) if whole else roots), calibration)
    assert ("intensities-bent" if whole else "roots-of-counts") in names(fit)
    assert fit.quality_words.startswith("do not use: ")


def test_dead_time_is_told_by_how_much(expected: np.ndarray, calibration: Calibration) -> None:
    # a counter that is dead for a time after each count: n / (1 + n t); a tenth is lost at the highest point
    lost = expected / (1.0 + 0.1 * expected / expected.max())
    counts = np.random.default_rng(3).poisson(lost).astype(float)
    fit = fitted(as_pattern(TWO_THETA, counts), calibration)
    (flag,) = (flag for flag in fit.flags if flag.name == "dead-time")
    assert any(f" {share} %" in flag.message for share in (8, 9, 10, 11, 12))  # 10 ± 1 by the score test
    assert fit.quality_words.startswith("use with care: ") and "dead time" in fit.quality_words
