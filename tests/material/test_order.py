"""Contrast to site order, S_a, S_b and the bound on tin."""

import numpy as np
import pytest

from tests.material.conftest import names
from xrdorder.crystals.a15 import contrast_shift
from xrdorder.material import PUBLISHED_SCALE, Specimen, characterise
from xrdorder.material.dopants import usual_contents
from xrdorder.relations.published_samples import published_samples
from xrdorder.uncertainty import Contributions, difference
from xrdorder.xrays import radiation


def doped(**more):
    return Specimen(
        mount="ground-powder", temperature_c=22.5, **{"dopants": {"Ta": 0.024}, "lot": "A", **more}
    )


def test_undoped_contrast_is_the_site_order(fitted):
    material = fitted()
    assert material.values["site_order"] == 0.93
    assert material.u("site_order") == pytest.approx(0.007)
    assert material.values["tin_lower_bound"] == pytest.approx(0.2325)
    assert material.u("tin_lower_bound") == pytest.approx(0.00175)


def test_dopants_take_their_share_of_the_contrast(fitted):
    material = fitted(doped())
    energy = radiation("cu-ka").energy_ev
    shift = contrast_shift({"Ta": 0.024}, {"Ta": 0.30}, energy, 1.337)
    assert material.values["site_order"] == pytest.approx(0.93 - shift)
    row = dict(zip(material.contributions.sources, material.contributions.row("site_order"), strict=True))
    # One standard deviation off in the partition and the content, computed from scratch.
    moved = contrast_shift({"Ta": 0.024}, {"Ta": 0.42}, energy, 1.337)
    assert row["dopant site/Ta"] == pytest.approx(shift - moved, rel=1e-6)
    moved = contrast_shift({"Ta": 0.027}, {"Ta": 0.30}, energy, 1.337)
    assert row["dopant content/Ta"] == pytest.approx(shift - moved, rel=1e-6)


def test_tin_on_tin_sites_is_what_bounds_tin(fitted):
    material = fitted(doped())
    taken = 4 * 0.024 * 0.30
    x = material.values["site_order"] - taken
    assert material.values["tin_lower_bound"] == pytest.approx(x / 4)
    # More tantalum on tin sites lowers both the site order read from the contrast and what is left for tin.
    row = dict(
        zip(material.contributions.sources, material.contributions.row("tin_lower_bound"), strict=True)
    )
    order = dict(zip(material.contributions.sources, material.contributions.row("site_order"), strict=True))
    assert row["dopant site/Ta"] == pytest.approx((order["dopant site/Ta"] - 4 * 0.024 * 0.12) / 4)
    assert row["dopant site/Ta"] < 0.0


def test_content_is_common_to_a_lot_and_partition_is_not(fitted):
    one = fitted(doped())
    d = difference(one.contributions, fitted(doped()).contributions, "site_order", 0.0, 0.0)
    budget = dict(one.contributions.budget("site_order"))
    assert d.u == pytest.approx(np.sqrt(2) * np.hypot(budget["dopant site"], budget["counting"]), rel=1e-6)
    other = fitted(doped(lot="B"))
    assert difference(one.contributions, other.contributions, "site_order", 0.0, 0.0).u > d.u


def test_order_beyond_what_the_lattice_allows_is_evidence_not_an_error(fitted):
    material = fitted(a_nm=0.5281, order_contrast=0.98)
    assert material.values["tin_lower_bound"] > 1.2 * material.values["tin_fraction_lattice"]
    (flag,) = [flag for flag in material.flags if flag.name == "tin-scale"]
    assert "24.5 at.%" in flag.message
    assert "a(tin) scale" in flag.message
    assert "tin-scale" not in names(fitted())
    # Slightly above one is within the uncertainties: nothing is said.
    slight = fitted(a_nm=PUBLISHED_SCALE.lattice(0.228))
    assert slight.values["tin_lower_bound"] > slight.values["tin_fraction_lattice"]
    assert "tin-scale" not in names(slight)


def test_order_above_one_is_said(fitted):
    assert "order-above-one" in names(fitted(order_contrast=1.03))
    assert "order-above-one" not in names(fitted(order_contrast=1.01))


def test_without_contrast_there_is_no_order(fitted):
    material = fitted(order_contrast=float("nan"))
    for quantity in ("site_order", "tin_lower_bound"):
        assert np.isnan(material.values[quantity])
        assert np.isnan(material.u(quantity))
    assert np.isfinite(material.values["tin_fraction_lattice"])


