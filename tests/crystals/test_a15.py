"""Order, tin and dopants: site balance, identities, refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xrdorder.crystals import (
    A15Composition,
    apparent_contrast,
    contrast_shift,
    doped,
    order_parameters,
    phase,
    site_order_from,
    site_scattering,
    tin_lower_bound,
)
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.xrays import scattering_factor

TIN = st.floats(0.17, 0.27)
ORDER = st.floats(0.0, 1.05)
CONTENT = st.floats(0.0, 0.05)
SHARE = st.floats(0.0, 1.0)


@settings(max_examples=50, deadline=None)
@given(tin=TIN, order=ORDER, ta=CONTENT, ti=CONTENT, share=SHARE)
def test_site_balance(tin: float, order: float, ta: float, ti: float, share: float) -> None:
    sites = A15Composition(tin, order, {"Ta": ta, "Ti": ti}, {"Ta": share}).occupancies()
    assert sum(sites["2a"].values()) == pytest.approx(1.0)
    assert sum(sites["6c"].values()) == pytest.approx(1.0)
    for element, content in (("Sn", tin), ("Ta", ta), ("Ti", ti)):
        assert (2 * sites["2a"][element] + 6 * sites["6c"][element]) / 8 == pytest.approx(content, abs=1e-12)
    assert 1 - sites["6c"]["Sn"] - sites["2a"]["Nb"] == pytest.approx(order, abs=1e-12)


@settings(max_examples=50, deadline=None)
@given(tin=TIN, order=ORDER, ta=CONTENT, ti=CONTENT, share=SHARE, energy=st.floats(5500.0, 25000.0))
def test_contrast_is_order_plus_shift(
    tin: float, order: float, ta: float, ti: float, share: float, energy: float
) -> None:
    """The identity behind `contrast_shift`, against the mean scattering factors of the sites themselves."""
    composition = A15Composition(tin, order, {"Ta": ta, "Ti": ti}, {"Ta": share})
    s = 1.337
    first, second = site_scattering(doped(phase("nb3sn"), composition), [s], energy)[:, 0]
    delta = complex(scattering_factor("Sn", s, energy) - scattering_factor("Nb", s, energy))
    shift = contrast_shift({"Ta": ta, "Ti": ti}, {"Ta": share}, energy, s)
    assert ((first - second) / delta).real == pytest.approx(order + shift, abs=1e-10)


@settings(max_examples=50, deadline=None)
@given(tin=TIN, s_a=st.floats(0.0, 1.0))
def test_long_range_order_by_its_definition(tin: float, s_a: float) -> None:
    sites = A15Composition(tin, float(site_order_from(s_a, tin))).occupancies()
    r_a, r_b = sites["6c"]["Nb"], sites["2a"]["Sn"]
    found_a, found_b = order_parameters(tin, r_a + r_b - 1)
    assert found_a == pytest.approx((r_a - (1 - tin)) / tin, abs=1e-10)
    assert found_b == pytest.approx((r_b - tin) / (1 - tin), abs=1e-10)
    assert found_a == pytest.approx(s_a, abs=1e-10)


@settings(max_examples=50, deadline=None)
@given(order=ORDER, ta=CONTENT, share=SHARE)
def test_bound_is_where_the_last_tin_leaves_6c(order: float, ta: float, share: float) -> None:
    bound = float(tin_lower_bound(order, {"Ta": ta}, {"Ta": share}))
    if 0 <= bound <= 1:
        at_bound = A15Composition(bound, order, {"Ta": ta}, {"Ta": share}).occupancies()
        assert at_bound["6c"]["Sn"] == pytest.approx(0.0, abs=1e-12)


def test_default_shares_of_dopants() -> None:
    assert A15Composition(0.25, 1.0, {"Ti": 0.015}).occupancies()["2a"]["Ti"] == 0.0
    assert A15Composition(0.25, 1.0, {"Ta": 0.024}).occupancies()["2a"]["Ta"] == pytest.approx(
        4 * 0.024 * 0.30
    )


def test_no_dopant_no_shift() -> None:
    assert contrast_shift({}, None, 8047.8, 1.337) == 0.0
    assert apparent_contrast(A15Composition(0.25, 0.9), 8047.8) == pytest.approx(0.9, abs=0.03)
    assert tin_lower_bound(1.0) == 0.25


def test_arrays_pass_through() -> None:
    s_a, s_b = order_parameters(np.array([0.22, 0.25]), 0.88)
    np.testing.assert_allclose(s_a, [1.0, 0.88])
    np.testing.assert_allclose(s_b, [0.66 / 0.78, 0.88])
    np.testing.assert_allclose(tin_lower_bound([0.88, 1.0]), [0.22, 0.25])


@pytest.mark.parametrize(
    ("kwargs", "error", "reason"),
    [
        ({"tin_fraction": 25.0}, ValidityError, "not 25"),
        ({"tin_fraction": float("nan")}, ValidityError, "fraction of all atoms"),
        ({"site_order": float("inf")}, ValidityError, "finite order"),
        ({"dopants": {"V": 0.01}}, UnknownNameError, "dopant 'V'.*Ti, Ta, Hf, Zr"),
        ({"dopants": {"Ta": 2.4}}, ValidityError, "not per cent"),
        ({"dopants": {"Ta": -0.01}}, ValidityError, "no atomic fraction"),
        ({"dopants": {"Ta": 0.02}, "on_tin_site": {"Ta": 30.0}}, ValidityError, "between 0 and 1"),
        ({"dopants": {"Ti": 0.02}, "on_tin_site": {"Ta": 0.3}}, ValidityError, "no content"),
    ],
)
def test_refused(kwargs: dict, error: type[Exception], reason: str) -> None:
    with pytest.raises(error, match=reason):
        A15Composition(**kwargs).occupancies()
