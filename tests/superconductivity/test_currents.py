"""Current of a layer at field, temperature and strain, and where two samples cross."""

import dataclasses

import numpy as np
import pytest

from tests.drawn import made_conductor
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.superconductivity.currents import (
    Conditions,
    bc2_curve,
    bc2_draws,
    crossing,
    current_draws,
    layer_current,
    layer_states,
    relative_current,
    tc_band,
)
from xrdorder.superconductivity.mixture import Common
from xrdorder.superconductivity.pinning import GrainSize, layer_force
from xrdorder.uncertainty import Contributions

N = 4000
SCALE = 0.008
"""Standard uncertainty of the common tin scale."""

NO_SIZE = {"tin_fraction_lattice": 0.24}


def material(tin=0.24, size=100.0, *, u_tin=0.001, scale=SCALE):
    table = Contributions.empty()
    table = table.extend("tin_fraction_lattice", {}, {"scale": (scale, "published"), "own": (u_tin, "")})
    table = table.extend("domain_size_nm", {}, {"counting": (0.04 * size, "")})
    return {"tin_fraction_lattice": tin, "domain_size_nm": size}, table


def wire(name="one", tin=0.24, size=100.0, **more):
    return made_conductor(name, material(tin, size), lot="A", n=N, **more)


def exact(name, bc2, size, tc=18.0):
    """Take a conductor without any doubt but that of the relations, which all made here share as one piece of wire."""
    made = dataclasses.replace(wire("one"), name=name)
    grain = GrainSize(np.full(N, size), "microscopy")
    return dataclasses.replace(made, tc=np.full(N, tc), bc2_0=np.full(N, bc2), grain=grain)


def test_current_falls_with_field_temperature_and_compression():
    one = wire()
    fields = np.array([4.0, 8.0, 12.0, 16.0])
    base = layer_current(one, fields, Conditions(strain=-0.002)).layer.median
    assert np.all(np.diff(base) < 0.0)
    assert np.all(layer_current(one, fields, Conditions(8.0, strain=-0.002)).layer.median < base)
    assert np.all(layer_current(one, fields, Conditions(strain=-0.005)).layer.median < base)
    # strain costs more at high field, where Bc2 is near
    loss = layer_current(one, fields, Conditions(strain=-0.005)).layer.median / base
    assert np.all(np.diff(loss) < 0.0)


def test_current_is_force_over_field():
    sample = exact("one", 29.0, 100.0)
    conditions = Conditions(strain=0.0, design="none")
    bc2 = float(bc2_curve(sample, 4.2, conditions).median[0])
    at_peak = layer_current(sample, 0.2 * bc2, conditions).layer
    # at a fifth of Bc2 the shape is one: J = F_p,max / B; both in the same draws, so that medians nearly divide
    force = np.median(layer_force(sample.grain.draws, common=sample.common))
    assert float(at_peak.median[0]) == pytest.approx(1e3 * force / (0.2 * bc2), rel=0.03)


def test_above_bc2_there_is_no_current():
    assert float(layer_current(exact("one", 29.0, 100.0), 40.0).layer.high[0]) == 0.0
    hot = layer_current(exact("one", 29.0, 100.0), 1.0, Conditions(18.5)).layer
    assert float(hot.high[0]) == 0.0


def test_non_copper_current_only_where_the_area_is_known():
    assert layer_current(wire(), [12.0]).non_copper is None
    known = layer_current(wire(a15_area=(0.6, 0.0)), [12.0])
    np.testing.assert_allclose(known.non_copper.median, 0.6 * known.layer.median)


def test_a_measured_grain_size_overrides_the_domain_size():
    assert wire(grain_nm=(150.0, None)).grain.by == "microscopy"
    coarse = layer_current(wire(grain_nm=(150.0, None)), [8.0]).layer.median
    assert coarse[0] < layer_current(wire(), [8.0]).layer.median[0]


def test_a_sample_against_itself_is_one_without_doubt():
    one = exact("one", 29.0, 100.0)
    ratio = relative_current(one, dataclasses.replace(one, name="again"), [5.0, 12.0]).ratio
    for part in ratio:
        np.testing.assert_allclose(part, 1.0)


def test_common_doubt_cancels_between_samples():
    one, two = wire("one", 0.242, 110.0), wire("two", 0.240, 100.0)
    fields = [8.0]
    single = layer_current(one, fields).layer
    ratio = relative_current(one, two, fields).ratio
    other = layer_current(two, fields).layer
    widths = [float((band.high - band.low)[0] / band.median[0]) for band in (single, other)]
    # if nothing cancelled the ratio would be as wide as both in quadrature; more than a third of it goes
    assert float((ratio.high - ratio.low)[0] / ratio.median[0]) < 0.65 * np.hypot(*widths)


