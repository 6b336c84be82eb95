"""Tc and Bc2 at a strain."""

import numpy as np
import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.quantities.registry import bc2_name
from xrdorder.relations import relation, relations
from xrdorder.superconductivity.currents import Conditions
from xrdorder.superconductivity.mixture import Common
from xrdorder.superconductivity.strain import (
    PRE_STRAINS,
    at_strain,
    pre_strain,
    strain_factors,
)

N = 10_000


def at(strain, *, tc=18.0, zero=29.0, temperature_k=4.2, n=N):
    """Numbers without uncertainty at a strain."""
    temperatures = {bc2_name(temperature_k): temperature_k}
    draws = np.full(n, tc), np.full(n, zero)
    return at_strain(*draws, strain, temperatures=temperatures, common=Common(n))


def median(found, target):
    return float(np.median(found.draws[target]))


def by(found, target):
    return {result.name: result for result in found.relations if result.target == target}


def test_free_of_strain_nothing_changes():
    found = at(0.0)
    assert median(found, "Tc_K") == pytest.approx(18.0, abs=0.02)
    assert median(found, "Bc2_0K_T") == pytest.approx(29.0, abs=0.1)
    assert found.flags == ()


def test_every_combination_of_relations_is_there():
    found = at(-0.002)
    functions, exponents = relations("strain-function"), relations("tc-strain")
    assert len(functions) >= 2 and len(exponents) >= 2
    assert set(by(found, "Bc2_0K_T")) == {entry.name for entry in functions}
    assert len(by(found, "Tc_K")) == len(functions) * len(exponents)


def test_bc2_follows_the_strain_function_and_tc_a_power_of_it():
    found = at(-0.003)
    for name, result in by(found, "Bc2_0K_T").items():
        assert result.band.median == pytest.approx(29.0 * float(relation(name)(-0.003)), rel=0.01)
    for result in by(found, "Tc_K").values():
        function, power = result.relations
        assert result.band.median == pytest.approx(18.0 * float(power(function(-0.003))), rel=0.005)
    # w = 3 and 2.2: 18 K falls by 0.2 to 0.6 K
    assert 17.3 < median(found, "Tc_K") < 17.85


def test_bc2_at_a_temperature_takes_the_strained_tc():
    found = at(-0.004, temperature_k=12.0)
    strained = median(found, "Bc2_0K_T"), median(found, "Tc_K")
    power = relation("godeke-2006-power-law")
    assert median(found, "Bc2_12K_T") == pytest.approx(float(power(12.0, *strained)), rel=0.03)
    # a lower Tc costs more than the factor of Bc2 alone
    assert median(found, "Bc2_12K_T") < float(power(12.0, strained[0], 18.0))


def test_compression_costs_more_the_more_there_is():
    assert np.all(np.diff([median(at(e), "Bc2_4K2_T") for e in (0.0, -0.001, -0.002, -0.004)]) < 0.0)


def test_the_spread_between_relations_is_in_the_interval():
    found = at(-0.005)
    medians = [result.band.median for result in by(found, "Bc2_0K_T").values()]
    low, high = np.quantile(found.draws["Bc2_0K_T"], [0.16, 0.84])
    assert high - low > 0.6 * (max(medians) - min(medians)) > 0.0


def test_draws_go_in_and_come_out():
    rng = np.random.default_rng(3)
    tc, bc2 = rng.normal(17.5, 0.3, N), rng.normal(28.0, 1.0, N)
    found = at_strain(tc, bc2, -0.002, common=Common(N))
    assert found.draws["Tc_K"].shape == (N,)
    # what was known of Bc2 stays what moves it
    assert np.corrcoef(bc2, found.draws["Bc2_0K_T"])[0, 1] > 0.9


def test_outside_its_range_a_function_is_refused_and_said():
    far = at(-0.03)
    assert all(np.all(np.isnan(draws)) for draws in far.draws.values())
    assert [flag.name for flag in far.flags] == ["no-strain-relation"]
    assert all("validity" in result.reason for result in by(far, "Bc2_0K_T").values())


def test_tension_is_said():
    assert "tension" in [flag.name for flag in at(0.001).flags]


def test_samples_of_a_lot_are_strained_more_alike_than_strangers():
    one, two, stranger = (
        strain_factors(-0.003, common=Common(N, key=key, lot=lot)).bc2_factor
        for key, lot in (("one", "A"), ("two", "A"), ("three", ""))
    )
    # half of the variance about a relation is the lot's, and the relation is the same for all
    assert np.std(one - two) == pytest.approx(np.std(one - stranger) / np.sqrt(2.0), rel=0.05)
    assert np.std(one - stranger) < np.sqrt(2.0) * np.std(one)


def test_the_scatter_takes_no_more_than_the_strain():
    for strain in (0.0, -0.0005, -0.003):
        found = strain_factors(strain, common=Common(N))
        for answer in found.bc2_answers:
            loss = 1.0 - float(answer.relation(strain))
            assert np.all(answer.draws <= 1.0) and np.all(answer.draws >= 1.0 - 2.0 * loss - 1e-12)


@pytest.mark.parametrize("design", PRE_STRAINS)
def test_pre_strains_are_compressions_with_a_source(design):
    usual = pre_strain(design)
    assert usual.source
    assert usual.low <= usual.high <= 0.0
    draws = Conditions(design=design).draws(Common(N))
    assert np.all((draws >= usual.low) & (draws <= usual.high))
    # rectangular: standard error of a mean u / sqrt(n), four of them
    u = (usual.high - usual.low) / np.sqrt(12.0)
    assert np.mean(draws) == pytest.approx(0.5 * (usual.low + usual.high), abs=4 * u / np.sqrt(N) + 1e-15)
    assert np.std(draws) == pytest.approx(u, rel=0.03)


def test_applied_strain_is_counted_from_the_pre_strain():
    common = Common(N, key="a")
    free, pulled = (Conditions(applied_strain=e, design="bronze").draws(common) for e in (0.0, 0.003))
    np.testing.assert_allclose(pulled - free, 0.003)
    # pulled to its peak, a bronze wire has the Bc2 of A15 free of strain
    assert np.median(strain_factors(pulled, common=common).bc2_factor) > 0.99


@pytest.mark.parametrize("strain", [-0.25, float("nan")])
def test_a_strain_that_is_no_fraction_is_refused_in_one_line(strain):
    with pytest.raises(ValidityError, match="as a fraction") as caught:
        at(strain, n=100)
    assert "\n" not in str(caught.value)


def test_an_unknown_design_is_refused_with_those_known():
    with pytest.raises(UnknownNameError, match=r"bronze.*powder-in-tube"):
        pre_strain("tape")
