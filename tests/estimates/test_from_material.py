"""A wire made from what a pattern gave: the line's own doubts go, everything else stays, and order goes with tin."""

import numpy as np
import pytest

from xrdorder.crystals.a15 import site_order_from
from xrdorder.estimates import PUBLISHED, joint_draws
from xrdorder.estimates.from_material import kind_of, on_scale, wire_of_material
from xrdorder.material import PUBLISHED_SCALE, Material, Specimen, TinScale
from xrdorder.material.order import add_tin_bound
from xrdorder.material.tin import add_tin
from xrdorder.uncertainty import Contributions

U_A_NM, U_ORDER = 4e-6, 0.01


def material(specimen: Specimen, a_nm: float = 0.52880, order: float = 0.92) -> Material:
    derived = Material({"a_nm": a_nm, "site_order": order}, Contributions.empty())
    derived.add_given("a_nm", a_nm, {"certificate": (U_A_NM, "srm")})
    derived.add_given("site_order", order, {"counting": (U_ORDER, "")})
    add_tin(derived, specimen)
    add_tin_bound(derived, specimen)
    return derived


def test_undoped_wire_keeps_its_lattice_and_order() -> None:
    specimen = Specimen(undoped=True, mount="ground-powder", lot="spool")
    wire = wire_of_material("w", material(specimen), specimen, treatment="650 °C")
    assert (wire.kind, wire.lot, wire.treatment) == ("binary", "spool", "650 °C")
    assert wire.a_nm == pytest.approx(0.52880, abs=1e-9)
    assert wire.site_order == pytest.approx(0.92, abs=1e-12)
    assert wire.contributions.total("a_nm") == pytest.approx(U_A_NM, rel=1e-9)
    assert wire.contributions.total("site_order") == pytest.approx(U_ORDER, rel=1e-9)
    assert not any(source.startswith("a(tin)") and np.any(column) for source, column in
                   zip(wire.contributions.sources, wire.contributions.values.T, strict=True))  # fmt: skip


def test_dopants_are_taken_off_the_order_and_stay_in_the_doubt() -> None:
    """A fraction c of all atoms, s of it on tin sites, holds 4 c s of them (two of eight atoms of a cell)."""
    specimen = Specimen(dopants={"Ta": 0.024}, on_tin_site={"Ta": 0.25}, mount="ground-powder", lot="spool")
    wire = wire_of_material("w", material(specimen), specimen)
    assert wire.kind == "Ta"
    assert wire.site_order == pytest.approx(0.92 - 4 * 0.024 * 0.25, abs=1e-12)
    sources = {source for source, column in zip(wire.contributions.sources, wire.contributions.values.T, strict=True)
               if np.any(column)}  # fmt: skip
    assert {
        "dopant site/Ta",
        "dopant content/Ta",
        "dopant lattice effect/Ta",
        "certificate",
        "counting",
    } == sources


def test_the_reference_to_tin_is_taken_back() -> None:
    """Order found with 23.5 at.% by a lattice; 0.24 for unit tin: two wires of one truth, referred to different tin."""
    specimen = Specimen(undoped=True, mount="ground-powder", lot="spool")
    c, tin = 0.24, PUBLISHED_SCALE.tin(0.52880)
    truth = float(site_order_from(0.97, 0.24))
    referred = truth - c * (0.24 - tin)
    wire = wire_of_material("w", material(specimen, order=referred), specimen, contrast_by_tin=c)
    assert wire.site_order + wire.order_by_tin * (0.24 - wire.order_at_tin) == pytest.approx(truth, abs=1e-12)


def test_a_laboratory_of_its_own_line_knows_absolute_tin_better() -> None:
    own = TinScale("ours", 0.52880, 0.0140, ((1e-10, 0.0), (0.0, 1e-8)), "twelve samples")
    hyper = on_scale(own)
    assert hyper["lattice_at_pivot_pm"] == pytest.approx(528.80)
    assert hyper["pivot_tin"] == pytest.approx(24.0)
    assert (hyper["slope_pm"], hyper["scale_pm"]) == (pytest.approx(0.140), pytest.approx(0.01))
    specimen = Specimen(undoped=True, mount="ground-powder")
    wire = wire_of_material("w", material(specimen), specimen)
    u = [joint_draws([wire], n=600, hyper=h).of("w", "tin_fraction").std() for h in (PUBLISHED, hyper)]
    assert u[1] < 0.7 * u[0]


def test_kinds() -> None:
    assert [kind_of(wire) for wire in ("binary", "doped", "Ta", "Ti", "any")] == ["binary", "Ti", "Ta", "Ti", "any"]
