"""Attenuation from f''."""

import numpy as np
import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.xrays import linear_attenuation_per_nm
from xrdorder.xrays.attenuation import mean_depth


def test_proportional_to_density() -> None:
    dense = linear_attenuation_per_nm({"Nb": 6, "Sn": 2}, 0.148, 8047.8)
    assert linear_attenuation_per_nm({"Nb": 3, "Sn": 1}, 0.148, 8047.8) == pytest.approx(dense / 2)
    assert linear_attenuation_per_nm({"Nb": 6, "Sn": 2}, 0.296, 8047.8) == pytest.approx(dense / 2)


@pytest.mark.parametrize(("volume", "energy"), [(0.0, 8047.8), (-1.0, 8047.8), (0.1, 0.0)])
def test_impossible_input(volume: float, energy: float) -> None:
    with pytest.raises(ValidityError, match="positive"):
        linear_attenuation_per_nm({"Nb": 1}, volume, energy)


def test_mean_depth_is_the_mean_of_what_is_seen() -> None:
    z, sine = np.linspace(0.0, 60.0, 600_001), 0.5
    seen = np.exp(-2.0 * 0.15 * z / sine)
    # sum instead of integral: half a step of 1e-4 in a depth of 1.7; what lies deeper than 60 weighs 1e-16
    assert mean_depth(sine, 0.15) == pytest.approx(np.sum(z * seen) / np.sum(seen), rel=1e-4)
    assert np.all(mean_depth(np.array([sine, 1.0]), 0.15) == [mean_depth(sine, 0.15), mean_depth(1.0, 0.15)])
