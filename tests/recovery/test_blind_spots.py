"""What a pattern cannot show, one simulated case each: what the fit says then, and what guards against it.

The table of docs/contributing/coverage.md says the same in words. Specimens, with silicon mixed in or not, are counted
to 25 000 at the highest point on a goniometer that LaB6 calibrated.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.benchmarks.corrupted import LENGTH_MM, specimen
from tests.generator import InstrumentTruth, PhaseTruth, SampleTruth, expected_counts, simulate_standard
from tests.made import as_pattern
from tests.recovery.campaign import COARSE, LAB6_PER_MM, PEAK_COUNTS, U_TEMPERATURE_K
from xrdorder.fitting import Calibration, calibrate, fit_pattern
from xrdorder.material import Material, Specimen, characterise
from xrdorder.xrays import radiation

pytestmark = pytest.mark.slow

GRID = np.array(COARSE)
ONE = specimen(2)
STANDARDS = {"si": ("srm-640c", 0.54311946), "lab6": ("srm-660c", 0.4156826)}
A15_PER_K, EXPANSION_PER_K = 7.6e-6, {"nb": 7.3e-6, "cu-sn": 17e-6, "si": 2.6e-6, "lab6": 6.4e-6}
"""Of the A15 and phases beside it; handbook values from memory."""


def mixed_with(name: str) -> SampleTruth:
    return replace(ONE.sample, others=(*ONE.sample.others, PhaseTruth(name, 0.15, STANDARDS[name][1], 300.0)))


def calibrated(instrument: InstrumentTruth) -> Calibration:
    powder = simulate_standard(
        instrument, two_theta=GRID, seed=5, displacement_mm=0.02, specimen_length_mm=50.0,
        attenuation_per_mm=LAB6_PER_MM,
    )  # fmt: skip
    return calibrate(
        as_pattern(*powder), "srm-660c", detector_distance_mm=217.5, divergence_deg=0.5, specimen_length_mm=50.0,
        domain_size_nm=np.inf,
    )  # fmt: skip


@pytest.fixture(scope="module")
def calibration() -> Calibration:
    return calibrated(ONE.instrument)


def warmer(sample: SampleTruth, by_k: float) -> SampleTruth:
    others = (replace(one, a_nm=one.a_nm * (1.0 + EXPANSION_PER_K[one.name] * by_k)) for one in sample.others)
    return replace(sample, temperature_c=sample.temperature_c + by_k, others=tuple(others))


def found(sample: SampleTruth, instrument: InstrumentTruth, made: Calibration) -> tuple[float, float, set[str]]:
    """Error of the lattice parameter in nm, its uncertainty, and all flags; 22.5 °C and silicon are told."""
    counts = np.random.default_rng(3).poisson(expected_counts(sample, instrument, GRID, peak_counts=PEAK_COUNTS))
    mixed = [STANDARDS[one.name][0] for one in sample.others if one.name in STANDARDS]
    fit = fit_pattern(
        as_pattern(GRID, counts.astype(float)), made.instrument, phases=("nb3sn", "nb", "cu-sn"),
        specimen_length_mm=LENGTH_MM, internal_standard=mixed[0] if mixed else None,
    )  # fmt: skip
    told = Specimen(mount="ground-powder", temperature_c=22.5, u_temperature_k=U_TEMPERATURE_K, undoped=True)
    material: Material = characterise(
        fit.values, fit.contributions, told, radiation=radiation("cu-ka"), tin_held=fit.tin_held, by_tin=fit.by_tin
    )
    flags = {flag.name for flag in (*fit.flags, *material.flags)}
    return material.values["a_nm"] - ONE.sample.lattice_nm, material.u("a_nm"), flags


MOVED = replace(ONE.instrument, two_theta_offset=ONE.instrument.two_theta_offset + 0.03)


def test_a_zero_that_moved_is_not_seen(calibration: Calibration) -> None:
    error, u, flags = found(ONE.sample, MOVED, calibration)
    assert error < -3.0 * u  # 0.3 at.% of tin, as a displaced specimen would have shifted the lines
    assert not flags & {"goniometer-moved", "angles-off", "niobium-lattice", "lines-out-of-place"}


def test_an_internal_standard_guards_against_a_zero_that_moved(calibration: Calibration) -> None:
    error, u, _ = found(mixed_with("si"), MOVED, calibration)
    assert abs(error) < 3.0 * u
    assert u < 1e-5  # not because nothing is known: 0.07 at.%


def test_a_warm_specimen_is_told_by_its_niobium_alone(calibration: Calibration) -> None:
    """10 K: 4e-5 nm, 0.3 at.% of tin."""
    error, u, flags = found(warmer(ONE.sample, 10.0), ONE.instrument, calibration)
    assert error == pytest.approx(A15_PER_K * 10.0 * ONE.sample.lattice_nm, abs=3.0 * u)
    assert error > 3.0 * u and "niobium-lattice" in flags
    reacted = replace(ONE.sample, others=tuple(one for one in ONE.sample.others if one.name != "nb"))
    error, u, flags = found(warmer(reacted, 10.0), ONE.instrument, calibration)
    assert error > 3.0 * u and not flags & {"niobium-lattice", "tin-outside-a15"}


@pytest.mark.parametrize("name", STANDARDS)
def test_an_internal_standard_is_no_thermometer(name: str, calibration: Calibration) -> None:
    """It is as warm as the A15 and said to be cold: what it expands is taken off, a third or five sixths."""
    error, u, _ = found(warmer(mixed_with(name), 10.0), ONE.instrument, calibration)
    left = (A15_PER_K - EXPANSION_PER_K[name]) * 10.0 * ONE.sample.lattice_nm
    assert error == pytest.approx(left, abs=2.0 * u)


@pytest.mark.parametrize("toward_deg", [0.0, 90.0])
def test_an_eccentric_circle_is_calibrated_away(toward_deg: float) -> None:
    """What offset, displacement and transparency of the standard do not take up is seen, and enlarges u."""
    eccentric = replace(ONE.instrument, eccentricity_deg=0.03, eccentric_toward_deg=toward_deg)
    made = calibrated(eccentric)
    assert "lines-out-of-place" in {flag.name for flag in made.fit.flags}
    error, u, flags = found(ONE.sample, eccentric, made)
    assert abs(error) < 3.0 * u and "lines-out-of-place" in flags


def test_a_circle_that_became_eccentric_is_seen_by_its_lines(calibration: Calibration) -> None:
    """Calibrated before: nothing has taken it up, and single lines lie out of place."""
    eccentric = replace(ONE.instrument, eccentricity_deg=0.03, eccentric_toward_deg=0.0)
    error, u, flags = found(ONE.sample, eccentric, calibration)
    assert "lines-out-of-place" in flags, (error, u, flags)
