"""What a fit found while it held the A15 at one tin content, brought to the tin content found from the lattice.

The strong lines tell the scale by the mean scattering of the A15, which follows its tin content: with Cu K-alpha two
tenths of the change in tin fraction pass into the order contrast. The weight fractions follow by the same scale and by
the mass of the atoms, which partly cancel: two at.% of tin are half a per cent of the weight of everything else. Slopes
come from the fit; one step suffices.
"""

from __future__ import annotations

from collections.abc import Mapping

from xrdorder.material.derived_quantities import Account
from xrdorder.quantities.of_phase import WEIGHT_FRACTION

CONTRAST = "order_contrast"


def refer_to_tin(account: Account, tin_held: float, by_tin: Mapping[str, float]) -> None:
    """Refer the contrast and the weight fractions to ``tin_fraction``.

    Parameters
    ----------
    account : Account
        With ``tin_fraction``; without it everything stays as it was held.
    tin_held : float
        Tin fraction that the fit held.
    by_tin : mapping of str to float
        Change of quantities for each unit of tin fraction; those of other quantities are passed over.
    """
    if not account.given("tin_fraction"):
        return
    change = account.values["tin_fraction"] - tin_held
    for name, slope in by_tin.items():
        if slope and account.given(name) and (name == CONTRAST or WEIGHT_FRACTION.phase(name)):
            value = account.values[name] + slope * change
            account.add(name, value, {name: 1.0, "tin_fraction": slope})
