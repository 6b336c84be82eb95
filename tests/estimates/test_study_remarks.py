"""What draws say of a study as a whole: does the gap between the routes to tin follow order, does an anchor widen?"""

import re

import numpy as np
import pytest

from tests.estimates.made import U_A_NM, U_ORDER, lot, wire
from xrdorder.estimates import PUBLISHED, Measured, joint_draws
from xrdorder.estimates.study_remarks import _gap, remarks_of
from xrdorder.quantities.caveats import NOT_WIDENED


def noisy(rng: np.random.Generator, tin: np.ndarray, s_a: np.ndarray, name: str) -> list:
    """Wires measured with the noise that their tables state."""
    u_a = np.hypot(U_A_NM, 1e-3 * PUBLISHED["wire_scatter_pm"])
    found = []
    for k, (x, s) in enumerate(zip(tin, s_a, strict=True)):
        one = wire(f"{name}-{k}", name, x, s)
        found.append(type(one)(**{**vars(one), "a_nm": one.a_nm + u_a * rng.standard_normal(),
                                  "site_order": one.site_order + U_ORDER * rng.standard_normal()}))  # fmt: skip
    return found


def p_of(lots) -> float:
    (remark,) = _gap(lots, PUBLISHED)
    return float(re.findall(r"p = ([\d.e-]+)", remark)[0])


def test_wires_of_one_order_seldom_seem_to_follow_it() -> None:
    """200 studies whose wires differ in tin alone: p below 0.05 in 5 %, 2 to 8.5 % by chance (binomial, 99 %)."""
    rng = np.random.default_rng(3)
    p = [p_of([noisy(rng, rng.normal(24.0, 0.6, 6), np.full(6, 0.98), name) for name in "ab"]) for _ in range(200)]
    assert 0.02 <= np.mean(np.array(p) < 0.05) <= 0.085


def test_wires_that_differ_in_order_are_found() -> None:
    rng = np.random.default_rng(4)
    lots = [noisy(rng, rng.normal(24.0, 0.1, 7), np.linspace(0.90, 1.0, 7), name) for name in "ab"]
    assert p_of(lots) < 0.01
    assert "follows order within lots" in _gap(lots, PUBLISHED)[0]
    assert _gap([lots[0][:3]], PUBLISHED) == []  # three wires cannot tell a slope from scatter


@pytest.mark.slow
def test_an_anchor_that_widens_differences_is_explained() -> None:
    wires = lot(4, tin=24.3)
    bare = joint_draws(wires, n=400)
    assert not [text for text in remarks_of(bare, None, wires, PUBLISHED) if "steeper" in text]
    wires[0] = wire("lot-0", tin=23.8, tc_k=Measured(16.2, 0.05, "50 %"))
    found = remarks_of(joint_draws(wires, n=400), bare, wires, PUBLISHED)
    (text,) = [text for text in found if "where Tc is steeper" in text]
    after, before, steep, usual = (float(x) for x in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", text))
    assert after > before and steep > usual


@pytest.mark.slow
def test_where_order_changes_tin_without_widening_is_said() -> None:
    """Two wires of equal lattice whose order differs by 0.08: without widening their tin is equal by the lattice."""
    wires = [wire(f"lot-{k}", "lot", 24.0, s_a) for k, s_a in enumerate((0.99, 0.99, 0.91, 0.91))]
    (text,) = [one for one in remarks_of(joint_draws(wires, n=400), None, wires, PUBLISHED) if NOT_WIDENED in one]
    on, off = (float(x.replace("−", "-")) for x in re.findall(r"[+−-]\d\.\d+(?= ±| if)", text))
    # made with 5 pm for unit S_a, 0.08 of which is 2.9 at.% on the line: without it tin is higher where order is lower
    assert abs(on) < 0.6 and off > on + 0.2
