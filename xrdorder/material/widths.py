"""From line widths to domain size and microstrain.

Domain size comes from the widths that go with 1/cos(theta). Their integral breadth (area over height,
``size_breadth_deg``) is pi/2 times ``lorentz_sec``, the full width of the Lorentz line that has it, and with the
integral breadth the Scherrer constant K is one: D_V = lambda / (breadth cos(theta)) is the volume-weighted mean length
of the domains along the scattering vector, whatever their shape (A. R. Stokes, A. J. C. Wilson, Proc. Camb. Phil. Soc.
38 (1942) 313; from memory). That is the kind of mean of every domain size here. A diameter needs a shape: spheres of
one size have the diameter 4/3 D_V; the mean diameter by number of a distribution is smaller than that by volume.

A broad distribution of sizes makes Lorentzian lines; domains of much the same size make rounder ones, and the fit then
adds a Gauss part with 1/cos²(theta). What is left is a doubt of the fit about the distribution of sizes.

Beyond some size the lines are no broader than the instrument's own uncertainty: ``largest_resolvable_size_nm`` is
the size at which the broadening is two standard uncertainties. A larger domain is 'at least'
``domain_size_at_least_nm`` (95 %), without a value: an inverse has no honest standard uncertainty near zero.

Widths that go with tan(theta) are distributions of the lattice parameter, by strain, by composition or by both; see
`xrdorder.material.distribution`. ``microstrain`` is the root mean square of the Gaussian with the same full width;
``strain_breadth_deg`` the integral breadth at tan(theta) = 1. Full width of a Voigt line: 0.5346 L + sqrt(0.2166 L² +
G²), J. J. Olivero and R. L. Longbothum, J. Quant. Spectrosc. Radiat. Transfer 17 (1977) 233 (from memory; right to
0.02 %).

A width whose uncertainty is beyond all that a wire can show, or that rests at a bound of the fit and has none, says
nothing: the quantity is then not determined, and no limit is made of it.
"""

from __future__ import annotations

import math

from xrdorder.material.derived_quantities import Account
from xrdorder.profiles.width_terms import LORENTZ_BREADTH_PER_FWHM, voigt_breadth

SHAPE_FACTOR = "K = 1 with integral breadths: volume-weighted mean length along the scattering vector, no shape assumed"

RESOLVED = 2.0
"""Standard uncertainties from which a width counts as resolved."""

LEAST_SIZE_NM = 5.0
"""A lower limit of the domain size below it says nothing: A15 in wires has grains of 20 nm and more, and lines of 5 nm
domains are two degrees wide (judged)."""

LARGEST_STRAIN = 0.01
"""An upper limit of the microstrain beyond it says nothing: cold-worked metals show some thousandths, the whole
homogeneity field of the A15 makes 0.002 of its lattice parameter (judged)."""

# One-sided 95 % of a normal distribution.
_LIMIT = 1.645
# Full width in 2 theta (rad) per tan(theta) of a Gaussian distribution of d with relative standard
# deviation one: the angle moves by 2 tan(theta) per relative change, and the full width is 2 sqrt(2 ln 2)
# standard deviations.
_WIDTH_PER_STRAIN = 2.0 * 2.0 * math.sqrt(2.0 * math.log(2.0))
_TAN_WIDTHS = ("lorentz_tan", "gauss_tan2")


def add_domain_size(account: Account, wavelength_nm: float, of: str = "") -> None:
    """Add ``domain_size_nm`` and what goes with it from ``lorentz_sec`` (full width, degrees 2 theta at theta = 0).

    Parameters
    ----------
    account : Account
    wavelength_nm : float
    of : str, optional
        Population, "lean" or "rich": all names then end on it.
    """
    end = f"_{of}" if of else ""
    source, quantity = f"lorentz_sec{end}", f"domain_size_nm{end}"
    if not account.given(source):
        account.absent(quantity)
        return
    width, u = account.values[source], account.u(source)
    whose = f" of the A15 {of} in tin" if of else ""
    widest = max(width, 0.0) + _LIMIT * u
    if width <= RESOLVED * u and (widest <= 0.0 or _size(widest, wavelength_nm) < LEAST_SIZE_NM):
        why = f"is {width:.2f} ± {u:.2f}°" if u > 0.0 else "rests at the least that the fit allows"
        for name in (quantity, f"size_breadth_deg{end}"):
            account.absent(name)
        account.flag(
            "domain-size-not-determined",
            f"the domain size{whose} is not determined: the size broadening {why}",
        )
        return
    if u > 0.0:
        account.values[f"largest_resolvable_size_nm{end}"] = _size(RESOLVED * u, wavelength_nm)
    account.add(f"size_breadth_deg{end}", LORENTZ_BREADTH_PER_FWHM * width, {source: LORENTZ_BREADTH_PER_FWHM})
    if width > RESOLVED * u:
        size = _size(width, wavelength_nm)
        account.add(quantity, size, {source: -size / width})
        return
    account.absent(quantity)
    least = _size(widest, wavelength_nm)
    account.values[f"domain_size_at_least_nm{end}"] = least
    account.flag(
        "domain-size-not-resolved",
        f"size broadening{whose} of {width:.4f} ± {u:.4f}° is not resolved: domains of at least "
        f"{least:.0f} nm (95 %); this pattern tells sizes up to {_size(RESOLVED * u, wavelength_nm):.0f} nm",
    )


def _size(width_deg: float, wavelength_nm: float) -> float:
    return wavelength_nm / (LORENTZ_BREADTH_PER_FWHM * math.radians(width_deg))


def add_microstrain(account: Account) -> float:
    """Add ``microstrain`` from ``lorentz_tan`` (degrees) and ``gauss_tan2`` (degrees²).

    Returns
    -------
    float
        Root mean square of the relative spread of spacings: the microstrain or, where it is not resolved, its limit
        (95 %); NaN without widths and where they do not determine it.
    """
    names = [name for name in _TAN_WIDTHS if account.given(name)]
    if not names:
        account.absent("microstrain")
        return math.nan
    value = {name: account.values[name] if name in names else 0.0 for name in _TAN_WIDTHS}
    u = {name: account.u(name) if name in names else 0.0 for name in _TAN_WIDTHS}
    if any(value[name] > max(RESOLVED * u[name], 0.0) for name in names):
        strain, derivatives = rms_strain(value["lorentz_tan"], value["gauss_tan2"])
        account.add("microstrain", strain, {name: derivatives[name] for name in names})
        account.values["strain_breadth_deg"] = voigt_breadth(value["lorentz_tan"], value["gauss_tan2"])
        return strain
    account.absent("microstrain")
    widest = {name: max(value[name], 0.0) + _LIMIT * u[name] for name in value}
    strain = rms_strain(widest["lorentz_tan"], widest["gauss_tan2"])[0]
    if not 0.0 < strain <= LARGEST_STRAIN:
        why = f"allows as much as {strain:.1g}" if strain > 0.0 else "rests at the least that the fit allows"
        text = f"the microstrain is not determined: broadening with tan(theta) {why}"
        account.flag("microstrain-not-determined", text)
        return math.nan
    account.flag(
        "microstrain-not-resolved",
        f"broadening with tan(theta) is not resolved: microstrain below {strain:.1e} (95 %)",
    )
    return strain


def rms_strain(lorentz_tan: float, gauss_tan2: float) -> tuple[float, dict[str, float]]:
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
