"""Attenuation from f''."""

import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.xrays import linear_attenuation_per_nm


def test_proportional_to_density() -> None:
    dense = linear_attenuation_per_nm({"Nb": 6, "Sn": 2}, 0.148, 8047.8)
    assert linear_attenuation_per_nm({"Nb": 3, "Sn": 1}, 0.148, 8047.8) == pytest.approx(dense / 2)
    assert linear_attenuation_per_nm({"Nb": 6, "Sn": 2}, 0.296, 8047.8) == pytest.approx(dense / 2)


@pytest.mark.parametrize(("volume", "energy"), [(0.0, 8047.8), (-1.0, 8047.8), (0.1, 0.0)])
def test_impossible_input(volume: float, energy: float) -> None:
    with pytest.raises(ValidityError, match="positive"):
        linear_attenuation_per_nm({"Nb": 1}, volume, energy)
