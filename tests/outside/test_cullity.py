"""Lorentz-polarisation factor and the copper intensities worked out in a handbook.

B. D. Cullity, Elements of X-Ray Diffraction, 2nd ed. (1978), chapter 4 and appendix; figures from memory,
their products re-multiplied and found to agree.
"""

import numpy as np
import pytest

from xrdorder.crystals import inverse_d_squared, phase, reflections, structure_factor_squared
from xrdorder.xrays import GEMMI_TABLE, lorentz_polarisation

#: |F|², multiplicity, Lorentz-polarisation factor, intensity / 1e5 of copper powder with Cu Kα.
COPPER = {
    "111": (7810, 8, 12.03, 7.52),
    "200": (6990, 6, 8.50, 3.56),
    "220": (4520, 12, 3.70, 2.01),
    "311": (3500, 24, 2.83, 2.38),
    "222": (3230, 8, 2.74, 0.71),
    "400": (2500, 6, 3.18, 0.48),
    "331": (2120, 24, 4.81, 2.45),
    "420": (1970, 24, 6.15, 2.91),
}


class FormFactorsOnly:
    """The handbook's example leaves dispersion and thermal motion out."""

    name = "f0 only"

    def f0(self, element: str, s_per_nm: np.ndarray) -> np.ndarray:
        return GEMMI_TABLE.f0(element, s_per_nm)

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        return 0.0, 0.0


@pytest.mark.parametrize(("theta", "factor"), [(20.0, 14.44), (45.0, 2.828)])
def test_lorentz_polarisation_of_the_appendix(theta: float, factor: float) -> None:
    # At 45 degrees the formula is 2 sqrt(2) exactly; printed digits otherwise.
    assert lorentz_polarisation(2 * theta) == pytest.approx(factor, rel=5e-4)


def test_copper_powder() -> None:
    p = phase("cu")
    wavelength, length = 0.1542, 0.3615
    found = reflections(p.space_group, p.system, [length], p.angles_deg, 0.08)
    s = 0.5 * np.sqrt(inverse_d_squared(p.system, found.hkl, [length])[0])
    f_squared = structure_factor_squared(p, found.hkl, s, 8047.8, FormFactorsOnly(), b_iso_nm2=[0.0])
    factor = lorentz_polarisation(2 * np.degrees(np.arcsin(wavelength * s)))
    names = ["".join(map(str, h)) for h in found.hkl]
    assert names == list(COPPER)
    for row, name in enumerate(names):
        strength, multiplicity, lp, intensity = COPPER[name]
        # The handbook's form factors have three digits and are older: 1 % in f, 2 % in |F|².
        assert f_squared[row] == pytest.approx(strength, rel=0.02), name
        assert found.multiplicity[row] == multiplicity, name
        # Looked up in a table at angles rounded to 0.1 degree.
        assert factor[row] == pytest.approx(lp, rel=0.006), name
        # Both together, and two printed digits for the weakest.
        assert f_squared[row] * multiplicity * factor[row] / 1e5 == pytest.approx(intensity, rel=0.025), name
