"""What was held at one tin content follows the tin content that was found."""

import numpy as np
import pytest

from xrdorder.material import PUBLISHED_SCALE, Specimen, characterise
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

A_NM = PUBLISHED_SCALE.lattice(0.22)
VALUES = {"a_nm": A_NM, "weight_fraction_nb3sn": 0.8, "weight_fraction_nb": 0.2, "lorentz_sec": 0.05}
SLOPES = {"weight_fraction_nb3sn": -0.03, "weight_fraction_nb": 0.03, "lorentz_sec": 0.7}
SPECIMEN = Specimen(mount="ground-powder", temperature_c=22.5)


def found(**more):
    names = ("a_nm", "weight_fraction_nb3sn", "weight_fraction_nb")
    values = np.array([[1e-6, 0.0], [0.0, -0.001], [0.0, 0.001]])
    table = Contributions(names, ("counting/0", "counting/1"), values, ("", ""))
    return characterise(VALUES, table, SPECIMEN, radiation=radiation("cu-ka"), **more)


def test_weights_follow_and_still_add_up():
    material = found(tin_held=0.24, by_tin=SLOPES)
    change = -0.03 * (material.values["tin_fraction_lattice"] - 0.24)
    assert change > 5e-4  # two at.% of tin less than was held
    assert material.values["weight_fraction_nb3sn"] == pytest.approx(0.8 + change, abs=1e-12)
    assert material.values["a15_fraction"] == material.values["weight_fraction_nb3sn"]
    assert material.values["weight_fraction_nb3sn"] + material.values["weight_fraction_nb"] == pytest.approx(1.0)


def test_the_doubt_about_tin_becomes_one_about_weights():
    plain, referred = found(), found(tin_held=0.24, by_tin=SLOPES)
    added = referred.u("weight_fraction_nb") ** 2 - plain.u("weight_fraction_nb") ** 2
    # lattice and amounts share nothing
    assert added == pytest.approx((0.03 * plain.u("tin_fraction_lattice")) ** 2, rel=1e-9)


def test_widths_stay_as_they_were_measured():
    assert found(tin_held=0.24, by_tin=SLOPES).values["lorentz_sec"] == VALUES["lorentz_sec"]
