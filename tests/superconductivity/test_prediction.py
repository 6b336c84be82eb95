"""Tc and Bc2 over all relations that apply."""

import numpy as np
import pytest
import xarray as xr

from tests.superconductivity.only import Only, exact
from xrdorder.estimates.from_numbers import estimate
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.quantities.registry import PREDICTED
from xrdorder.relations import relation, relations
from xrdorder.superconductivity import predict
from xrdorder.uncertainty import DEFAULT_DRAWS, Contributions

N = 20_000


def sample(tin=None, u_tin=0.002, order=None, u_order=0.01, group="instrument"):
    """Values and table; half of the variance of tin is shared with the group."""
    values, contributions = {}, Contributions.empty()
    if tin is not None:
        values["tin_fraction"] = tin
        part = u_tin / np.sqrt(2.0)
        contributions = contributions.extend("tin_fraction", {}, {"scale": (part, group), "own": (part, "")})
    if order is not None:
        values["site_order"] = order
        contributions = contributions.extend("site_order", {}, {"counting": (u_order, "")})
    return values, contributions


def reasons(prediction, target="Tc_K"):
    return {result.name: result.reason for result in prediction.of(target)}


def test_every_target_has_its_relations():
    prediction = predict(sample(tin=0.24, order=0.95), n=N)
    assert set(prediction.combined) == set(PREDICTED)
    kinds = {target: len(prediction.of(target)) for target in PREDICTED}
    zero = kinds["Bc2_0K_T"]
    assert kinds["Tc_K"] == len(relations("tc-from-tin")) + len(relations("tc-from-order"))
    assert zero == len(relations("bc2-0-from-tin")) + len(relations("bc2-0-from-tc")) + len(relations("bc2-slope"))
    assert kinds["Bc2_4K2_T"] == zero * len(relations("bc2-temperature"))
    # The dirty limit is not asked about clean A15: 24 at.% with an order of 0.95 has some 26 microohm cm.
    refused = {result.relations[0].name for result in prediction.results if not result.applies}
    assert refused <= {"dirty-limit-slope"}
    for target, combined in prediction.combined.items():
        assert combined.count == sum(result.applies for result in prediction.of(target))
    assert all(prediction.combined[target].count >= 3 for target in ("Tc_K", "Bc2_0K_T", "Bc2_4K2_T"))
    assert prediction.flags == ()


def test_without_uncertainty_a_relation_shows_its_own_scatter():
    prediction = predict(sample(tin=0.235, u_tin=0.0), n=N)
    for result in prediction.of("Tc_K"):
        if result.applies:
            (entry,) = result.relations
            assert result.value == pytest.approx(float(entry(0.235)))
            # Half of the central 68 % of a normal distribution is 0.9945 standard deviations; 0.8 K here.
            half = (result.high - result.low) / 2
            assert half == pytest.approx(0.9945 * 0.8, rel=4 / np.sqrt(N) * 1.5)
            assert result.median == pytest.approx(result.value, abs=4 * 1.25 * 0.8 / np.sqrt(N))


def test_the_spread_between_relations_is_in_the_combined_interval():
    prediction = predict(sample(tin=0.20, u_tin=0.0), n=N)
    combined = prediction.combined["Tc_K"]
    # The forms part by 2.2 K near 20 at.%; with 1.5 K of scatter each the whole is wider than any part.
    assert combined.spread == pytest.approx(9.43 - 7.20, abs=0.06)
    widths = [result.high - result.low for result in prediction.of("Tc_K") if result.applies]
    assert combined.high - combined.low > max(widths)
    # Equal parts, by chance: mean of the mixture is the mean of the means.
    means = [float(entry.relations[0](0.20)) for entry in prediction.of("Tc_K") if entry.applies]
    assert np.mean(prediction.draws["Tc_K"]) == pytest.approx(np.mean(means), abs=4 * 1.9 / np.sqrt(N))


def test_relations_take_equal_parts_whatever_their_validity_cuts_off():
    # Half of the draws lie beyond 25 at.%, where the straight line ends.
    prediction = predict(sample(tin=0.25, u_tin=0.004), n=N)
    draws = prediction.draws["Tc_K"]
    assert draws.shape == (N,)
    assert np.all(np.isfinite(draws))
    line = next(result for result in prediction.of("Tc_K") if result.name == "devantay-1981-line")
    assert line.share_inside == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(N))
    (flag,) = [flag for flag in prediction.flags if flag.name == "partly-outside-validity"]
    assert "devantay-1981-line" in flag.message
    assert prediction.combined["Tc_K"].count == len(relations("tc-from-tin"))


def test_wide_tin_makes_a_skewed_interval():
    combined = predict(sample(tin=0.235, u_tin=0.015), n=N).combined["Tc_K"]
    # Tc saturates upwards: the lower arm is the longer one.
    assert combined.median - combined.low > 1.3 * (combined.high - combined.median)


