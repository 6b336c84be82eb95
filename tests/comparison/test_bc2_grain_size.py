"""Bc2 against grains: lines of equal current agree with currents of samples that stand on them."""

import numpy as np
import pytest

from tests.drawn import made_conductor
from xrdorder.comparison.bc2_grain_size import equal_currents, placed
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.superconductivity.currents import Conditions, bc2_curve, relative_current
from xrdorder.uncertainty import Contributions

N = 4000
AT = Conditions(strain=-0.002)


def sample(name, tin, size, own=0.0, lot="A"):
    table = Contributions.empty().extend("tin_fraction_lattice", {}, {"scale": (0.002, "published"), "own": (own, "")})
    table = table.extend("domain_size_nm", {}, {"own": (0.02 * size if own else 0.0, "")})
    return made_conductor(name, ({"tin_fraction_lattice": tin, "domain_size_nm": size}, table), lot=lot, n=N)


@pytest.fixture(scope="module")
def samples():
    return [sample("low", 0.232, 80.0), sample("fine", 0.232, 60.0), sample("high", 0.238, 110.0)]


def test_the_reference_carries_as_much_as_itself(samples):
    one = samples[0]
    bc2 = float(bc2_curve(one, [4.2], AT).median[0])
    size = float(one.grain.band.median)
    assert equal_currents(one, [size], [bc2], 12.0, AT)[0, 0] == pytest.approx(1.0, abs=1e-3)


def test_finer_grains_and_higher_bc2_carry_more_and_far_from_any_relation_nothing_is_said(samples):
    one = samples[0]
    bc2 = float(bc2_curve(one, [4.2], AT).median[0])
    found = equal_currents(one, [50.0, 80.0, 120.0, 9000.0], [bc2 - 2.0, bc2, bc2 + 2.0], 12.0, AT)
    assert np.all(np.diff(found[:3], axis=0) < 0.0) and np.all(np.diff(found[:3], axis=1) > 0.0)
    assert np.all(np.isnan(found[3]))


def test_lines_agree_with_currents_of_samples(samples):
    """Without doubt of their own, samples stand where they are: the map must say what their draws say."""
    one = samples[0]
    for other in samples[1:]:
        nm = [float(other.grain.band.median)]
        bc2 = [float(bc2_curve(other, [4.2], AT).median[0])]
        drawn = float(relative_current(other, one, [10.0], AT).ratio.median[0])
        # medians of a ratio against the ratio at medians: scatter of specimens about relations differs between the two
        assert equal_currents(one, nm, bc2, 10.0, AT)[0, 0] == pytest.approx(drawn, rel=0.05)


def test_places_are_relative_and_what_is_common_has_gone(samples):
    found = placed(samples, "low", AT)
    assert [one.name for one in found] == ["low", "fine", "high"]
    low, fine, high = found
    assert tuple(map(float, low.bc2_difference)) == (0.0, 0.0, 0.0) and tuple(map(float, low.size_ratio)) == (1, 1, 1)
    # sizes as given, without doubt of their own: what a domain is to a grain cancels
    assert tuple(map(float, fine.size_ratio)) == pytest.approx((0.75, 0.75, 0.75))
    assert float(high.bc2_difference.median) > 0.0
    assert float(high.bc2_difference.high - high.bc2_difference.low) < float(np.ptp(bc2_curve(samples[2], [4.2], AT)))


def test_what_does_not_compare_is_said(samples):
    with pytest.raises(UnknownNameError, match="fine"):
        placed(samples, "none")
    with pytest.raises(ValidityError, match="may be normal"):
        equal_currents(samples[0], [80.0], [20.0], 25.0, AT)
    with pytest.raises(ValidityError, match="above zero"):
        equal_currents(samples[0], [80.0], [20.0], 0.0, AT)
