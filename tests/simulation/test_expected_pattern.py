"""Expected counts hold what was described, and are those of the independent generator for the same truth."""

from dataclasses import replace

import numpy as np
import pytest

from tests.generator import (
    Background,
    LatticeDistribution,
    PhaseTruth,
    SampleTruth,
    attenuation_per_mm,
    expected_counts,
)
from tests.recovery.campaign import CU_KA_EV, PACKING
from tests.simulation.made import COARSE, TRUTH, instrument_of
from xrdorder.crystals import phase
from xrdorder.exceptions import FitError
from xrdorder.fitting import fit_pattern
from xrdorder.material import Specimen, characterise
from xrdorder.relations.tin_from_lattice import DEFAULT
from xrdorder.simulation import expected_pattern
from xrdorder.simulation.expected_pattern import OPTIONS
from xrdorder.xrays import radiation


@pytest.fixture(scope="module")
def made():
    return expected_pattern(replace(COARSE, displacement_mm=0.03, texture={"nb": 0.2}), instrument_of())


def test_the_strongest_line_has_the_rate_that_was_told(made):
    pattern, job = made
    net = pattern.values - job.model.background(job.fit.values())
    assert net.max() == pytest.approx(COARSE.strongest_line_per_s * COARSE.seconds_per_step, rel=1e-9)


def test_the_background_is_the_one_described(made):
    pattern, job = made
    wanted = COARSE.background(pattern["two_theta"].values) * COARSE.seconds_per_step
    # eleven polynomials follow an exponential that falls off within 8 of 70 degrees to some parts in a thousand
    np.testing.assert_allclose(job.model.background(job.fit.values()), wanted, rtol=5e-3)


def test_nothing_is_left_to_fit(made):
    _, job = made
    assert np.abs(job.fit.weighted_residual()).max() < 1e-12  # rounding of two sums of the same lines
    assert job.enlargement() == 1.0
    assert {"nb3sn_order_contrast", "nb3sn_a_nm", "nb_texture_4", "background_0"} <= set(job.fit.solution()[0].free)


@pytest.mark.slow
def test_a_fit_finds_what_was_described():
    """Without noise there is nothing but rounding between: 1e-3 of an uncertainty that is itself small."""
    specimen = replace(COARSE, displacement_mm=0.03, microstrain=0.001, tin_spread_at_percent=0.0)
    pattern, _ = expected_pattern(specimen, instrument_of())
    used = instrument_of()
    composition = specimen.composition
    fit = fit_pattern(pattern, used, phases=specimen.phases, composition=composition, options=OPTIONS)
    found = characterise(
        fit.values, fit.contributions, Specimen(mount="ground-powder", temperature_c=22.5, undoped=True),
        radiation=radiation(used.radiation), tin_held=fit.tin_held, by_tin=fit.by_tin,
    )  # fmt: skip
    wanted = {
        "a_nm": specimen.a_nm,
        "order_contrast": specimen.site_order,
        "domain_size_nm": specimen.domain_size_nm,
        "microstrain": specimen.microstrain,
        "weight_fraction_nb": 0.08,
        "weight_fraction_cu-sn": 0.02,
    }
    for name, value in wanted.items():
        assert found.values[name] == pytest.approx(value, abs=max(1e-2 * found.u(name), 1e-9)), name


def test_counts_are_those_of_the_independent_generator():
    """Source: tests/generator, which shares no code with the package; see its first lines.

    One per cent of the local counts and two parts in a thousand of the highest: intensities frozen at the lattice,
    nodes of axial divergence and a background of polynomials are what is between the two.
    """
    specimen = replace(
        COARSE, lattice_nm=0.5289, tin_spread_at_percent=0.0, microstrain=0.0, background_per_s=30.0,
        air_scatter_per_s=0.0, weight_fractions={"nb": 0.1},
    )  # fmt: skip
    pattern, _ = expected_pattern(specimen, instrument_of())
    a15, niobium = phase("nb3sn"), phase("nb")
    b = {site.label: site.b_iso_nm2 for site in a15.sites}
    truth = SampleTruth(
        tin_fraction=specimen.tin_at_percent / 100.0,
        order_a=specimen.site_order / (4.0 * specimen.tin_at_percent / 100.0),
        a_nm=0.5289,
        domain_size_nm=specimen.domain_size_nm,
        b_2a_nm2=b["2a"],
        b_6c_nm2=b["6c"],
        others=(PhaseTruth("nb", 0.1, niobium.lengths_nm[0], 60.0, b_iso_nm2=niobium.sites[0].b_iso_nm2),),
        attenuation_per_mm=PACKING * attenuation_per_mm(SampleTruth().a15_cell(0.5289), CU_KA_EV),
        background=Background(constant=30.0 / specimen.strongest_line_per_s, air=0.0, hump=0.0),
    )
    angles = pattern["two_theta"].values
    theirs = expected_counts(truth, replace(TRUTH, alpha2_ratio=0.52), angles, peak_counts=float(pattern.values.max()))
    np.testing.assert_allclose(pattern.values, theirs, rtol=0.01, atol=2e-3 * pattern.values.max())


def test_a_tail_of_tin_leans_the_lines():
    plain, _ = expected_pattern(replace(COARSE, tin_spread_at_percent=0.0), instrument_of())
    leaning, job = expected_pattern(replace(COARSE, tin_tail_at_percent=0.5), instrument_of())
    assert "nb3sn_lattice_tail_nm" in job.taken
    assert leaning.values.max() == pytest.approx(plain.values.max(), rel=0.05)
    distribution = LatticeDistribution.exponential_tail(0.5289, 1.0, DEFAULT.slope_nm * 0.005)
    assert distribution.skewness < 0.0  # towards small lattices, so towards large angles
    angles = plain["two_theta"].values
    above = (angles > 66.3) & (angles < 66.8)
    assert leaning.values[above].sum() > plain.values[above].sum()


def test_a_range_without_a_line_is_refused():
    with pytest.raises(FitError, match="no phase has a line between"):
        expected_pattern(replace(COARSE, from_deg=1.5, to_deg=12.0), instrument_of())
