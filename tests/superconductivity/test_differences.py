"""Differences of samples: what is shared cancels, what is not does not."""

import math

import numpy as np
import pytest
from scipy.special import ndtr

from tests.superconductivity.only import Only, exact
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.relations import relation
from xrdorder.superconductivity import Sample, difference, differences, predict, samples_of
from xrdorder.uncertainty import Contributions, collate

N = 50_000
LINE = Only(exact("devantay-1981-line"))
PER_TIN = 12.0 / 0.07
"""Slope of the straight line, K for unit tin fraction."""


def sample(name, tin, *, shared=0.0, own=0.0, group="published", **other):
    table = Contributions.empty().extend("tin_fraction", {}, {"scale": (shared, group), "own": (own, "")})
    return Sample(name, {"tin_fraction": tin}, table, **other)


def test_what_is_shared_cancels_and_what_is_not_adds_up():
    one, two = sample("A", 0.238, shared=0.015, own=0.001), sample("B", 0.232, shared=0.015, own=0.002)
    found = difference(one, two, "tin_fraction")
    assert found.value == pytest.approx(0.006)
    assert found.u == pytest.approx(math.hypot(0.001, 0.002))
    assert (found.high - found.low) / 2 == pytest.approx(0.9945 * found.u)
    assert found.probability_positive == pytest.approx(float(ndtr(0.006 / found.u)))
    stranger = sample("C", 0.232, shared=0.015, own=0.002, group="elsewhere")
    assert difference(one, stranger, "tin_fraction").u == pytest.approx(math.sqrt(2 * 0.015**2 + 5e-6))


def test_tc_by_a_line_differs_by_its_slope_times_tin_whatever_the_scale():
    one, two = sample("A", 0.220, shared=0.003), sample("B", 0.214, shared=0.003)
    found = difference(one, two, "Tc_K", library=LINE, n=N)
    # Nothing but the shared scale is unknown: every draw has the same difference.
    assert found.value == pytest.approx(0.006 * PER_TIN, abs=1e-9)
    assert found.high - found.low == pytest.approx(0.0, abs=1e-9)
    assert found.probability_positive == 1.0
    assert math.isnan(found.u)


def test_interval_and_probability_of_the_sign_of_tc():
    u = 0.002
    one, two = sample("A", 0.220, shared=0.003, own=u), sample("B", 0.218, shared=0.003, own=u)
    found = difference(one, two, "Tc_K", library=LINE, n=N)
    sigma = math.sqrt(2.0) * u * PER_TIN
    # Error of a median 1.25 sigma / sqrt(n), of an end of the interval 1.5, of a probability 0.5 / sqrt(n); four each.
    assert found.value == pytest.approx(0.002 * PER_TIN, abs=4 * 1.25 * sigma / math.sqrt(N))
    assert (found.high - found.low) / 2 == pytest.approx(0.9945 * sigma, abs=4 * 1.5 * sigma / math.sqrt(N))
    assert found.probability_positive == pytest.approx(float(ndtr(0.002 / (math.sqrt(2) * u))), abs=2 / math.sqrt(N))


def test_specimens_of_a_lot_stray_in_part_together():
    library = Only(relation("devantay-1981-line"))
    # 0.8 K at 23.5 at.%; nothing else is unknown. Half of the variance is common to a lot.
    for lot, expected in (("", math.sqrt(2.0) * 0.8), ("lot 7", 0.8)):
        found = difference(
            sample("A", 0.235, lot=lot), sample("B", 0.230, lot=lot), "Tc_K", library=library, n=N
        )
        half = (found.high - found.low) / 2
        assert half == pytest.approx(0.9945 * expected, abs=4 * 1.5 * expected / math.sqrt(N))


def test_the_spread_between_relations_counts_only_by_what_it_does_to_the_difference():
    library = Only(exact("devantay-1981-line"), exact("godeke-2006-boltzmann"))
    one, two = sample("A", 0.215), sample("B", 0.210)
    found = difference(one, two, "Tc_K", library=library, n=N)
    by = [float(entry(0.215) - entry(0.210)) for entry in library.entries]
    # Either relation gives one number; unpaired they would be up to 2 K further apart.
    assert (found.low, found.high) == pytest.approx((min(by), max(by)), abs=1e-9)


def test_the_other_way_round_is_the_opposite():
    one, two = sample("A", 0.240, shared=0.01, own=0.001), sample("B", 0.235, shared=0.01, own=0.001)
    for quantity in ("tin_fraction", "Tc_K", "Bc2_0K_T", "Bc2_4K2_T"):
        forth, back = difference(one, two, quantity, n=20_000), difference(two, one, quantity, n=20_000)
        assert forth.value == pytest.approx(-back.value, abs=1e-9)
        assert forth.low == pytest.approx(-back.high, abs=1e-9)
        assert forth.probability_positive == pytest.approx(1.0 - back.probability_positive)
        assert forth.share == back.share


def test_only_states_in_which_both_are_predicted_by_one_relation_count():
    # At the end of the validity half of the draws of either lie beyond; the scale is shared, so that they are the same.
    one, two = sample("A", 0.2500, shared=0.004), sample("B", 0.2495, shared=0.004)
    found = difference(one, two, "Tc_K", library=LINE, n=N)
    assert found.share == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(N))
    assert found.value == pytest.approx(0.0005 * PER_TIN, abs=1e-9)
    assert "50 %" in found.remark


