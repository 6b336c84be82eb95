"""Tc and Bc2 over layers that are not the same everywhere."""

import numpy as np
import pytest

from tests.drawn import joint, made_layer
from xrdorder.estimates.conductors import section
from xrdorder.exceptions import ValidityError
from xrdorder.relations import relation
from xrdorder.superconductivity.currents import Conditions
from xrdorder.superconductivity.layers import SLICES, layer, row_quantile
from xrdorder.superconductivity.mixture import Common
from xrdorder.uncertainty import Contributions

N = 4000


def exact(**values):
    return values, Contributions.empty()


def uncertain(u, **values):
    table = Contributions.empty()
    for name in values:
        if name in u:
            table = table.extend(name, {}, {f"{name} error": (u[name], "")})
    return values, table


UNIFORM = exact(tin_fraction_lattice=0.235)
GRADED = exact(tin_fraction_lattice=0.235, tin_spread=0.01, lattice_tail_nm=0.000136)
TWO = exact(
    tin_fraction_lattice=0.2275,
    tin_fraction_lattice_lean=0.22,
    tin_fraction_lattice_rich=0.245,
    rich_share=0.3,
    tin_spread=0.01,
)


def test_a_graded_layer_has_the_mean_the_spread_and_the_shape_of_its_tail():
    one = made_layer(GRADED, n=N)
    assert one.kind == "graded"
    tin = one.tin[0]
    assert tin.size == SLICES
    assert tin.mean() == pytest.approx(0.235, abs=1e-12)
    # An exponential has its decay length as standard deviation; slices lose what varies inside them, most of it in the
    # last slice, whose own variance is that of the whole: 1/40.
    assert tin.std() == pytest.approx(0.01, rel=0.02)
    assert tin.max() == pytest.approx(0.245, abs=0.0002)  # the richest place: mean plus decay length
    section = one.over_section(one.tin)
    # Quantiles of the exponential: mean + spread (1 + ln q). Taking the mean of two slices for the border between them
    # costs spread (slice / q)^2 / 6, which is 1.04e-4 for the worst decile.
    assert float(section.worst_decile.median) == pytest.approx(0.235 + 0.01 * (1 + np.log(0.1)), abs=1.1e-4)
    assert float(section.best_decile.median) == pytest.approx(0.235 + 0.01 * (1 + np.log(0.9)), abs=1e-4)


def test_a_tail_toward_large_lattice_parameters_leans_the_other_way():
    values = dict(GRADED[0]) | {"lattice_tail_nm": -0.000136}
    tin = made_layer(exact(**values), n=N).tin[0]
    assert tin.min() == pytest.approx(0.225, abs=0.0002)
    assert tin.mean() == pytest.approx(0.235, abs=1e-12)


def test_two_populations_have_two_steps():
    one = made_layer(TWO, n=N)
    assert one.kind == "two populations"
    lean, rich = 0.22, 0.245
    fields = {tin: float(relation("rise-and-plateau")(tin)) for tin in (lean, rich)}  # 19.9 and 29.1 T
    share = one.share_superconducting([0.0, 0.5 * sum(fields.values()), 60.0], 0.0)
    # Between the two only the rich are left; scatter of 1.5 T and two branches leave no other answer in the middle.
    np.testing.assert_allclose(share.median, [1.0, 0.3, 0.0])
    section = one.over_section(one.tc)
    assert float(section.worst_decile.median) == pytest.approx(12.5, abs=0.5)  # relations at 22 at.%: 12.2 to 12.9
    assert float(section.best_decile.median) == pytest.approx(17.6, abs=0.4)  # at 24.5 at.%: 17.1 to 17.8
    mean = 0.7 * float(section.worst_decile.median) + 0.3 * float(section.best_decile.median)
    assert float(section.mean.median) == pytest.approx(mean, abs=0.1)


def test_the_share_of_the_rich_carries_its_uncertainty():
    one = made_layer(uncertain({"rich_share": 0.05}, **TWO[0]), n=N)
    share = one.share_superconducting([24.5], 0.0)
    # 0.9945 standard deviations either way; error of an end of the interval 1.5 sigma / sqrt(n), four of them
    assert float(share.high[0] - share.low[0]) == pytest.approx(2 * 0.9945 * 0.05, abs=0.01)
    np.testing.assert_allclose(one.weights.sum(axis=1), 1.0)


def test_a_uniform_layer_is_one_piece_and_has_the_joint_draws_themselves():
    one = made_layer(UNIFORM, n=N)
    assert one.kind == "uniform" and one.tin.shape == (N, 1)
    section = one.over_section(one.tc)
    assert section.mean == section.worst_decile == section.best_decile
    for mine, given in zip((one.tin, one.tc, one.bc2_0), joint(UNIFORM, n=N), strict=True):
        np.testing.assert_allclose(mine[:, 0], given, rtol=1e-12)


