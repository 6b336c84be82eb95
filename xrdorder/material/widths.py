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
from collections.abc import Mapping
from typing import TypedDict

from xrdorder.material.material import Material
from xrdorder.profiles.width_terms import LORENTZ_BREADTH_PER_FWHM, voigt_breadth
from xrdorder.quantities.formatting import rounded
from xrdorder.uncertainty import ONE_SIDED_95

RESOLVED = 2.0
"""Standard uncertainties from which a width counts as resolved."""

LEAST_SIZE_NM = 5.0
"""A lower limit of the domain size below it says nothing: A15 in wires has grains of 20 nm and more, and lines of 5 nm
domains are two degrees wide (judged)."""

LARGEST_STRAIN = 0.01
"""An upper limit of the microstrain beyond it says nothing: cold-worked metals show some thousandths, the whole
homogeneity field of the A15 makes 0.002 of its lattice parameter (judged)."""

# Full width in 2 theta (rad) per tan(theta) of a Gaussian distribution of d with relative standard
# deviation one: the angle moves by 2 tan(theta) per relative change, and the full width is 2 sqrt(2 ln 2)
# standard deviations.
_WIDTH_PER_STRAIN = 2.0 * 2.0 * math.sqrt(2.0 * math.log(2.0))
_TAN_WIDTHS = ("lorentz_tan", "gauss_tan2")
_LORENTZ_PART, _LORENTZ_SQUARED = 0.5346, 0.2166


def add_domain_size(derived: Material, wavelength_nm: float, of: str = "") -> None:
    """Add ``domain_size_nm`` and what goes with it from ``lorentz_sec`` (full width, degrees 2 theta at theta = 0).

    Parameters
    ----------
    derived : Material
    wavelength_nm : float
    of : str, optional
        Population, "lean" or "rich": all names then end on it.
    """
    end = f"_{of}" if of else ""
    source, quantity = f"lorentz_sec{end}", f"domain_size_nm{end}"
    if not derived.given(source):
        derived.absent(quantity, "the fit found no width that goes with 1/cos(theta)")
        return
    width, u = derived.values[source], derived.u(source)
    whose = f" of the A15 {of} in tin" if of else ""
    widest = max(width, 0.0) + ONE_SIDED_95 * u
    if width <= RESOLVED * u and (widest <= 0.0 or _size(widest, wavelength_nm) < LEAST_SIZE_NM):
        why = f"is {rounded(width, u)}°" if u > 0.0 else "rests at the least that the fit allows"
        for name in (quantity, f"size_breadth_deg{end}"):
            derived.absent(name, f"not determined: the size broadening {why}")
        derived.flag(
            "domain-size-not-determined",
            f"the domain size{whose} is not determined: the size broadening {why}",
        )
        return
    if u > 0.0:
        derived.add_bare(
            f"largest_resolvable_size_nm{end}",
            _size(RESOLVED * u, wavelength_nm),
            **_how_a_size(f"{RESOLVED} * u_{source}", wavelength_nm, {f"u_{source}": u}),
            remark="domain size whose breadth is two standard uncertainties of it",
        )
    derived.add(
        f"size_breadth_deg{end}",
        LORENTZ_BREADTH_PER_FWHM * width,
        {source: LORENTZ_BREADTH_PER_FWHM},
        formula=f"pi / 2 * {source}",
        source="area over height of a Lorentz line",
    )
    if width > RESOLVED * u:
        size = _size(width, wavelength_nm)
        derived.add(
            quantity,
            size,
            {source: -size / width},
            **_how_a_size(source, wavelength_nm, {}),
            remark="volume-weighted length along the scattering vector, K = 1 with integral breadths; spheres of one "
            f"size have 4/3 of it as diameter{_size_interval(size, u / width)}",
        )
        return
    derived.absent(quantity, "the size broadening is not resolved")
    least = _size(widest, wavelength_nm)
    derived.add_bare(
        f"domain_size_at_least_nm{end}",
        least,
        **_how_a_size(f"(max({source}, 0) + {ONE_SIDED_95} * u_{source})", wavelength_nm, {f"u_{source}": u}),
        remark="domain size whose breadth is as large as its uncertainty allows (95 %)",
    )
    derived.flag(
        "domain-size-not-resolved",
        f"size broadening{whose} of {rounded(width, u)}° is not resolved: domains of at least "
        f"{least:.0f} nm (95 %); this pattern tells sizes up to {_size(RESOLVED * u, wavelength_nm):.0f} nm",
    )


