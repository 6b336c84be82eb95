"""How long the order takes with another radiation, at equal counts over the same spacings."""

import math
from dataclasses import replace

import pytest

from tests.simulation.made import COARSE, instrument_of
from xrdorder.scan_planning.order_by_radiation import carried_over, time_for_order
from xrdorder.scan_planning.radiation_choice import best_below_niobium, tube


def test_spacings_and_points_are_those_of_the_scan():
    scan = replace(COARSE, to_deg=80.0)
    there = carried_over(scan, "cu-ka", "cr-ka")
    for here, moved in ((COARSE.from_deg, there.from_deg), (80.0, there.to_deg)):
        sine = [math.sin(math.radians(angle / 2.0)) for angle in (here, moved)]
        # Bragg's law: sin(theta) over the wavelength, 0.15406 and 0.22897 nm
        assert sine[1] / sine[0] == pytest.approx(0.2289726 / 0.1540593, rel=1e-4)
    assert abs(len(there.two_theta()) - len(scan.two_theta())) <= 1


def test_angles_end_where_a_goniometer_does():
    assert carried_over(replace(COARSE, to_deg=140.0), "cu-ka", "cr-ka").to_deg == pytest.approx(170.0)


@pytest.mark.slow
def test_order_takes_less_where_its_lines_are_stronger():
    """Order lines with 2.8 times the share of the strong ones (16.3 against 5.8 %) have so much more signal. Where
    noise is that of the background, time goes with its square, 1/7.8; where it is that of the lines, with 1/2.8."""
    own, less, below = time_for_order(COARSE, instrument_of(), [tube("cu-ka"), tube("cr-ka"), best_below_niobium()])
    assert own == pytest.approx(1.0)
    assert 1.0 / 7.8 < below < 1.0 / 2.0
    assert less > 1.0
