"""Laws that tie Tc, slope, resistivity and Bc2 together, against each other and against printed points."""

import math

import numpy as np
import pytest
from scipy.special import digamma

from xrdorder.estimates.from_numbers import estimate
from xrdorder.relations import relation


def test_the_slope_of_maki_de_gennes_at_tc_is_that_of_werthamer_helfand_hohenberg():
    """Bc2(0) = 0.693 Tc |dBc2/dT|: N. R. Werthamer et al., Phys. Rev. 147 (1966) 295."""
    # Near Tc, psi(1/2 + x) = psi(1/2) + (pi^2 / 2) x and ln t = t - 1: x = 2 (1 - t) / pi^2, and h = t x / x0 with
    # x0 = exp(psi(1/2)).
    constant = math.pi**2 / 2.0 * math.exp(float(digamma(0.5)))
    assert constant == pytest.approx(0.6927, abs=5e-5)
    law = relation("maki-de-gennes")
    tc, field_t, step = 18.0, 29.0, 1e-2
    slope = -float(law(tc - step, field_t, tc) - law(tc, field_t, tc)) / -step
    # h is curved: half a step times the second derivative is 2e-4 of the slope
    assert field_t / (tc * slope) == pytest.approx(constant, rel=1e-3)
    whh = relation("werthamer-helfand-hohenberg")
    assert float(whh(slope, tc)) == pytest.approx(field_t, rel=2e-3)  # 0.693 for 0.6927, and the step


@pytest.mark.parametrize(("rho", "tin"), [(9.0, 0.248), (35.0, 0.236), (70.0, 0.210)])
def test_resistivity_by_order_and_by_tin_meet_at_common_points(rho, tin):
    """Pairs of A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, section II; full order short of tin is S = 4 beta."""
    by_order = relation("flukiger-1987-resistivity")
    assert float(by_order(4.0 * tin)) == pytest.approx(rho, abs=5.5)  # 13 % of it at most, where none is printed
    # Order and tin of one resistivity give one Tc by the two routes: they are one cause.
    order = float(by_order.inverse(np.asarray(rho)))
    tc = [float(relation("order-resistivity-chain")(order)), float(relation("godeke-2006-boltzmann")(tin))]
    assert tc[0] == pytest.approx(tc[1], abs=0.25)


def test_estimated_slope_resistivity_and_field_of_a_usual_wire():
    """Slopes 1.9 to 2.6 T/K (Cooley 2006; Senatore 2013, cited in the library), Bc2(0) of wires 28 to 30 T."""
    found = estimate(tin_fraction=0.238, site_order=0.95, dopants={"Ta": 0.02}, n=1000).draws
    medians = {target: float(np.median(draws)) for target, draws in found.items()}
    assert 1.9 < medians["Bc2_slope_T_per_K"] < 2.6
    assert 20.0 < medians["resistivity_uohm_cm"] < 40.0
    assert 26.0 < medians["Bc2_0K_T"] < 30.0
    product = 0.693 * medians["Tc_K"] * medians["Bc2_slope_T_per_K"]
    assert product == pytest.approx(medians["Bc2_0K_T"], rel=0.01)  # medians of a product, for one draw by draw
