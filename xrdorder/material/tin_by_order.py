"""Tin by the site order, and whether lattice and order tell of one tin content.

The site order of tin alone is x = 4 beta S_a; with what S_a usually is (`usual_order`) it gives a tin content that is
free of the a(tin) line, ``tin_fraction_order``. The order was referred to the tin of the lattice by c
(``contrast_by_tin``), which is taken back here, so that both routes are independent but for what truly is common:
x - c tin_fraction_lattice = 4 beta S_a - c beta.

Where the two differ by more than all uncertainties allow, disorder that widens the lattice among them, this is evidence
about the line: flag `tin-scale`. One estimate from both is that of `xrdorder.estimates`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from xrdorder.material.material import Material
from xrdorder.material.order import TIN_ORDER
from xrdorder.material.specimen import Specimen
from xrdorder.material.tin_scale import PUBLISHED_SCALE, TinScale
from xrdorder.quantities.formatting import rounded
from xrdorder.relations.tin_from_order import U_USUAL_S_A, USUAL_S_A

LATTICE = "tin_fraction_lattice"
ORDER = "tin_fraction_order"
BY_TIN = "order_contrast_by_tin"

DISORDER_NM = 0.005
U_DISORDER_NM = 0.004
"""Change of the lattice parameter when S_a falls by one, nm, and its standard uncertainty. That disorder by irradiation
widens the lattice was read (T. Spina, thesis, Univ. Geneva); how much was not: 0.2-0.5 % at heavy irradiation, where a
fifth to two fifths of the order are lost, from memory and unsure, which is 0.003 to 0.013 nm. The lower part of that is
taken, with a doubt that reaches down to nearly nothing."""

ORDER_OF_LINE = USUAL_S_A
"""S_a of the samples that the a(tin) lines were fitted to: annealed bulk, as in the usual order."""

# Standard uncertainties of their difference: by chance in one of twenty samples.
_CONTRADICTION = 2.0


class Prior(NamedTuple):
    """What S_a is before anything was measured, its standard uncertainty, of whom, and how that is known."""

    s_a: float
    u: float
    of: str
    words: str


def usual_order(specimen: Specimen) -> Prior:
    """What S_a is in specimens of this kind.

    Undoped bulk before irradiation has 0.98 ± 0.02 (one specimen measured about twelve times, T. Spina, thesis, Univ.
    Geneva). Doped wires have weighted order parameters of 0.911 to 0.965 (five wires, S. M. Heald et al., Sci. Rep. 8
    (2018) 4798, table V); as these are defined a little differently, the middle between the two with twice the doubt
    stands for doped wires and for those whose dopants are not declared: what these may do to the contrast is part of
    the uncertainty of the order.
    """
    if specimen.undoped:
        return Prior(USUAL_S_A, U_USUAL_S_A, "undoped", "undoped bulk")
    if specimen.dopants:
        return Prior(0.95, 0.04, "doped", "undoped bulk and doped wires")
    return Prior(0.95, 0.04, "undeclared", "undoped bulk and doped wires, dopants not declared")


def add_tin_by_order(
    derived: Material,
    specimen: Specimen,
    scale: TinScale = PUBLISHED_SCALE,
    contrast_by_tin: float = 0.0,
    tin_held: float = math.nan,
) -> None:
    """Add ``tin_fraction_order``; flag routes that contradict each other.

    Order and lattice must have had their turn (`add_tin`, `add_tin_bound`).

    Parameters
    ----------
    derived : Material
    specimen : Specimen
        Whether it is doped decides what its order usually is.
    scale : TinScale, optional
        The one that gave ``tin_fraction_lattice``.
    contrast_by_tin : float, optional
        By which the contrast was referred to that tin fraction.
    tin_held : float, optional
        Tin fraction held in the fit: that of the contrast where there is none by the lattice.
    """
    if not derived.given(TIN_ORDER) or derived.values[TIN_ORDER] <= 0.0:
        derived.absent(ORDER, "there is no site order above zero")
        return
    prior, c = usual_order(specimen), contrast_by_tin
    x, by_lattice = derived.values[TIN_ORDER], derived.values.get(LATTICE, math.nan)
    referred_to = by_lattice if math.isfinite(by_lattice) else tin_held
    if not math.isfinite(referred_to):
        c, referred_to = 0.0, 0.0
    derived.assumptions.append(f"prior of S_a: {prior.s_a:g} ± {prior.u:g}, as of {prior.words}")

    per_tin = 4.0 * prior.s_a - c
    tin = (x - c * referred_to) / per_tin
    derivatives = {TIN_ORDER: 1.0 / per_tin}
    if math.isfinite(by_lattice):
        derivatives[LATTICE] = -c / per_tin
    by_s_a = -4.0 * tin / per_tin
    derived.add(
        ORDER,
        tin,
        derivatives,
        _prior_columns(prior, by_s_a),
        formula=f"(x - {BY_TIN} * {LATTICE if math.isfinite(by_lattice) else 'tin_held'}) / (4 * usual_S_a - {BY_TIN})",
        numbers={BY_TIN: c, "usual_S_a": prior.s_a, "tin_held": referred_to},
        source="site balance x = 4 tin S_a, T. Spina, thesis, Univ. Geneva, and S. M. Heald et al., Sci. Rep. 8 (2018) "
        "4798",
        remark=f"prior of S_a: {prior.s_a:g} ± {prior.u:g}, as of {prior.words}; {BY_TIN} takes back "
        "that the contrast was referred to the tin of the lattice",
    )
    if math.isfinite(by_lattice):
        _weigh_against_lattice(derived, scale, prior, by_s_a)


def _prior_columns(prior: Prior, derivative: float) -> dict[str, tuple[float, str]]:
    """Contributions of the usual order: half of its variance common to all specimens of a kind (judged)."""
    part = derivative * prior.u / math.sqrt(2.0)
    return {"usual order/kind": (part, prior.of), "usual order/sample": (part, "")}


def _weigh_against_lattice(derived: Material, scale: TinScale, prior: Prior, by_s_a: float) -> None:
    """Show where lattice and order tell of different tin: evidence about the a(tin) scale."""
    if any(flag.name == "tin-scale" for flag in derived.flags):
        return
    by_lattice, by_order = derived.values[LATTICE], derived.values[ORDER]
    widening, u_widening = DISORDER_NM / scale.slope_nm, U_DISORDER_NM / scale.slope_nm
    away = ORDER_OF_LINE - prior.s_a
    gap = by_order - by_lattice + widening * away
    # less order than usual makes the lattice read high and the order low: both belong to one column
    plain = derived.contributions.extend("gap", {ORDER: 1.0, LATTICE: -1.0})
    square = plain.total("gap") ** 2 + (by_s_a - widening) ** 2 * prior.u**2 - by_s_a**2 * prior.u**2
    square += u_widening**2 * (away**2 + prior.u**2)
    apart = abs(gap) / math.sqrt(square) if square > 0.0 else 0.0
    if apart > _CONTRADICTION:
        derived.flag(
            "tin-scale",
            f"the lattice parameter gives {rounded(100 * by_lattice, 100 * derived.u(LATTICE), 'at.%')} tin, the "
            f"order {rounded(100 * by_order, 100 * derived.u(ORDER))} (S_a = {prior.s_a:g} ± {prior.u:g}), "
            f"{apart:.1f} standard uncertainties apart: either the a(tin) scale ({scale.name}) lies "
            f"{1e3 * abs(by_order - by_lattice) * scale.slope_nm:.2f} pm too "
            f"{'high' if by_order > by_lattice else 'low'} for this sample, or strain, an undeclared dopant or an "
            "unusual order is in play",
        )
