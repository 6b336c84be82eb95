"""How the tin content is spread over the A15 of a sample, as far as line shapes tell.

Three cases. Two populations (powder-in-tube wire: fine and coarse grains) have lattice parameters of their own. A
graded layer leans the lines: its tail toward small lattice parameters has a decay length, which is also its standard
deviation, and over the slope of a(tin) that of the tin content. Symmetric lines that broaden with tan(theta) may be
microstrain, a spread of tin, or both, and the pattern does not tell: ``tin_spread`` is then the standard deviation of
the tin content if all of it were composition, an upper bound without an uncertainty of its own.
"""

from __future__ import annotations

import math

from xrdorder.material.material import Material
from xrdorder.material.specimen import Specimen
from xrdorder.material.tin import A15_FIELD, add_tin_of
from xrdorder.material.tin_scale import PUBLISHED_SCALE, SLOPE, TinScale
from xrdorder.material.widths import add_domain_size
from xrdorder.quantities.formatting import rounded

SPREAD_THAT_MATTERS = 0.005
"""Tin spread from which an undecided cause is flagged: 0.5 at.% is 1 K in Tc where Tc rises fastest with tin
(A. Godeke, Supercond. Sci. Technol. 19 (2006) R68: 6 to 18 K between 18 and 25 at.%), and what the published
gradients of 0.1-0.5 at.%/µm make over a few micrometres (X. Xu, Supercond. Sci. Technol. 30 (2017) 093001)."""


_FIELD = A15_FIELD[1] - A15_FIELD[0]
# Half at either end of the field of the A15: no distribution in it has a larger standard deviation.
_LARGEST_SPREAD = 0.5 * _FIELD
_LARGEST_U_SHARE = 0.5  # beyond it a share of two populations may be all or nothing; own choice


def add_tin_spread(
    derived: Material,
    specimen: Specimen,
    wavelength_nm: float,
    strain: float,
    scale: TinScale = PUBLISHED_SCALE,
) -> None:
    """Add ``tin_spread``, and for two populations the tin content and domain size of each.

    Parameters
    ----------
    derived : Material
        Lattice parameters at the reference temperature.
    specimen : Specimen
    wavelength_nm : float
    strain : float
        Relative spread of spacings that the symmetric broadening with tan(theta) means, or its limit.
    scale : TinScale, optional
        Its slope turns a spread of lattice parameters into one of tin.
    """
    bound = strain * derived.values.get("a_nm", math.nan) / scale.slope_nm
    if derived.given("a_nm_lean") and derived.given("a_nm_rich"):
        _add_populations(derived, specimen, wavelength_nm, scale)
    elif derived.given("lattice_tail_nm") and derived.values["lattice_tail_nm"] != 0.0:
        _add_graded_layer(derived, bound, scale)
    else:
        beyond = not derived.given("microstrain") and bound > _LARGEST_SPREAD
        if beyond or math.isnan(bound):
            derived.values["tin_spread"] = math.nan
            derived.tell("tin_spread", math.nan, formula="", source="", remark="no limit below any distribution of tin")
        else:
            resolved = derived.given("microstrain")
            derived.add_bare(
                "tin_spread",
                bound,
                formula=f"{'microstrain' if resolved else 'limit_of_microstrain'} * a_nm / {scale.slope_nm}",
                numbers={} if resolved else {"limit_of_microstrain": strain},
                source=scale.citation,
                remark="upper bound, all of the broadening composition",
            )
        if derived.given("microstrain") and bound > SPREAD_THAT_MATTERS:
            derived.flag(
                "strain-or-gradient",
                f"lines broaden symmetrically with tan(theta): microstrain of {strain:.1e}, or tin spread by "
                f"{100 * bound:.1f} at.% (standard deviation), or less of both; the pattern does not tell which",
            )


def _add_graded_layer(derived: Material, bound: float, scale: TinScale) -> None:
    tail = derived.values["lattice_tail_nm"]
    if derived.u("lattice_tail_nm") > scale.slope_nm * _FIELD:
        reason = "the tail of the lattice parameter is not determined"
        for quantity in ("lattice_tail_nm", "tin_spread"):
            derived.absent(quantity, reason)
        derived.flag(
            "graded-layer-not-determined",
            "a tail of the lattice parameter is in the fit, but its length is not determined, nor how tin is spread",
        )
        return
    spread = abs(tail) / scale.slope_nm
    # A steeper line makes less of the same tail; its error is that of everybody on the scale, as in the tin content.
    derived.add(
        "tin_spread",
        spread,
        {"lattice_tail_nm": math.copysign(1.0 / scale.slope_nm, tail)},
        {SLOPE: (-spread * scale.u_slope_nm / scale.slope_nm, scale.name)},
        formula=f"abs(lattice_tail_nm) / {scale.slope_nm}",
        source=scale.citation,
        remark="standard deviation of an exponential tail",
    )
    toward = "small" if tail > 0.0 else "large"
    rest = f"; what else broadens them is at most {100 * bound:.1f} at.% more" if bound > 0.0 else ""
    derived.flag(
        "graded-layer",
        f"lines lean: the lattice parameter tails off toward {toward} values over {1e3 * abs(tail):.3f} ± "
        f"{1e3 * derived.u('lattice_tail_nm'):.3f} pm, a tin content spread by {100 * spread:.1f} ± "
        f"{100 * derived.u('tin_spread'):.1f} at.% (standard deviation) about its mean{rest}",
    )


def _add_populations(derived: Material, specimen: Specimen, wavelength_nm: float, scale: TinScale) -> None:
    words = []
    for of in ("lean", "rich"):
        tin = add_tin_of(derived, specimen, f"a_nm_{of}", f"tin_fraction_lattice_{of}", of, scale)
        add_domain_size(derived, wavelength_nm, of)
        words.append(f"{rounded(100 * tin, 100 * derived.u(f'tin_fraction_lattice_{of}'))}")
    difference = derived.values["tin_fraction_lattice_rich"] - derived.values["tin_fraction_lattice_lean"]
    shares = ""
    share = derived.values.get("rich_share", math.nan)
    if 0.0 < share < 1.0:
        root = math.sqrt(share * (1.0 - share))
        derived.add(
            "tin_spread",
            root * abs(difference),
            {
                "tin_fraction_lattice_rich": math.copysign(root, difference),
                "tin_fraction_lattice_lean": -math.copysign(root, difference),
                "rich_share": abs(difference) * (1.0 - 2.0 * share) / (2.0 * root),
            },
            formula="sqrt(rich_share * (1 - rich_share)) * abs(tin_fraction_lattice_rich - tin_fraction_lattice_lean)",
            source="definition",
            remark="standard deviation of two populations",
        )
        u = derived.u("rich_share")
        shares = f", {rounded(100 * share, 100 * u, '%')} of the mass in the richer"
        if u > _LARGEST_U_SHARE:
            shares = " in shares that are not determined"
    else:
        derived.absent("tin_spread", "the shares of the two populations are not told")
    derived.flag(
        "two-populations",
        f"the lines are those of two A15 of {words[0]} and {words[1]} at.% tin{shares}; "
        "the tin by lattice is their mean, and no single order or Tc describes both",
    )