def test_the_ratio_is_told_with_the_probability_of_its_sign():
    fine, coarse = wire("fine", 0.24, 60.0), wire("coarse", 0.24, 160.0)
    found = relative_current(fine, coarse, [5.0])
    assert float(found.ratio.low[0]) > 1.0
    assert found.probability_larger[0] > 0.95
    back = relative_current(coarse, fine, [5.0])
    assert back.probability_larger[0] == pytest.approx(1.0 - found.probability_larger[0])
    assert float(back.ratio.median[0]) == pytest.approx(1.0 / float(found.ratio.median[0]), rel=0.01)


def test_where_the_reference_is_normal_there_is_no_ratio():
    high, low = exact("high", 30.0, 100.0), exact("low", 20.0, 100.0)
    found = relative_current(high, low, [10.0, 21.0])
    assert np.isfinite(found.ratio.median[0]) and np.isnan(found.ratio.median[1])
    assert found.probability_larger[1] == 1.0


def test_curves_cross_where_the_published_shape_says():
    fine, coarse = exact("fine", 26.0, 60.0), exact("coarse", 29.0, 150.0)
    conditions = Conditions(strain=0.0, design="none")
    found = crossing(coarse, fine, conditions)
    assert found.crosses and found.share == 1.0
    # At the crossing the ratio is one, by another route.
    ratio = relative_current(coarse, fine, [float(found.field_t.median)], conditions).ratio
    assert float(ratio.median[0]) == pytest.approx(1.0, abs=0.02)
    # J is F h^1/2 (1 - h)^2 / B: with k = (F / Bc2^1/2)^1/2 the curves meet where k1 (1 - B/B1) = k2 (1 - B/B2).
    one, two = layer_states((coarse, fine), conditions)
    k1, k2 = (np.sqrt(state.peak / np.sqrt(state.bc2)) for state in (one, two))
    expected = (k1 - k2) / (k1 / one.bc2 - k2 / two.bc2)
    assert float(found.field_t.median) == pytest.approx(float(np.median(expected)), abs=1e-3)
    assert "cross at" in found.words and "coarse carries more above" in found.words


def test_curves_that_do_not_cross_are_said_not_to():
    better, worse = exact("better", 29.0, 60.0), exact("worse", 26.0, 150.0)
    found = crossing(better, worse)
    assert not found.crosses and found.share == 0.0
    assert np.isnan(float(found.field_t.median))
    assert found.words == "better and worse do not cross: better carries more at all fields"


def test_a_crossing_that_hangs_on_doubt_says_so():
    one, two = wire("one", 0.2405, 100.0), wire("two", 0.240, 98.0)
    found = crossing(one, two)
    assert 0.16 < found.share < 0.84
    assert "if they do" in found.words


def test_a_limit_of_the_grain_size_makes_a_limit_of_the_current():
    values, table = material()
    values = {"tin_fraction_lattice": values["tin_fraction_lattice"], "domain_size_at_least_nm": 180.0}
    limited = made_conductor("one", (values, table.select(["tin_fraction_lattice"])), n=N)
    assert layer_current(limited, [12.0]).at_most


def test_layers_that_are_not_uniform_are_flagged():
    values, table = material()
    graded = made_conductor("one", ({**values, "lattice_tail_nm": 1e-4}, table), n=N)
    assert "layer-not-uniform" in [flag.name for flag in graded.flags]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: made_conductor("x", ({}, Contributions.empty()), n=N), "sample 'x': no Tc and Bc2"),
        (lambda: made_conductor("x", (NO_SIZE, Contributions.empty())), "sample 'x': no grain size"),
        (lambda: wire(a15_area=(60.0, 0.0)), "fraction between 0 and 1"),
        (lambda: layer_current(wire(), [0.0]), "above zero"),
        (lambda: Conditions(-4.2), "zero or more"),
        (lambda: Conditions(strain=-0.002, applied_strain=0.001), "one of them"),
        (lambda: layer_current(wire(), [5.0], Conditions(strain=-0.2)), "as a fraction"),
        (lambda: layer_current(wire(), [5.0], Conditions(strain=-0.03)), "nothing is known at this strain"),
        (lambda: crossing(wire(), made_conductor("two", material(), n=N, seed=5)), "with the same"),
        (lambda: bc2_curve(wire(), [-1.0]), "give K"),
    ],
)
def test_bad_input_is_refused_in_one_line(make, says):
    with pytest.raises(ValidityError, match=says) as caught:
        make()
    assert "\n" not in str(caught.value)


def test_an_unknown_design_is_refused():
    with pytest.raises(UnknownNameError, match="bronze"):
        Conditions(design="tape")