def test_a_contrast_at_its_bound_is_not_given(fitted):
    """Zero without an uncertainty would be the surest order of all."""
    material = fitted(order_contrast=0.0, u={"order_contrast": 0.0})
    for quantity in ("order_contrast", "site_order", "tin_lower_bound", "tin_fraction_order"):
        assert np.isnan(material.values[quantity]) and np.isnan(material.u(quantity))
    assert "rests at its bound of 0" in material.records["site_order"].remark
    assert "order-not-determined" in names(material)
    assert np.isfinite(material.values["tin_fraction_lattice"])
    measured = fitted(order_contrast=0.0)  # with an uncertainty it is a measurement
    assert measured.values["site_order"] == 0.0 and "order-not-determined" not in names(measured)


def test_intermediate_quantities_are_not_handed_on(fitted):
    material = fitted(doped())
    allowed = {
        "a_nm", "order_contrast", "site_order", "tin_fraction_lattice", "tin_fraction_order", "tin_lower_bound",
        "domain_size_nm", "size_breadth_deg",
        "microstrain", "a15_fraction", "lorentz_sec", "lorentz_tan", "gauss_tan2", "weight_fraction_nb3sn",
    }  # fmt: skip
    assert set(material.contributions.quantities) == allowed
    assert set(material.values) == allowed | {"tin_spread", "strain_breadth_deg", "largest_resolvable_size_nm"}


def test_contrast_follows_the_tin_that_was_found() -> None:
    values = {"a_nm": PUBLISHED_SCALE.lattice(0.22), "order_contrast": 0.85}
    table = Contributions(("a_nm", "order_contrast"), ("counting",), np.array([[1e-6], [0.005]]), ("",))
    arguments = dict(specimen=Specimen(mount="ground-powder", temperature_c=22.5), radiation=radiation("cu-ka"))
    plain = characterise(values, table, **arguments)
    referred = characterise(values, table, **arguments, tin_held=0.24, by_tin={"order_contrast": 0.2})
    change = 0.2 * (plain.values["tin_fraction_lattice"] - 0.24)
    assert referred.values["order_contrast"] == pytest.approx(0.85 + change, abs=1e-12)
    assert referred.values["site_order"] == pytest.approx(plain.values["site_order"] + change, abs=1e-12)
    # the doubt about tin is now part of the doubt about order: 0.2 of it
    added = referred.u("site_order") ** 2 - plain.u("site_order") ** 2
    assert added >= 0.9 * (0.2 * plain.u("tin_fraction_lattice")) ** 2


def test_an_undeclared_dopant_is_part_of_the_uncertainty(fitted):
    """Nothing said is nothing known: no surer than a wire whose usual dopants are told, and no other value."""
    powder = {"mount": "ground-powder", "temperature_c": 22.5, "lot": "A"}
    plain, told = (fitted(Specimen(**powder, undoped=undoped)) for undoped in (False, True))
    tantalum = fitted(doped())
    for quantity in ("site_order", "tin_fraction_lattice", "tin_lower_bound"):
        assert plain.values[quantity] == told.values[quantity]
        assert plain.u(quantity) >= 0.99 * tantalum.u(quantity) > told.u(quantity)
    # by hand: five published wires (S. M. Heald et al. 2018, read), weighed against undoped ones
    contents = [{"Ta": 2.37}, {"Ta": 2.6, "Ti": 1.35}, {"Ti": 1.73}, {"Ti": 1.31}, {"Ta": 3.52}]
    energy = radiation("cu-ka").energy_ev
    shifts = [
        sum(contrast_shift({e: x / 100.0}, {e: {"Ta": 0.30, "Ti": 0.0}[e]}, energy, 1.337) for e, x in of.items())
        for of in contents
    ]
    wires = [one for one in published_samples() if one.form == "wire"]
    doped_share = sum(not one.undoped for one in wires) / len(wires)
    budget = dict(plain.contributions.budget("site_order"))
    assert budget["dopant content"] == pytest.approx(np.sqrt(doped_share * np.mean(np.square(shifts))), rel=0.02)
    # what was said about a correction that is off is that it takes no part
    off = fitted(Specimen(mount="ground-powder", temperature_c=22.5, off={"dopant-contrast", "dopant-lattice"}))
    assert off.u("site_order") == told.u("site_order")
    assert off.u("tin_fraction_lattice") == pytest.approx(told.u("tin_fraction_lattice"))


def test_contents_of_a_lot_nobody_told_are_common_to_it(fitted):
    specimen = Specimen(mount="ground-powder", temperature_c=22.5, lot="A")
    one, other = (fitted(specimen).contributions for _ in range(2))
    d = difference(one, other, "site_order", 0.0, 0.0)
    budget = dict(one.budget("site_order"))
    assert d.u == pytest.approx(np.sqrt(2) * np.hypot(budget["dopant site"], budget["counting"]), rel=1e-6)
    assert sum(weight for weight, _ in usual_contents()) == pytest.approx(1.0)