def test_symmetric_broadening_is_composition_only_when_asked():
    values = {"tin_fraction_lattice": 0.235, "tin_spread": 0.008}
    assert made_layer(exact(**values), n=N).kind == "uniform"
    one = made_layer(exact(**values), n=N, bound=True)
    assert one.kind == "bound"
    assert one.tin[0].mean() == pytest.approx(0.235, abs=1e-12)
    assert one.tin[0].std() == pytest.approx(0.008, rel=0.02)  # variance inside the slices is left out
    assert "spread-is-a-bound" in [flag.name for flag in one.flags]


def test_the_level_of_the_joint_estimate_moves_all_of_the_layer():
    for plain in (GRADED, TWO):
        tin, tc, bc2_0 = joint(plain, n=N)
        moved = layer(section(plain, Common(N)), tin + 0.004, tc, bc2_0, np.zeros(N), common=Common(N))
        np.testing.assert_allclose(moved.tin - made_layer(plain, n=N).tin, 0.004, atol=1e-12)


def test_the_section_fades_with_field_and_with_temperature():
    one = made_layer(GRADED, n=N)
    fields = np.linspace(0.0, 45.0, 46)
    cold = one.share_superconducting(fields, 4.2).median
    warm = one.share_superconducting(fields, 12.0).median
    assert cold[0] == 1.0 and cold[-1] == 0.0
    assert np.all(np.diff(cold) <= 0.0) and np.all(warm <= cold) and np.any(warm < cold)
    # A graded layer fades over more tesla than a uniform one of equal mean: between 10 and 90 % of the section.
    uniform = made_layer(UNIFORM, n=N).over_section(made_layer(UNIFORM, n=N).bc2(4.2))
    graded = one.over_section(one.bc2(4.2))
    assert float(graded.best_decile.median - graded.worst_decile.median) > 5.0
    assert float(uniform.best_decile.median - uniform.worst_decile.median) == 0.0


def test_strain_takes_from_every_piece():
    one = made_layer(GRADED, n=N)
    at = one.strained(-0.003)
    np.testing.assert_array_equal(one.under(Conditions(strain=-0.003)).bc2_factor, at.bc2_factor)
    ratio = np.median(one.bc2(0.0, at) / one.bc2(0.0))
    assert ratio == pytest.approx(0.945, abs=0.03)  # published functions give .935 to .954


def test_a_layer_takes_the_pre_strain_of_its_design():
    free, squeezed = (made_layer(GRADED, n=N, design=design) for design in ("none", "bronze"))
    np.testing.assert_array_equal(free.under(Conditions()).strain, 0.0)
    strain = squeezed.under(Conditions()).strain
    assert np.all((strain >= -0.004) & (strain <= -0.003))
    np.testing.assert_array_equal(free.under(Conditions(design="bronze")).strain, strain)


def test_above_the_highest_tc_nothing_is_superconducting():
    one = made_layer(GRADED, n=N)
    assert np.mean(one.bc2(20.0) > 0.0) < 0.01  # but for the tail of what relations scatter by
    np.testing.assert_array_equal(one.share_superconducting([1.0], 20.0).high, 0.0)


def test_tin_beyond_the_field_is_said_and_taken_at_the_end():
    one = made_layer(exact(tin_fraction_lattice=0.2, tin_spread=0.02, lattice_tail_nm=0.0003), n=N)
    (flag,) = [flag for flag in one.flags if flag.name == "layer-outside-a15"]
    outside = 1.0 - np.mean((one.tin >= 0.18) & (one.tin <= 0.255))
    assert f"{100 * outside:.0f} %" in flag.message
    assert np.all(np.isfinite(one.tc)) and np.all(one.bc2_0 >= 0.0)


def test_doubt_about_the_level_is_no_spread():
    values, table = uncertain({"tin_fraction_lattice": 0.015}, tin_fraction_lattice=0.245)
    assert made_layer((values, table), n=N).flags == ()


def test_what_cannot_be_said_is_refused_in_one_line():
    with pytest.raises(ValidityError, match="no tin content") as caught:
        made_layer(exact(site_order=0.95), n=10)
    assert "\n" not in str(caught.value)
    with pytest.raises(ValidityError, match="zero or more"):
        made_layer(UNIFORM, n=10).share_superconducting([-1.0], 4.2)


def test_quantiles_of_rows():
    values = np.array([[3.0, 1.0, 2.0]])
    weights = np.array([[0.2, 0.5, 0.3]])
    # by hand: 1 fills to 0.5, 2 to 0.8, 3 to 1
    assert [float(row_quantile(values, weights, q)[0]) for q in (0.1, 0.5, 0.6, 0.8, 0.95, 1.0)] == [
        1.0, 1.5, 2.0, 2.5, 3.0, 3.0,
    ]  # fmt: skip