def test_tc_from_order_stands_beside_tc_from_tin():
    by_order = predict(sample(order=0.98, u_order=0.002), n=N)
    assert by_order.combined["Tc_K"].count == len(relations("tc-from-order"))
    assert "few-relations" in [flag.name for flag in by_order.flags]
    both = predict(sample(tin=0.22, u_tin=0.001, order=0.98, u_order=0.002), n=N)
    # Poor tin and good order do not multiply: the mixture reaches from one to the other.
    assert both.combined["Tc_K"].low < 12.5
    assert both.combined["Tc_K"].high > 14.0
    assert both.combined["Tc_K"].spread > 5.0


def test_outside_the_a15_field_tin_is_refused_with_a_reason():
    prediction = predict(sample(tin=0.265), n=N)
    assert all(
        "26.5 at.% tin lies outside the A15 field" in r for r in list(reasons(prediction).values())[:4]
    )
    for combined in prediction.combined.values():
        assert np.isnan(combined.median)
        assert combined.count == 0
    (flag,) = prediction.flags
    assert flag.name == "no-relation"
    # The order still speaks, by Tc and by the slope.
    left = len(relations("bc2-0-from-tc")) + len(relations("bc2-slope"))
    assert predict(sample(tin=0.265, order=0.97), n=N).combined["Bc2_0K_T"].count == left


def test_bc2_is_refused_below_19_at_percent_where_the_fit_falls_below_zero():
    prediction = predict(sample(tin=0.183, u_tin=0.002), n=N)
    assert prediction.combined["Tc_K"].count == len(relations("tc-from-tin"))
    refused = reasons(prediction, "Bc2_0K_T")
    assert "0.19 to 0.25" in refused["godeke-2006-collapse"]
    assert np.all(prediction.draws["Bc2_0K_T"] >= 0.0)


def test_order_beyond_one_is_refused_and_order_just_beyond_is_not():
    assert predict(sample(order=1.10, u_order=0.01), n=N).combined["Tc_K"].count == 0
    assert predict(sample(order=1.01, u_order=0.03), n=N).combined["Tc_K"].count == len(relations("tc-from-order"))


def test_both_branches_of_bc2_are_asked_near_stoichiometry():
    prediction = predict(sample(tin=0.249, u_tin=0.0005), n=N)
    by = {result.name: result.median for result in prediction.of("Bc2_0K_T")}
    assert by["rise-and-plateau"] - by["godeke-2006-collapse"] > 4.0
    assert prediction.combined["Bc2_0K_T"].spread > 4.0


def test_bc2_at_4_kelvin_is_what_the_laws_make_of_bc2_at_zero():
    prediction = predict(sample(tin=0.24, u_tin=0.0), n=N)
    tc = prediction.combined["Tc_K"].median
    applying = [result for result in prediction.of("Bc2_4K2_T") if result.applies]
    assert len(applying) >= 8
    for result in applying:
        *first, law = result.relations
        zero = next(r for r in prediction.of("Bc2_0K_T") if r.relations == tuple(first))
        assert result.value == pytest.approx(float(law(4.2, zero.value, tc)))
        assert result.median < zero.median


def test_the_same_seed_gives_the_same_numbers_and_another_nearly_the_same():
    one, again, other = (predict(sample(tin=0.24, order=0.95), n=N, seed=seed) for seed in (1, 1, 2))
    np.testing.assert_array_equal(one.draws["Tc_K"], again.draws["Tc_K"])
    assert one.combined == again.combined
    # Standard error of an end of the interval, about 1.5 s / sqrt(n); 4 of them, twice.
    assert one.combined["Tc_K"].low == pytest.approx(other.combined["Tc_K"].low, abs=12 * 1.0 / np.sqrt(N))


def test_draws_are_the_same_without_single_pairs():
    with_pairs, without = (predict(sample(tin=0.24), n=2000, pairs=pairs) for pairs in (True, False))
    for target in PREDICTED:
        np.testing.assert_array_equal(with_pairs.draws[target], without.draws[target])
    assert len(with_pairs.of("Bc2_4K2_T")) > 9 and not without.of("Bc2_4K2_T")
    assert without.combined["Bc2_4K2_T"].count == len(relations("bc2-temperature"))


def test_samples_that_share_their_doubt_are_compared_draw_by_draw():
    first, second = sample(tin=0.238, u_tin=0.006), sample(tin=0.232, u_tin=0.006)
    one = predict(first, n=N, key="one").draws["Tc_K"]
    two = predict(second, n=N, key="two").draws["Tc_K"]
    assert np.std(one - two) < np.hypot(np.std(one), np.std(two)) * 0.95
    stranger = predict(sample(tin=0.232, u_tin=0.006, group="elsewhere"), n=N, key="two").draws["Tc_K"]
    assert np.std(one - two) < np.std(one - stranger)
    # One sample under two names: nothing private is shared.
    assert not np.array_equal(one, predict(first, n=N, key="other").draws["Tc_K"])


