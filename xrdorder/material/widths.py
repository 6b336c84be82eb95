"""From line widths to domain size, microstrain, and the tin spread that broadening would mean.

Domain size comes from the Lorentz width that goes with 1/cos(theta). Its integral breadth is pi/2 times the
full width, and with the integral breadth the Scherrer constant is one: D = lambda / (breadth cos(theta)) is
the volume-weighted mean length of the domains along the scattering vector (spheres: 3/4 of the diameter).

Widths that go with tan(theta) are distributions of the lattice parameter, by strain, by composition or by
both; the pattern does not tell which. ``microstrain`` is the root mean square of the Gaussian with the same
full width, and ``tin_spread`` the standard deviation of the tin content if all of it were composition: an
upper bound. Full width of a Voigt line: 0.5346 L + sqrt(0.2166 L² + G²), J. J. Olivero and R. L.
Longbothum, J. Quant. Spectrosc. Radiat. Transfer 17 (1977) 233 (from memory; right to 0.02 %).

A width that is not resolved gives no value but a limit: inverse and square root have no honest standard
uncertainty near zero.
"""

from __future__ import annotations

import math

from xrdorder.material.account import Account
from xrdorder.material.tin import SLOPE_NM

SHAPE_FACTOR = "K = 1 with integral breadths: volume-weighted mean length along the scattering vector"

_RESOLVED = 2.0
# One-sided 95 % of a normal distribution.
_LIMIT = 1.645
# Full width in 2 theta (rad) per tan(theta) of a Gaussian distribution of d with relative standard
# deviation one: the angle moves by 2 tan(theta) per relative change, and the full width is 2 sqrt(2 ln 2)
# standard deviations.
_WIDTH_PER_STRAIN = 2.0 * 2.0 * math.sqrt(2.0 * math.log(2.0))


def add_domain_size(account: Account, wavelength_nm: float) -> None:
    """Add ``domain_size_nm`` from ``lorentz_sec`` (full width, degrees 2 theta at theta = 0)."""
    if not account.given("lorentz_sec"):
        account.absent("domain_size_nm")
        return
    width, u = account.values["lorentz_sec"], account.u("lorentz_sec")
    if width <= _RESOLVED * u or width <= 0.0:
        account.absent("domain_size_nm")
        widest = max(width, 0.0) + _LIMIT * u
        least = _size(widest, wavelength_nm) if widest > 0.0 else math.inf
        account.flag(
            "domain-size-not-resolved",
            f"size broadening of {width:.4f} ± {u:.4f}° is not resolved: domains of at least "
            f"{least:.0f} nm (95 %)",
        )
        return
    size = _size(width, wavelength_nm)
    account.add("domain_size_nm", size, {"lorentz_sec": -size / width})


def _size(width_deg: float, wavelength_nm: float) -> float:
    return wavelength_nm / (math.pi / 2.0 * math.radians(width_deg))


def add_microstrain(account: Account) -> None:
    """Add ``microstrain`` and ``tin_spread`` from ``lorentz_tan`` (degrees) and ``gauss_tan2`` (degrees²)."""
    names = [name for name in ("lorentz_tan", "gauss_tan2") if account.given(name)]
    if not names:
        account.absent("microstrain")
        account.absent("tin_spread")
        return
    value = {
        name: account.values.get(name, 0.0) if name in names else 0.0
        for name in ("lorentz_tan", "gauss_tan2")
    }
    u = {name: account.u(name) if name in names else 0.0 for name in value}
    if any(value[name] > max(_RESOLVED * u[name], 0.0) for name in names):
        strain, derivatives = _strain(value["lorentz_tan"], value["gauss_tan2"])
        account.add("microstrain", strain, {name: derivatives[name] for name in names})
    else:
        account.absent("microstrain")
        widest = {name: max(value[name], 0.0) + _LIMIT * u[name] for name in value}
        strain = _strain(widest["lorentz_tan"], widest["gauss_tan2"])[0]
        account.flag(
            "microstrain-not-resolved",
            f"broadening with tan(theta) is not resolved: microstrain below {strain:.1e} (95 %)",
        )
    # An upper bound either way: the value or, not resolved, its limit. It has no uncertainty of its own.
    account.values["tin_spread"] = strain * account.values.get("a_nm", math.nan) / SLOPE_NM


def _strain(lorentz_tan: float, gauss_tan2: float) -> tuple[float, dict[str, float]]:
    """Root mean square strain of a full width and its derivatives; negative widths count as none."""
    lorentz, gauss2 = max(lorentz_tan, 0.0), max(gauss_tan2, 0.0)
    root = math.sqrt(0.2166 * lorentz**2 + gauss2)
    factor = math.radians(1.0) / _WIDTH_PER_STRAIN
    if root == 0.0:
        return 0.0, {"lorentz_tan": math.nan, "gauss_tan2": math.nan}
    return factor * (0.5346 * lorentz + root), {
        "lorentz_tan": factor * (0.5346 + 0.2166 * lorentz / root),
        "gauss_tan2": factor / (2.0 * root),
    }