def test_conditions_in_words():
    assert Conditions().words() == "at 4.2 K, thermal pre-strain −0.4 to −0.2 %"
    assert Conditions(8.0, applied_strain=0.002, design="bronze").words().endswith("and +0.2 % applied")
    assert Conditions(strain=0.0).words(temperature=False) == "free of strain"
    designs = ("none", "internal-tin", "none")
    assert Conditions().words(designs=designs).endswith("pre-strain 0 % (none), −0.3 to −0.2 % (internal-tin)")
    assert Conditions(design="bronze").words(designs=designs).endswith("pre-strain −0.4 to −0.3 % (bronze)")
    assert Conditions(strain=-0.001).words(designs=designs).endswith("intrinsic strain −0.1 %")


def test_each_sample_has_the_pre_strain_of_its_design_unless_one_is_asked_for():
    free, squeezed = wire("one", design="none"), wire("one", design="bronze")
    for one, design in ((free, "none"), (squeezed, "bronze")):
        asked = bc2_curve(wire("one"), [4.2], Conditions(design=design))
        np.testing.assert_array_equal(bc2_curve(one, [4.2]), asked)
    assert bc2_curve(squeezed, [4.2]).median[0] < bc2_curve(free, [4.2]).median[0]
    np.testing.assert_array_equal(*(bc2_curve(one, [4.2], Conditions(design="bronze")) for one in (free, squeezed)))
    assert relative_current(free, dataclasses.replace(squeezed, name="two"), [14.0]).ratio.low[0] > 1.0
    with pytest.raises(UnknownNameError, match="bronze"):
        bc2_curve(wire(design="tape"), [4.2])


def test_how_often_a_layer_is_superconducting_is_told():
    sharp = exact("one", 29.0, 100.0)
    np.testing.assert_array_equal(layer_current(sharp, [5.0, 40.0]).carries, [1.0, 0.0])
    found = relative_current(exact("high", 30.0, 100.0), exact("low", 20.0, 100.0), [10.0, 21.0])
    np.testing.assert_array_equal(found.reference_carries, [1.0, 0.0])


def test_compression_takes_from_tc():
    one = exact("one", 29.0, 100.0)
    tc = [float(tc_band(one, Conditions(strain=strain)).median) for strain in (0.0, -0.002, -0.004)]
    assert 18.0 >= tc[0] > tc[1] > tc[2]


def test_pre_strain_is_common_to_a_lot():
    draws = [Conditions().draws(Common(N, key=key, lot="A")) for key in ("one", "two")]
    np.testing.assert_array_equal(*draws)


FREE = Conditions(strain=0.0, design="none")


def test_currents_of_many_at_once_have_the_ratios_of_pairs():
    samples = [wire("one"), wire("two", 0.244, 120.0), wire("three", 0.236, 80.0)]
    draws = current_draws(samples, 12.0, FREE)
    assert draws.shape == (3, N)
    for k in (1, 2):
        pair = relative_current(samples[k], samples[0], [12.0], FREE)
        # a pair takes one relation of pinning force that holds for two, the whole one that holds for all
        carries = draws[0] > 0.0
        assert np.median(draws[k][carries] / draws[0][carries]) == pytest.approx(float(pair.ratio.median[0]), rel=0.01)


def test_differences_have_lost_what_all_share():
    one, two = current_draws([exact("one", 28.0, 100.0), exact("two", 28.0, 100.0)], 12.0, FREE)
    np.testing.assert_allclose(one, two)
    bc2 = bc2_draws([wire("one"), wire("two", 0.244)], FREE)
    assert bc2.shape == (2, N) and np.all(np.isfinite(bc2))
    assert np.median(bc2[0]) == pytest.approx(float(bc2_curve(wire("one"), [4.2], FREE).median[0]))
    assert np.nanstd(bc2[1] - bc2[0]) < 0.7 * np.hypot(*np.nanstd(bc2, axis=1))


def test_a_sample_that_is_normal_carries_nothing():
    good, bad = current_draws([exact("good", 28.0, 100.0), exact("bad", 12.0, 100.0)], 15.0, FREE)
    assert np.all(good > 0.0) and np.all(bad == 0.0)


def test_a_size_that_no_relation_holds_for_takes_no_part():
    draws = current_draws([exact("one", 28.0, 100.0), exact("far", 28.0, 3000.0)], 12.0, FREE)
    assert np.all(np.isfinite(draws[0])) and np.all(np.isnan(draws[1]))


def test_currents_that_do_not_compare_are_refused():
    with pytest.raises(ValidityError, match="different seeds"):
        current_draws([wire("one"), wire("two", seed=1)], 12.0, FREE)
    with pytest.raises(ValidityError, match="not positive"):
        current_draws([wire()], 0.0, FREE)
    with pytest.raises(ValidityError, match=r"at 40 T, at 4\.2 K, free of strain, every sample may be normal"):
        current_draws([exact("one", 28.0, 100.0)], 40.0, FREE)
    with pytest.raises(ValidityError, match="of any sample"):
        current_draws([exact("far", 28.0, 3000.0)], 12.0, FREE)