def test_a_material_is_taken_as_it_is():
    result = estimate(lattice_nm=0.5288, site_order=0.93, n=10)
    direct = predict((result.material.values, result.material.contributions), n=N)
    assert direct.combined == predict(result.material, n=N).combined


def test_values_without_a_table_count_as_exact():
    prediction = predict(({"tin_fraction": 0.24}, Contributions.empty()), n=N)
    assert prediction.combined["Tc_K"].median == pytest.approx(17.0, abs=0.3)


def test_nothing_known_is_no_crash():
    prediction = predict(({"tin_fraction": float("nan")}, Contributions.empty()), n=N)
    assert {flag.name for flag in prediction.flags} == {"no-relation"}
    assert prediction.draws["Tc_K"].size == 0


@pytest.mark.parametrize("given", [{"tin": 0.24, "order": 0.95}, {"tin": 0.27}])
def test_the_table_survives_netcdf(tmp_path, given):
    prediction = predict(sample(**given), n=N)
    prediction.to_dataset().to_netcdf(tmp_path / "p.nc", engine="h5netcdf")
    with xr.open_dataset(tmp_path / "p.nc", engine="h5netcdf") as stored:
        assert stored.sizes["relation"] == len(prediction.results)
        assert set(stored["target"].values) == set(PREDICTED)
        tc = stored.sel(target="Tc_K")
        np.testing.assert_equal(tc["target_median"].item(), prediction.combined["Tc_K"].median)
        by = stored.sel(relation="Tc_K: godeke-2006-boltzmann")
        result = next(r for r in prediction.results if r.name == "godeke-2006-boltzmann")
        np.testing.assert_equal(by["relation_low"].item(), result.low)
        assert by["relation_reason"].item() == result.reason
        assert "Godeke" in by["relation_source"].item()


def test_nothing_from_outside_the_validity_gets_in():
    # A line without scatter, which would go on rising: 18 K at the end of its validity.
    library = Only(exact("devantay-1981-line"))
    prediction = predict(sample(tin=0.245, u_tin=0.006), n=N, library=library)
    assert prediction.combined["Tc_K"].count == 1
    assert 17.9 < prediction.draws["Tc_K"].max() < 18.0 + 1e-9
    # what was replaced is marked
    replaced = prediction.codes["Tc_K"] < 0
    assert np.mean(replaced) == pytest.approx(1.0 - prediction.of("Tc_K")[0].share_inside)


def test_draws_are_many_and_seeded():
    assert DEFAULT_DRAWS >= 100_000
    assert predict(sample(tin=0.24)).draws["Tc_K"].size == DEFAULT_DRAWS


def test_bc2_at_any_temperature_hangs_together_draw_by_draw():
    prediction = predict(sample(tin=0.24, order=0.95), n=N, temperatures_k=(12.0, 1.9))
    zero, tc = prediction.draws["Bc2_0K_T"], prediction.draws["Tc_K"]
    assert set(prediction.combined) == {*PREDICTED, "Bc2_12K_T", "Bc2_1K9_T"}
    cold, helium, warm = (prediction.draws[f"Bc2_{t}_T"] for t in ("1K9", "4K2", "12K"))
    assert np.all(cold >= helium) and np.all(helium >= warm)
    # The laws lie within 1.3 % of each other and stray by that; the share of the field that is left follows from T/Tc.
    share = warm / zero
    assert np.median(share) == pytest.approx(1.0 - (12.0 / np.median(tc)) ** 1.52, abs=0.03)
    # A temperature asked for on the way changes nothing else.
    assert prediction.combined["Bc2_4K2_T"] == predict(sample(tin=0.24, order=0.95), n=N).combined["Bc2_4K2_T"]


def test_bc2_above_tc_is_nothing_and_beyond_the_laws_is_refused():
    prediction = predict(sample(tin=0.235, u_tin=0.0), n=N, temperatures_k=(18.5, 25.0))
    assert prediction.combined["Bc2_18K5_T"].median == 0.0
    assert prediction.combined["Bc2_25K_T"].count == 0
    assert all("validity" in result.reason for result in prediction.of("Bc2_25K_T"))
    with pytest.raises(ValidityError, match="-3 K"):
        predict(sample(tin=0.235), n=N, temperatures_k=(-3.0,))


