"""A certified powder mixed into the specimen sets the angles."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from tests.fitting.conftest import INSTRUMENT, SAMPLE, TWO_THETA
from tests.generator import PhaseTruth, simulate
from tests.made import as_pattern
from xrdorder.exceptions import FitError, UnknownNameError
from xrdorder.fitting import Calibration, fit_pattern

SILICON_NM = 0.54311946  # SRM 640c, certificate as quoted in a public mail archive
WITH_SILICON = replace(SAMPLE, others=(*SAMPLE.others, PhaseTruth("si", 0.25, SILICON_NM, 400.0)))


@pytest.fixture(scope="module")
def misaligned_pattern() -> xr.DataArray:
    """Measured when the goniometer had moved by 0.03 degrees since the calibration."""
    moved = replace(INSTRUMENT, two_theta_offset=INSTRUMENT.two_theta_offset + 0.03)
    return as_pattern(*simulate(WITH_SILICON, moved, TWO_THETA, seed=12))


@pytest.mark.slow
def test_corrects_a_goniometer_that_moved(misaligned_pattern: xr.DataArray, calibration: Calibration) -> None:
    phases = ["nb3sn", "nb", "cu-sn", "si"]
    without = fit_pattern(misaligned_pattern, calibration.instrument, phases=phases)
    result = fit_pattern(misaligned_pattern, calibration.instrument, internal_standard="srm-640c")
    error, error_without = (f.values["a_nm"] - SAMPLE.lattice_nm for f in (result, without))
    assert abs(error) < 3.0 * result.u("a_nm")
    assert abs(error_without) > 5.0 * abs(error)
    offset = float(result.parameters["two_theta_offset"].value)
    assert offset == pytest.approx(0.04, abs=4.0 * float(result.parameters["two_theta_offset"].stderr))


@pytest.mark.slow
def test_its_certificate_is_a_source_and_its_mass_is_not_of_the_wire(
    misaligned_pattern: xr.DataArray, calibration: Calibration
) -> None:
    result = fit_pattern(misaligned_pattern, calibration.instrument, internal_standard="srm-640c")
    budget = dict(result.contributions.budget("a_nm"))
    # a relative error of the certificate (half of 9.2e-7 nm) goes over to the lattice parameter nearly whole
    assert budget["internal standard"] == pytest.approx(SAMPLE.lattice_nm * 0.46e-6 / SILICON_NM, rel=0.3)
    k = result.contributions.sources.index("internal standard")
    assert result.contributions.groups[k] == "srm-640c"
    shares = {name: share / 0.75 for name, share in WITH_SILICON.weight_fractions().items() if name != "si"}
    for name, share in shares.items():
        assert abs(result.values[f"weight_fraction_{name}"] - share) < 4.0 * result.u(
            f"weight_fraction_{name}"
        )
    assert "weight_fraction_si" not in result.values
    assert "si" not in result.phases


@pytest.mark.slow
def test_temperature_moves_the_standard(misaligned_pattern: xr.DataArray, calibration: Calibration) -> None:
    warm, cool = (
        fit_pattern(misaligned_pattern, calibration.instrument, internal_standard="srm-640c", temperature_c=t)
        for t in (32.5, 22.5)
    )
    # ten kelvin of silicon, 2.56e-6/K from memory
    assert warm.values["a_nm"] / cool.values["a_nm"] - 1.0 == pytest.approx(2.56e-5, rel=0.1)


@pytest.mark.slow
def test_missing_standard_is_said(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    result = fit_pattern(sample_pattern, calibration.instrument, internal_standard="srm-640c")
    assert "internal-standard-weak" in {flag.name for flag in result.flags}
    assert result.parameters["two_theta_offset"].value == calibration.instrument.values["two_theta_offset"]


def test_wrong_use(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    with pytest.raises(UnknownNameError, match="srm-640c"):
        fit_pattern(sample_pattern, calibration.instrument, internal_standard="srm-1")
    with pytest.raises(FitError, match="given twice"):
        fit_pattern(
            sample_pattern, calibration.instrument, phases=["nb3sn", "si"], internal_standard="srm-640c"
        )
    assert np.isfinite(sample_pattern.values).all()
