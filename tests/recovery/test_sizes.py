"""Domain sizes of every distribution come back as their volume-weighted mean, within what is stated for them."""

from dataclasses import replace

import numpy as np
import pytest

from tests.fitting.conftest import INSTRUMENT, SAMPLE
from tests.generator import LatticeDistribution, LognormalSizes, MixedSizes, simulate, simulate_standard
from tests.generator.sizes import Sizes
from tests.made import as_pattern
from xrdorder.fitting import FitOptions, PatternFit, calibrate, fit_pattern
from xrdorder.profiles import Instrument
from xrdorder.profiles.width_terms import size_from_lorentz_sec

pytestmark = pytest.mark.slow

TWO_THETA = np.round(np.arange(20.0, 124.0, 0.03), 2)
WAVELENGTH_NM = 0.154059
TWO_GENERATIONS = MixedSizes(((0.5, LognormalSizes(60.0, 0.3)), (0.5, LognormalSizes(180.0, 0.3))))


@pytest.fixture(scope="module")
def instrument() -> Instrument:
    scan = as_pattern(*simulate_standard(INSTRUMENT, two_theta=TWO_THETA, displacement_mm=0.02))
    made = calibrate(scan, "srm-660c", detector_distance_mm=217.5, domain_size_nm=np.inf)
    return made.instrument


def fitted(sizes: Sizes | None, instrument: Instrument) -> PatternFit:
    """Fit of exact counts."""
    counts = simulate(replace(SAMPLE, sizes=sizes), INSTRUMENT, TWO_THETA)[1]
    options = FitOptions(lattice_distribution="single", cross_checks=False)
    return fit_pattern(
        as_pattern(TWO_THETA, counts), instrument, options=options, divergence_deg=0.5, specimen_length_mm=20.0
    )


@pytest.mark.parametrize(
    "sizes",
    [
        LognormalSizes(90.0, 0.15), LognormalSizes(90.0, 0.3), LognormalSizes(90.0, 0.6), LognormalSizes(90.0, 0.75),
        LognormalSizes(90.0, 0.3, "columns"), LognormalSizes(40.0, 0.3), LognormalSizes(200.0, 0.3), TWO_GENERATIONS,
    ],
)  # fmt: skip
def test_mean_of_a_distribution_comes_back(sizes: Sizes, instrument: Instrument) -> None:
    fit = fitted(sizes, instrument)
    width, u = fit.values["lorentz_sec"], fit.u("lorentz_sec")
    size = size_from_lorentz_sec(width, WAVELENGTH_NM)
    # without noise nothing but the distribution makes an error: two of its uncertainties, which is a twelfth in all
    assert abs(size / sizes.volume_weighted_nm - 1.0) < 2.0 * u / width
    assert u / width < 0.08
    # sizes do not pass for strain, nor do they move lattice and order
    assert abs(fit.values["gauss_tan2"]) < 3.0 * fit.u("gauss_tan2")
    assert abs(fit.values["a_nm"] - SAMPLE.lattice_nm) < 2.0 * fit.u("a_nm")
    assert abs(fit.values["order_contrast"] - SAMPLE.site_order) < 1.0 * fit.u("order_contrast")


@pytest.mark.parametrize(("fine_nm", "coarse_nm"), [(60.0, 180.0), (90.0, 300.0)])
def test_two_populations_have_the_mean_of_their_sizes(
    fine_nm: float, coarse_nm: float, instrument: Instrument
) -> None:
    pair = LatticeDistribution.two_populations(0.5284, 0.5290, 0.4, fine_nm, coarse_nm)
    counts = simulate(replace(SAMPLE, lattice=pair), INSTRUMENT, TWO_THETA)[1]
    options = FitOptions(lattice_distribution="two-populations", cross_checks=False)
    fit = fit_pattern(
        as_pattern(TWO_THETA, counts), instrument, options=options, divergence_deg=0.5, specimen_length_mm=20.0
    )
    mean = size_from_lorentz_sec(fit.values["lorentz_sec"], WAVELENGTH_NM)
    # exact counts and Lorentzian lines on either side; the mean over mass, not that of the widths (a quarter less)
    assert mean == pytest.approx(0.6 * fine_nm + 0.4 * coarse_nm, rel=0.01)


def test_a_broad_distribution_asks_for_no_rounder_lines(instrument: Instrument) -> None:
    fit = fitted(None, instrument)
    assert "domains-alike" not in {flag.name for flag in fit.flags}
    size = size_from_lorentz_sec(fit.values["lorentz_sec"], WAVELENGTH_NM)
    assert size == pytest.approx(SAMPLE.domain_size_nm, rel=0.005)  # Lorentzian lines are in the model as they are


def test_most_of_the_doubt_is_common_to_all_samples(instrument: Instrument) -> None:
    table = fitted(LognormalSizes(90.0, 0.3), instrument).contributions
    budget = dict(table.budget("lorentz_sec"))
    assert budget["size distribution"] > 0.5 * table.total("lorentz_sec")
    common = [source for source, group in zip(table.sources, table.groups, strict=True) if group == "size distribution"]
    assert common == ["size distribution/all"]