def test_the_joint_tin_content_is_preferred_and_another_may_be_asked_for():
    values, table = sample(tin=0.230, u_tin=0.0)
    values = {**values, "tin_fraction_joint": 0.245, "tin_fraction_order": 0.20}
    by = {tin: predict((values, table), n=N, tin=tin) for tin in ("auto", "joint", "lattice", "order")}
    assert by["auto"].combined == by["joint"].combined
    assert by["auto"].tin == "tin_fraction_joint"
    medians = [by[tin].combined["Tc_K"].median for tin in ("order", "lattice", "joint")]
    assert medians == sorted(medians)
    assert medians[2] - medians[0] > 8.0
    with pytest.raises(ValidityError, match="no tin content 'best'"):
        predict((values, table), n=N, tin="best")


def test_routes_are_asked_for_one_by_one():
    both = sample(tin=0.24, order=0.95)
    by_tin, by_order = (predict(both, n=N, routes=(route,)) for route in ("tin", "order"))
    assert {r.route for r in by_tin.of("Tc_K") if r.applies} == {"tin"}
    assert {r.route for r in by_order.of("Tc_K") if r.applies} == {"order"}
    for found, kind in ((by_tin, "resistivity-from-tin"), (by_order, "resistivity-from-order")):
        assert found.combined["resistivity_uohm_cm"].count == len(relations(kind))
    with pytest.raises(ValidityError, match="no route 'Tc'"):
        predict(both, n=N, routes=("Tc",))


def test_relations_are_chosen_by_the_dopant():
    def asked(wire):
        return {r.name for r in predict(sample(tin=0.24), n=N, wire=wire).of("Tc_K") if r.applies}

    assert asked("Ta") == {"baumgartner-2017-tantalum"}
    assert "baumgartner-2017-tantalum" not in asked("binary")
    # Nothing was published for titanium: those of undoped A15 stand in.
    assert asked("Ti") == asked("binary")
    assert asked("any") == asked("Ta") | asked("binary")
    tantalum = predict(sample(tin=0.24), n=N, wire="Ta")
    assert "for Ta wire" in next(flag.message for flag in tantalum.flags if flag.name == "few-relations")
    with pytest.raises(UnknownNameError, match="no sort of wire 'V'"):
        predict(sample(tin=0.24), n=N, wire="V")


def test_slope_and_bc2_at_zero_follow_from_each_other():
    prediction = predict(sample(tin=0.235, u_tin=0.0), n=N)
    tc = prediction.combined["Tc_K"].median
    zero = {r.relations[0].name: r for r in prediction.of("Bc2_0K_T")}
    for result in prediction.of("Bc2_slope_T_per_K"):
        if result.route == "tin":
            # WHH turned round
            assert result.value == pytest.approx(zero[result.relations[0].name].value / (0.693 * tc))
        else:
            # and straight on
            (entry,) = result.relations
            assert zero[entry.name].value == pytest.approx(0.693 * tc * result.value)
            rho = prediction.combined["resistivity_uohm_cm"].median
            assert result.value == pytest.approx(float(relation(entry.name)(rho)))


def test_resistivity_by_both_routes():
    prediction = predict(sample(tin=0.2355, u_tin=0.0, order=0.942, u_order=0.0), n=N)
    by = {result.route: result.value for result in prediction.of("resistivity_uohm_cm")}
    # 35 microohm cm belongs to 23.6 at.% (A. Godeke, Supercond. Sci. Technol. 19 (2006) R68); 147 (1 - 0.942^4) = 31.2.
    assert by["tin"] == pytest.approx(35.0, abs=1.0)
    assert by["order"] == pytest.approx(147.0 * (1.0 - 0.942**4))


def test_the_branches_of_bc2_are_told_and_which_one_other_relations_side_with():
    near = predict(sample(tin=0.249, u_tin=0.0005), n=N)
    assert near.branches is not None
    assert near.branches.parted
    assert near.branches.side == "rise-and-plateau"
    for words in ("godeke-2006-collapse 2", "rise-and-plateau 29", "side with rise-and-plateau"):
        assert words in near.branches.words
    below = predict(sample(tin=0.235, u_tin=0.0005), n=N).branches
    assert below is not None and not below.parted and below.side == ""
    assert predict(sample(order=0.95), n=N).branches is None
    assert near.to_dataset().attrs["bc2_branches"] == near.branches.words


def test_specimens_of_a_lot_stray_in_part_together():
    library = Only(*predict(sample(tin=0.235), n=100).of("Tc_K")[0].relations)
    alike = [predict(sample(tin=0.235, u_tin=0.0), n=N, key=k, lot="x", library=library).draws["Tc_K"] for k in "ab"]
    # half of the variance is common: correlation 0.5, known to 0.75 / sqrt(n)
    assert np.corrcoef(*alike)[0, 1] == pytest.approx(0.5, abs=4 * 0.75 / np.sqrt(N))
    apart = [predict(sample(tin=0.235, u_tin=0.0), n=N, key=k, library=library).draws["Tc_K"] for k in "ab"]
    assert np.corrcoef(*apart)[0, 1] == pytest.approx(0.0, abs=4 / np.sqrt(N))
