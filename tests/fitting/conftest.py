"""A small instrument, a standard and a sample, simulated once by the independent generator."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest
import xarray as xr

from tests.fitting.finished import finished
from tests.generator import InstrumentTruth, PhaseTruth, SampleTruth, simulate, simulate_standard
from tests.made import as_pattern
from xrdorder.fitting import Calibration, calibrate
from xrdorder.fitting.procedure import Procedure

# a coarser, shorter scan than a laboratory would take: enough lines for every parameter, a third of the time
TWO_THETA = np.round(np.arange(20.0, 124.0, 0.04), 2)
INSTRUMENT = InstrumentTruth(two_theta_offset=0.01)
SAMPLE = SampleTruth(
    tin_fraction=0.24,
    order_a=0.95,
    domain_size_nm=90.0,
    displacement_mm=0.03,
    others=(
        PhaseTruth("nb", 0.10, 0.33007, 60.0, b_iso_nm2=0.0046),
        PhaseTruth("cu-sn", 0.05, 0.3660, 40.0, tin_fraction=0.03),
    ),
)


@pytest.fixture(scope="session")
def standard_pattern() -> xr.DataArray:
    return as_pattern(*simulate_standard(INSTRUMENT, two_theta=TWO_THETA, displacement_mm=0.02, seed=1))


@pytest.fixture(scope="session")
def calibration(standard_pattern: xr.DataArray) -> Calibration:
    return calibrate(standard_pattern, "srm-660c", detector_distance_mm=217.5, domain_size_nm=inf)


@pytest.fixture(scope="session")
def sample_pattern() -> xr.DataArray:
    return as_pattern(*simulate(SAMPLE, INSTRUMENT, TWO_THETA, seed=2))


@pytest.fixture(scope="session")
def job(sample_pattern: xr.DataArray, calibration: Calibration) -> Procedure:
    """The sample at the minimum of its whole-pattern fit; not to be changed."""
    return finished(sample_pattern, calibration.instrument)


@pytest.fixture(scope="session")
def pattern_without_a15() -> xr.DataArray:
    """Niobium and bronze alone: the A15 has no weight."""
    others = (PhaseTruth("nb", 0.7, 0.33007, 60.0), PhaseTruth("cu-sn", 0.3, 0.3660, 40.0, tin_fraction=0.03))
    return as_pattern(*simulate(replace(SAMPLE, others=others), INSTRUMENT, TWO_THETA, seed=3))
