"""How the relations run: monotony, limits, and agreement among each other."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xrdorder.relations import relation, relations
from xrdorder.relations.bc2_of_temperature import inverse_digamma, reduced_field


@pytest.mark.parametrize(
    "entry",
    [
        e
        for kind in ("tin-from-lattice", "tin-from-order", "tc-from-tin", "tc-from-order")
        for e in relations(kind)
    ],
    ids=lambda entry: entry.name,
)
def test_more_lattice_order_or_tin_means_more(entry):
    values = entry(np.linspace(*entry.valid, 400))
    # The cubic, a fit to scattered data, falls by 0.03 K in all over its first 1 at.%.
    assert np.all(np.diff(values) >= (-0.006 if entry.name == "li-gao-2014-cubic" else 0.0))


@pytest.mark.slow
@settings(max_examples=30)
@given(shares=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=6), beyond=st.floats(1e-6, 10.0))
def test_every_relation_answers_within_its_validity_and_nowhere_else(shares, beyond):
    for entry in relations():
        low, high = entry.valid
        x = low + np.array(shares) * (high - low)
        values = entry(x)
        assert np.all(np.isfinite(values)), entry.name
        # each number by itself, whatever stands beside it, but for rounding by several at a time
        assert values == pytest.approx([float(entry(one)) for one in x], rel=1e-13), entry.name
        assert entry(x[::-1]) == pytest.approx(values[::-1], rel=1e-13), entry.name
        for outside in (low - beyond, high + beyond):
            assert np.isnan(entry.evaluate(outside)) and entry.refusal([*x, outside]), entry.name
        if entry.inverse is not None:
            others = [symbol.usual for symbol in entry.inputs[1:]]
            back = np.asarray(entry.inverse(values, *others))
            # as far as the output tells its input
            np.testing.assert_allclose(entry.function(back, *others), values, rtol=1e-9, atol=1e-9, err_msg=entry.name)


def test_resistivity_falls_with_order_and_tin():
    for kind in ("resistivity-from-order", "resistivity-from-tin"):
        for entry in relations(kind):
            assert np.all(np.diff(entry(np.linspace(*entry.valid, 100))) < 0.0)


def test_both_resistivities_describe_the_same_antisite_atoms():
    # Fully ordered A15 of tin content beta has the site order 4 beta: this ties S of one relation to beta
    # of the other.
    beta = np.linspace(0.21, 0.25, 50)
    by_order = relation("flukiger-1987-resistivity")(4.0 * beta)
    by_tin = relation("godeke-2006-resistivity")(beta)
    assert np.max(np.abs(by_order - by_tin)) < 5.0


def test_the_order_chain_saturates_where_resistivity_has_nothing_left():
    chain = relation("order-resistivity-chain")
    assert chain(0.999) == chain(1.0)
    assert float(chain(1.0)) == pytest.approx(float(relation("godeke-2006-boltzmann")(0.25)), abs=1e-9)


def test_both_branches_of_bc2_share_the_rise_and_part_at_stoichiometry():
    collapse, plateau = relations("bc2-0-from-tin")
    # The exponential takes less than 0.02 T below 22 at.%.
    beta = np.linspace(0.19, 0.22, 20)
    np.testing.assert_allclose(collapse(beta), plateau(beta), atol=0.02)
    assert float(plateau(0.25) - collapse(0.25)) > 7.0


@pytest.mark.parametrize("entry", relations("bc2-temperature"), ids=lambda entry: entry.name)
def test_bc2_runs_from_its_full_value_to_nothing(entry):
    temperature = np.linspace(0.0, 18.6, 300)
    field = entry(temperature, 29.0, 18.0)
    assert field[0] == pytest.approx(29.0, rel=1e-9)
    assert np.all(np.diff(field) <= 1e-12)
    assert np.all(field[temperature >= 18.0] == pytest.approx(0.0, abs=1e-9))
    assert np.all(field >= 0.0)


@given(st.floats(1e-5, 1.0))
def test_the_implicit_function_satisfies_its_equation(t):
    from scipy.special import digamma

    x = float(reduced_field(np.array(t))) * np.exp(digamma(0.5)) / t
    # 1e-9: rounding of psi(1/2 + x) when x reaches 1e4.
    assert np.log(t) == pytest.approx(digamma(0.5) - digamma(0.5 + x), abs=1e-9)


@given(st.floats(-1.96, 15.0))
def test_the_inverse_digamma_is_one(y):
    from scipy.special import digamma

    assert digamma(inverse_digamma(np.array(y))) == pytest.approx(y, abs=1e-11)