def _size_interval(size: float, relative_u: float) -> str:
    """95 % interval of a domain size, taken of the breadth it is one over; empty where there is none.

    >>> _size_interval(100.0, 0.2)
    '; 95 %, by the breadth: 71.8 to 164 nm'
    """
    share = 1.96 * relative_u
    if not 0.0 < share < 1.0:
        return ""
    return f"; 95 %, by the breadth: {size / (1.0 + share):.3g} to {size / (1.0 - share):.3g} nm"


class _HowASize(TypedDict):
    formula: str
    numbers: Mapping[str, float]
    source: str


def _how_a_size(width: str, wavelength_nm: float, numbers: Mapping[str, float]) -> _HowASize:
    """How `_size` makes a domain size of a width."""
    return {
        "formula": f"wavelength_nm / (pi / 2 * radians({width}))",
        "numbers": {"wavelength_nm": wavelength_nm, **numbers},
        "source": "A. R. Stokes, A. J. C. Wilson, Proc. Camb. Phil. Soc. 38 (1942) 313, from memory",
    }


def _size(width_deg: float, wavelength_nm: float) -> float:
    return wavelength_nm / (LORENTZ_BREADTH_PER_FWHM * math.radians(width_deg))


def add_microstrain(derived: Material) -> float:
    """Add ``microstrain`` from ``lorentz_tan`` (degrees) and ``gauss_tan2`` (degrees²).

    Returns
    -------
    float
        Root mean square of the relative spread of spacings: the microstrain or, where it is not resolved, its limit
        (95 %); NaN without widths and where they do not determine it.
    """
    names = [name for name in _TAN_WIDTHS if derived.given(name)]
    if not names:
        derived.absent("microstrain", "the fit found no width that goes with tan(theta)")
        return math.nan
    value = {name: derived.values[name] if name in names else 0.0 for name in _TAN_WIDTHS}
    u = {name: derived.u(name) if name in names else 0.0 for name in _TAN_WIDTHS}
    if any(value[name] > max(RESOLVED * u[name], 0.0) for name in names):
        strain, derivatives = rms_strain(value["lorentz_tan"], value["gauss_tan2"])
        lorentz, gauss = (name if name in names else "0" for name in _TAN_WIDTHS)
        derived.add(
            "microstrain",
            strain,
            {name: derivatives[name] for name in names},
            formula=f"radians({_LORENTZ_PART} * max({lorentz}, 0) + sqrt({_LORENTZ_SQUARED} * max({lorentz}, 0) ** 2 "
            f"+ max({gauss}, 0))) / (4 * sqrt(2 * log(2)))",
            source="J. J. Olivero, R. L. Longbothum, J. Quant. Spectrosc. Radiat. Transfer 17 (1977) 233, from memory",
            remark="root mean square of a Gaussian distribution as wide as the Voigt line",
        )
        derived.add_bare(
            "strain_breadth_deg",
            voigt_breadth(value["lorentz_tan"], value["gauss_tan2"]),
            formula=f"voigt_breadth({lorentz}, {gauss})",
            source="Th. H. de Keijser et al., J. Appl. Cryst. 16 (1983) 309, from memory",
            remark="integral breadth of the Voigt line at tan(theta) = 1",
        )
        return strain
    derived.absent("microstrain", "broadening with tan(theta) is not resolved")
    widest = {name: max(value[name], 0.0) + ONE_SIDED_95 * u[name] for name in value}
    strain = rms_strain(widest["lorentz_tan"], widest["gauss_tan2"])[0]
    if not 0.0 < strain <= LARGEST_STRAIN:
        why = f"allows as much as {strain:.1g}" if strain > 0.0 else "rests at the least that the fit allows"
        text = f"the microstrain is not determined: broadening with tan(theta) {why}"
        derived.flag("microstrain-not-determined", text)
        return math.nan
    derived.flag(
        "microstrain-not-resolved",
        f"broadening with tan(theta) is not resolved: microstrain below {strain:.1e} (95 %)",
    )
    return strain


def rms_strain(lorentz_tan: float, gauss_tan2: float) -> tuple[float, dict[str, float]]:
    """Root mean square strain of a full width and its derivatives; negative widths count as none."""
    lorentz, gauss2 = max(lorentz_tan, 0.0), max(gauss_tan2, 0.0)
    root = math.sqrt(_LORENTZ_SQUARED * lorentz**2 + gauss2)
    factor = math.radians(1.0) / _WIDTH_PER_STRAIN
    if root == 0.0:
        return 0.0, {"lorentz_tan": math.nan, "gauss_tan2": math.nan}
    return factor * (_LORENTZ_PART * lorentz + root), {
        "lorentz_tan": factor * (_LORENTZ_PART + _LORENTZ_SQUARED * lorentz / root),
        "gauss_tan2": factor / (2.0 * root),
    }