def test_a_relation_that_only_one_of_them_has_is_left_out():
    # Only the tantalum form reaches beyond 25 at.%: it alone can compare the two.
    one, two = sample("A", 0.2540, own=1e-4), sample("B", 0.2490, own=1e-4)
    library = Only(exact("devantay-1981-line"), exact("baumgartner-2017-tantalum"))
    found = difference(one, two, "Tc_K", library=library, n=N)
    form = relation("baumgartner-2017-tantalum")
    assert found.value == pytest.approx(float(form(0.2540) - form(0.2490)), abs=1e-3)
    assert found.share == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(N))


@pytest.mark.slow
def test_scales_cancel_in_the_whole_chain():
    shared = {"shared": 0.006, "own": 0.0005}
    one, two = sample("A", 0.238, **shared, lot="x"), sample("B", 0.232, **shared, lot="x")
    for quantity in ("Tc_K", "Bc2_4K2_T"):
        paired = difference(one, two, quantity, n=N)
        widths = [
            np.diff([predict((s.values, s.contributions), n=N, key=s.name).combined[quantity].low,
                     predict((s.values, s.contributions), n=N, key=s.name).combined[quantity].high])[0]
            for s in (one, two)
        ]  # fmt: skip
        assert paired.high - paired.low < 0.75 * np.hypot(*widths)
        assert paired.probability_positive > 0.5


def test_a_study_against_its_reference():
    samples = [sample("A", 0.240, own=0.001), sample("ref", 0.235, own=0.001), sample("B", 0.230, own=0.001)]
    found = differences(samples, "ref", quantities=("tin_fraction", "Tc_K"), n=20_000)
    assert [(d.sample, d.reference, d.quantity) for d in found] == [
        ("A", "ref", "tin_fraction"), ("A", "ref", "Tc_K"), ("B", "ref", "tin_fraction"), ("B", "ref", "Tc_K"),
    ]  # fmt: skip
    assert found[1].value > 0.0 > found[3].value
    assert found[1] == difference(samples[0], samples[1], "Tc_K", n=20_000)


def test_samples_of_collated_results():
    tables = {
        name: Contributions.empty().extend("a_nm", {}, {"certificate": (1e-5, "srm"), "counting": (own, "")})
        for name, own in (("A", 3e-6), ("B", 4e-6), ("failed", 1e-6))
    }
    results = collate(tables)
    results["value"] = (("sample", "quantity"), np.array([[0.52885], [0.52880], [np.nan]]))
    results["wire"] = ("sample", np.array(["Ta", "Ta", ""], dtype=object))
    results["lot"] = ("sample", np.array(["x", "y", "x"], dtype=object))
    one, two = samples_of(results)
    assert (one.name, one.wire, one.lot, two.lot) == ("A", "Ta", "x", "y")
    found = difference(one, two, "a_nm")
    assert found.value == pytest.approx(5e-5)
    assert found.u == pytest.approx(5e-6)
    assert samples_of(results.drop_vars(["wire", "lot"]))[0].wire == "any"


def test_what_one_of_them_lacks_is_a_remark():
    nothing = Sample("B", {"tin_fraction": math.nan, "a_nm": 0.5288}, Contributions.empty(["a_nm"]))
    one = sample("A", 0.24)
    for quantity, words in (("tin_fraction", "'B' has no tin_fraction"), ("Tc_K", "no tin content is known")):
        found = difference(one, nothing, quantity, n=100)
        assert math.isnan(found.value)
        assert found.probability_positive == 0.5
        assert words in found.remark
    outside = difference(one, sample("C", 0.27), "Tc_K", n=1000)
    assert math.isnan(outside.value) and "outside the A15 field" in outside.remark


def test_values_without_a_table_count_as_exact():
    one = Sample("A", {"domain_size_nm": 110.0}, Contributions.empty())
    two = Sample(
        "B", {"domain_size_nm": 100.0}, Contributions.empty().extend("domain_size_nm", {}, {"counting": (5.0, "")})
    )
    found = difference(one, two, "domain_size_nm")
    assert (found.value, found.u) == (10.0, 5.0)


def test_bc2_at_any_temperature():
    one, two = sample("A", 0.240, own=1e-4), sample("B", 0.230, own=1e-4)
    fields = {
        t: difference(one, two, name, n=20_000, temperatures_k=(1.9, 12.0)).value
        for t, name in ((1.9, "Bc2_1K9_T"), (12.0, "Bc2_12K_T"))
    }
    assert fields[1.9] > 0.0 and fields[12.0] > 0.0


def test_mistakes_are_one_line():
    one, two = sample("A", 0.24), sample("B", 0.23)
    for call, kind, words in (
        (lambda: difference(one, sample("A", 0.23), "Tc_K"), ValidityError, "two samples are called 'A'"),
        (lambda: differences([one, two], "C"), UnknownNameError, "no sample 'C' to refer to; known are: A, B"),
        (lambda: difference(one, two, "Jc"), UnknownNameError, "no sample has the quantity 'Jc'"),
        (lambda: difference(one, two, "Tc_K", temperatures_k=(-1.0,)), ValidityError, "-1 K"),
    ):
        with pytest.raises(kind, match=words.replace("(", r"\(")) as caught:
            call()
        assert "\n" not in str(caught.value)
