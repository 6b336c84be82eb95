"""Specimens that cannot be are refused in one line."""

import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.material import MOUNTS, Specimen


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"mount": "powder"}, "'powder'.*ground-powder"),
        ({"dopants": {"Ta": 2.4}}, "Ta is 2.4.*0.2"),
        ({"dopants": {"Ta": -0.01}}, "Ta is -0.01"),
        ({"dopants": {"Ta": float("nan")}}, "Ta is nan"),
        ({"u_dopants": {"Ta": 0.001}}, "no content of Ta"),
        ({"dopants": {"Ta": 0.02}, "on_tin_site": {"Ta": 30}}, "Ta is 30.*between 0 and 1"),
        ({"temperature_c": -300.0}, "-300"),
        ({"u_temperature_k": -1.0}, "-1"),
        ({"wire_axis_angle_deg": float("nan")}, "nan"),
    ],
)
def test_impossible_specimens(arguments, message):
    with pytest.raises(ValidityError, match=message) as caught:
        Specimen(**arguments)
    assert "\n" not in str(caught.value)


def test_defaults_are_the_published_ones():
    specimen = Specimen(dopants={"Ta": 0.024, "Ti": 0.01}, on_tin_site={"Ta": 0.10})
    assert specimen.content("Ta") == (0.024, 0.003)
    # A share given without uncertainty is not thereby known better.
    assert specimen.tin_site_share("Ta") == (0.10, 0.12)
    assert specimen.tin_site_share("Ti") == (0.0, 0.03)
    with pytest.raises(UnknownNameError, match="'V'"):
        Specimen(dopants={"V": 0.01}).tin_site_share("V")


def test_every_mount_is_accepted():
    for mount in ("", *MOUNTS):
        assert Specimen(mount=mount).mount == mount
