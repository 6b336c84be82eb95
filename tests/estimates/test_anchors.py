"""What a value measured on one wire does to the others of its lot, and what cannot be used."""

import numpy as np
import pytest

from tests.estimates.made import lot, table, wire
from tests.estimates.test_joint_draws import u_of
from xrdorder.estimates import Measured, Wire, joint_draws
from xrdorder.relations.published_samples import select

N = 500
TC = Measured(17.6, 0.05, "50 %")


def anchored(**anchors: Measured):
    wires = lot(5, tin=23.5)
    wires[0] = wire("lot-0", tin=23.0, **anchors)
    return joint_draws(wires, n=N)


@pytest.fixture(scope="module")
def free():
    return joint_draws(lot(5, tin=23.5), n=N)


@pytest.fixture(scope="module")
def by_tc():
    return anchored(tc_k=TC)


def test_one_tc_narrows_the_tc_of_the_lot(free, by_tc) -> None:
    assert u_of(by_tc.of("lot-0", "Tc_K")) < 0.06
    assert np.median(by_tc.of("lot-0", "Tc_K")) == pytest.approx(17.6, abs=0.05)
    assert all(u_of(by_tc.of(name, "Tc_K")) < 0.45 for name in by_tc.samples)
    assert u_of(by_tc.of("lot-1", "Tc_K")) < 0.7 * u_of(free.of("lot-1", "Tc_K"))


def test_one_bc2_narrows_bc2_of_the_lot(free) -> None:
    drawn = anchored(bc2_t=Measured(26.0, 0.2, "50 %", 0.0))
    assert u_of(drawn.of("lot-2", "Bc2_0K_T")) < 0.6 * u_of(free.of("lot-2", "Bc2_0K_T"))


def test_one_composition_narrows_tin_but_no_further_than_the_microprobe(free) -> None:
    drawn = anchored(tin_at_percent=Measured(23.0, 0.2))
    assert u_of(drawn.of("lot-3", "tin_fraction")) < u_of(free.of("lot-3", "tin_fraction"))
    # measured tin reads low by what Tc tells: best tin lies above it
    assert 100.0 * np.median(drawn.of("lot-0", "tin_fraction")) > 23.0


def test_another_lot_hears_little_of_it(by_tc) -> None:
    wires = [*lot(5, tin=23.5), *lot(3, "other", tin=23.5)]
    apart = joint_draws(wires, n=N)
    wires[0] = wire("lot-0", tin=23.0, tc_k=TC)
    together = joint_draws(wires, n=N)
    narrower = u_of(together.of("other-1", "Tc_K")) / u_of(apart.of("other-1", "Tc_K"))
    assert narrower > 0.7


@pytest.mark.parametrize(
    ("anchor", "flag", "words"),
    [
        ({"tc_k": Measured(17.5, 0.1)}, "anchor-without-criterion", "without a criterion"),
        ({"tc_k": Measured(19.2, 0.1, "onset")}, "anchor-set-aside", "Tc of 19.2 K"),
        ({"tc_k": Measured(17.5, 0.0, "onset")}, "anchor-set-aside", "without an uncertainty"),
        ({"bc2_t": Measured(25.0, 0.2, "50 %")}, "anchor-set-aside", "Bc2 without a temperature"),
        ({"tin_at_percent": Measured(33.0, 0.5)}, "anchor-set-aside", "outside the A15 field"),
    ],
)
def test_what_cannot_be_used_is_said_in_one_line(anchor, flag: str, words: str) -> None:
    drawn = joint_draws([wire("a", **anchor), wire("b")], n=200)
    found = dict(drawn.flags["a"])
    assert words in found[flag]
    assert "\n" not in found[flag]
    assert np.all(np.isfinite(drawn.values["Tc_K"]))


def test_two_values_that_cannot_be_used_are_both_said() -> None:
    both = wire("a", tc_k=Measured(19.2, 0.1, "onset"), tin_at_percent=Measured(33.0, 0.5))
    found = dict(joint_draws([both, wire("b")], n=200).flags["a"])["anchor-set-aside"]
    assert "Tc of 19.2 K" in found and "33 at.%" in found


def test_anchors_that_contradict_each_other_are_both_named() -> None:
    wires = lot(4, tin=24.5)
    wires[0] = wire("lot-0", tin=24.4, tc_k=Measured(18.0, 0.05, "50 %"))
    wires[3] = wire("lot-3", tin=24.6, tc_k=Measured(16.0, 0.05, "50 %"))
    drawn = joint_draws(wires, n=500)
    for name in ("lot-0", "lot-3"):
        message = dict(drawn.flags[name])["anchors-contradict"]
        assert "'lot-0'" in message and "'lot-3'" in message and "both are kept" in message
    calm = [wires[0], wires[1], wires[2], wire("lot-3", tin=24.6, tc_k=Measured(18.1, 0.05, "50 %"))]
    assert all("anchors-contradict" not in dict(flags) for flags in joint_draws(calm, n=500).flags.values())


def test_tin_beyond_the_field_is_cut_at_either_end_and_gets_a_tc() -> None:
    rich, poor = wire("rich", "", tin=25.0 + 0.3 / 0.136, s_a=0.98), wire("poor", "", tin=16.0, s_a=0.98)
    drawn = joint_draws([rich, wire("usual", ""), poor], n=N)
    assert [name for name in drawn.samples if "tin-cut-at-edge" in dict(drawn.flags[name])] == ["rich", "poor"]
    assert 100.0 * drawn.of("rich", "tin_fraction").max() <= 25.5  # ends of the field
    assert 100.0 * drawn.of("poor", "tin_fraction").min() >= 18.0
    assert np.all(np.isfinite(drawn.values["Tc_K"]))


@pytest.mark.parametrize("a_nm", [0.5291, 0.5293])
def test_the_best_known_stoichiometric_samples_get_a_tc(a_nm: float) -> None:
    """Lattice parameter alone against the measured Tc of the published sample, whose source stands in the table."""
    (sample,) = select("a_nm", "Tc_K", judges="lattice", where=lambda s: s.a_nm == a_nm)
    drawn = joint_draws([Wire(sample.name, kind="bulk", a_nm=a_nm, contributions=table(u_a=1e-4))], n=N)
    low, high = np.quantile(drawn.of(sample.name, "Tc_K"), [0.025, 0.975])
    assert low < sample.Tc_K < high
    assert u_of(drawn.of(sample.name, "Tc_K")) < 0.8


def test_a_lot_of_one_wire_is_said() -> None:
    drawn = joint_draws([wire("a", "one"), wire("b", "two"), wire("c", "two"), wire("d", "")], n=200)
    assert [name for name in drawn.samples if "lot-of-one" in dict(drawn.flags[name])] == ["a"]
