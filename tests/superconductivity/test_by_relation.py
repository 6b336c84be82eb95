"""What each published relation says by itself of joint draws."""

import numpy as np
import pytest

from tests.superconductivity.only import Only, exact
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.relations import relation, relations
from xrdorder.superconductivity.by_relation import branches_words, by_relation
from xrdorder.superconductivity.mixture import Common

N = 20_000


def asked(tin=0.24, u_tin=0.0, order=0.95, tc=17.0, zero=28.0, temperatures_k=(4.2,), **about):
    """All relations, asked with draws of the tin that is given and single numbers of everything else."""
    rng = np.random.default_rng(4)
    draws = {
        name: np.full(N, value)
        for name, value in (
            ("S_a", order / (4.0 * tin)),
            ("Tc_K", tc),
            ("Bc2_0K_T", zero),
            ("resistivity_uohm_cm", 147.0 * (1.0 - order**4)),
        )
    }
    draws["tin_fraction"] = tin + u_tin * rng.standard_normal(N)
    return by_relation(draws, Common(N, **about), temperatures_k)


def of(results, target):
    return {result.name: result for result in results if result.target == target}


def test_every_relation_is_asked_once():
    results = asked()
    counts = {target: len(of(results, target)) for target in {result.target for result in results}}
    chains = len(relations("bc2-slope")) * len(relations("bc2-0-from-slope"))
    assert counts == {
        "Tc_K": len(relations("tc-from-tin")) + len(relations("tc-from-order")),
        "resistivity_uohm_cm": len(relations("resistivity-from-tin")) + len(relations("resistivity-from-order")),
        "Bc2_slope_T_per_K": len(relations("bc2-slope")),
        "Bc2_0K_T": len(relations("bc2-0-from-tin")) + len(relations("bc2-0-from-tc")) + chains,
        "Bc2_4K2_T": len(relations("bc2-temperature")),
    }


def test_without_uncertainty_a_relation_shows_its_own_scatter():
    for result in of(asked(tin=0.235), "Tc_K").values():
        if result.applies and result.route == "tin":
            (entry,) = result.relations
            assert result.value == pytest.approx(float(entry(0.235)))
            # Half of the central 68 % of a normal distribution is 0.9945 standard deviations; 0.8 K here.
            assert (result.band.high - result.band.low) / 2 == pytest.approx(0.9945 * 0.8, rel=4 / np.sqrt(N) * 1.5)
            assert result.band.median == pytest.approx(result.value, abs=4 * 1.25 * 0.8 / np.sqrt(N))


def test_wide_tin_makes_a_skewed_interval():
    result = of(asked(tin=0.235, u_tin=0.015), "Tc_K")["godeke-2006-boltzmann"]
    # Tc saturates upwards: the lower arm is the longer one.
    assert result.band.median - result.band.low > 1.3 * (result.band.high - result.band.median)


def test_draws_outside_the_validity_are_left_out_and_counted():
    line = of(asked(tin=0.25, u_tin=0.004, library=Only(exact("devantay-1981-line"))), "Tc_K")["devantay-1981-line"]
    assert line.share_inside == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(N))
    assert 17.5 < line.band.high < 18.0 + 1e-9  # the line ends at 18 K, and nothing from beyond gets in
    beyond = of(asked(tin=0.265, u_tin=0.002), "Tc_K")["devantay-1981-line"]
    assert not beyond.applies and "0.18 to 0.25" in beyond.reason and np.isnan(beyond.band.median)


def test_bc2_is_refused_below_19_at_percent_where_the_fit_falls_below_zero():
    refused = of(asked(tin=0.183, u_tin=0.002), "Bc2_0K_T")["godeke-2006-collapse"]
    assert "0.19 to 0.25" in refused.reason


def test_order_beyond_one_is_refused():
    by_order = [result for result in asked(order=1.10) if result.route == "order" and result.target == "Tc_K"]
    assert by_order and not any(result.applies for result in by_order)


def test_laws_of_temperature_start_from_the_estimates_and_end_at_tc():
    for name, result in of(asked(temperatures_k=(12.0,)), "Bc2_12K_T").items():
        assert result.value == pytest.approx(float(relation(name)(12.0, 28.0, 17.0)))
    assert all(result.value == 0.0 for result in of(asked(temperatures_k=(18.5,)), "Bc2_18K5_T").values())
    assert all("validity" in result.reason for result in of(asked(temperatures_k=(25.0,)), "Bc2_25K_T").values())
    with pytest.raises(ValidityError, match="-3 K"):
        asked(temperatures_k=(-3.0,))


def test_bc2_by_way_of_the_slope_is_a_chain():
    results = asked()
    rho, slopes, zero = 147.0 * (1.0 - 0.95**4), of(results, "Bc2_slope_T_per_K"), of(results, "Bc2_0K_T")
    chains = {name: result for name, result in zero.items() if result.route == "slope"}
    assert len(chains) == len(slopes) * len(relations("bc2-0-from-slope"))
    for result in chains.values():
        slope, law = result.relations
        if result.applies:
            assert slopes[slope.name].value == pytest.approx(float(relation(slope.name)(rho)))
            # Bc2(0) = 0.693 Tc |dBc2/dT|: N. R. Werthamer et al., Phys. Rev. 147 (1966) 295
            assert result.value == pytest.approx(0.693 * 17.0 * slopes[slope.name].band.median, rel=1e-6), law.name
        else:
            assert result.reason == slopes[slope.name].reason


def test_relations_are_chosen_by_the_dopant():
    def by_tin(wire):
        return {r.name for r in asked(wire=wire) if r.target == "Tc_K" and r.route == "tin" and r.applies}

    assert by_tin("Ta") == {"baumgartner-2017-tantalum"}
    assert "baumgartner-2017-tantalum" not in by_tin("binary")
    # Nothing was published for titanium: those of undoped A15 stand in.
    assert by_tin("Ti") == by_tin("binary")
    assert by_tin("any") == by_tin("Ta") | by_tin("binary")
    with pytest.raises(UnknownNameError, match="no sort of wire 'V'"):
        asked(wire="V")


def test_both_branches_of_bc2_are_told_near_stoichiometry():
    near = asked(tin=0.249)
    by = of(near, "Bc2_0K_T")
    assert by["rise-and-plateau"].band.median - by["godeke-2006-collapse"].band.median > 4.0
    words = branches_words(near, 29.5)
    for part in ("godeke-2006-collapse 2", "rise-and-plateau 29", "nearer to rise-and-plateau"):
        assert part in words
    assert "agree here" in branches_words(asked(tin=0.235), 27.0)
    assert branches_words(asked(tin=0.235, wire="Ta"), 27.0) == ""


def test_what_is_not_known_is_no_crash():
    results = asked(tin=np.nan)
    assert {result.reason for result in results if result.route in ("tin", "order")} == {"an input is not known"}
    assert any(result.applies for result in results if result.route == "Tc")
