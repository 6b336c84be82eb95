"""What a fit found while it held the A15 at one tin content, brought to the tin content found from the lattice.

The strong lines tell the scale by the mean scattering of the A15, which follows its tin content: with Cu K-alpha two
tenths of the change in tin fraction pass into the order contrast. The weight fractions follow by the same scale and by
the mass of the atoms, which partly cancel: two at.% of tin are half a per cent of the weight of everything else. Slopes
come from the fit; one step suffices.
"""

from __future__ import annotations

from collections.abc import Mapping

from xrdorder.material.material import Material
from xrdorder.quantities.of_phase import WEIGHT_FRACTION
from xrdorder.quantities.records import as_fitted, symbol_of

CONTRAST = "order_contrast"


def refer_to_tin(derived: Material, tin_held: float, by_tin: Mapping[str, float]) -> None:
    """Refer the contrast and the weight fractions to ``tin_fraction_lattice``.

    Parameters
    ----------
    derived : Material
        With ``tin_fraction_lattice``; without it everything stays as it was held.
    tin_held : float
        Tin fraction that the fit held.
    by_tin : mapping of str to float
        Change of quantities for each unit of tin fraction; those of other quantities are passed over.
    """
    if not derived.given("tin_fraction_lattice"):
        return
    change = derived.values["tin_fraction_lattice"] - tin_held
    for name, slope in by_tin.items():
        if slope and derived.given(name) and (name == CONTRAST or WEIGHT_FRACTION.phase(name)):
            by_tin_name = f"{symbol_of(name)}_by_tin"
            derived.add(
                name,
                derived.values[name] + slope * change,
                {name: 1.0, "tin_fraction_lattice": slope},
                formula=f"{symbol_of(as_fitted(name))} + {by_tin_name} * (tin_fraction_lattice - tin_held)",
                numbers={by_tin_name: slope, "tin_held": tin_held},
                source="first order in the tin content that the fit held, with the slope of this fit",
            )
