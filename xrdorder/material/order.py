"""From the contrast of the sublattices to site order, S_a, S_b, and what the order says about tin."""

from __future__ import annotations

import math
from collections.abc import Mapping

from xrdorder.crystals.a15 import contrast_shift, order_parameters, tin_lower_bound
from xrdorder.material.derived_quantities import Account
from xrdorder.material.specimen import Specimen
from xrdorder.xrays import Radiation

S_OF_110_PER_NM = 1.337
"""sin(theta)/lambda of (110), the order line that counts most: sqrt(2) / (2 a), 1/nm."""

LEAST_MEASURED_ORDER = 0.91
"""Weighted order parameters of five doped wires 0.911 to 0.965, S. M. Heald et al., Sci. Rep. 8 (2018) 4798, table V;
undoped bulk before irradiation 0.98 ± 0.02, T. Spina, thesis, Univ. Geneva."""

TIN_ORDER = "site order of tin alone"
"""Intermediate quantity; see `drop_intermediate`."""

# Two standard uncertainties: seen by chance in one of forty samples.
_COVERAGE = 2.0


def add_site_order(account: Account, specimen: Specimen, radiation: Radiation) -> None:
    """Add ``site_order`` from ``order_contrast``: the dopants' share of the contrast taken off.

    The content of a dopant is common to a wire lot. Its partition is not: for tantalum it changes with the
    heat treatment (43 % on the tin site at 634 °C, 8 % at 711 °C; C. Tarantini et al., Supercond. Sci.
    Technol. 32 (2019) 124003), which is what samples of a lot differ in.
    """
    if not account.given("order_contrast"):
        account.absent("site_order")
        return
    shift, extra = 0.0, {}
    if "dopant-contrast" in specimen.off:
        account.assumptions.append("correction for dopants in the contrast switched off: read as of an undoped wire")
    for element in _dopants(specimen):
        content, u_content = specimen.content(element)
        share, u_share = specimen.tin_site_share(element)

        # The shift is linear in the content and, for each, in the share: differences are exact derivatives.
        def per_content(on_tin: float, element: str = element) -> float:
            return (
                contrast_shift({element: 0.1}, {element: on_tin}, radiation.energy_ev, S_OF_110_PER_NM) / 0.1
            )

        shift += content * per_content(share)
        extra[f"dopant content/{element}"] = (-u_content * per_content(share), specimen.lot)
        extra[f"dopant site/{element}"] = (-u_share * content * (per_content(1.0) - per_content(0.0)), "")
        account.assumptions.append(specimen.dopant_in_words(element))
    if not specimen.dopants and not specimen.undoped:
        account.flag(
            "dopants-not-declared",
            "nothing was said about dopants and the order is that of an undoped wire; with 2.4 at.% Ta a perfectly "
            "ordered one would read 0.92 to 1.00: name the dopants, or say that there are none",
        )
    account.add("site_order", account.values["order_contrast"] - shift, {"order_contrast": 1.0}, extra)


def add_order_parameters(account: Account, specimen: Specimen) -> None:
    """Add ``S_a``, ``S_b`` and ``tin_lower_bound`` from ``site_order`` and ``tin_fraction``.

    Tin atoms alone have the site order x = site order - (share of tin sites taken by dopants). Then S_a = x
    / (4 beta), one where no tin is on niobium sites, and beta >= x / 4, also with dopants.
    """
    if not account.given("site_order"):
        for quantity in ("tin_lower_bound", "S_a", "S_b"):
            account.absent(quantity)
        return
    _add_tin_order(account, specimen)
    x = account.values[TIN_ORDER]
    shares = {element: specimen.tin_site_share(element)[0] for element in _dopants(specimen)}
    bound = float(tin_lower_bound(account.values["site_order"], _dopants(specimen), shares))
    account.add("tin_lower_bound", bound, {TIN_ORDER: 0.25})
    beta = account.values.get("tin_fraction", math.nan)
    if 0.0 < beta < 1.0:
        s_a, s_b = (float(s) for s in order_parameters(beta, x))
        account.add("S_a", s_a, {TIN_ORDER: 1.0 / (4.0 * beta), "tin_fraction": -s_a / beta})
        account.add("S_b", s_b, {TIN_ORDER: 3.0 / (4.0 * (1.0 - beta)), "tin_fraction": s_b / (1.0 - beta)})
        _weigh_against_lattice(account)
        if s_a + _COVERAGE * account.u("S_a") < LEAST_MEASURED_ORDER:
            account.flag(
                "order-unusually-low",
                f"S_a = {s_a:.2f} ± {account.u('S_a'):.2f} is below all that was measured in wires that nobody "
                f"irradiated ({LEAST_MEASURED_ORDER:.2f} and more): look for a dopant that is not declared, a beam "
                "longer than the specimen, a rough surface, texture",
            )
    else:
        account.absent("S_a")
        account.absent("S_b")
    excess = account.values["site_order"] - 1.0
    if excess > _COVERAGE * account.u("site_order"):
        account.flag(
            "order-above-one",
            f"site order exceeds one by {excess:.3f} ± {account.u('site_order'):.3f}, which no crystal "
            f"does: look for "
            "texture, a missing dopant or an overlapped order line",
        )


def _dopants(specimen: Specimen) -> Mapping[str, float]:
    """Dopants that take part in the contrast."""
    return {} if "dopant-contrast" in specimen.off else specimen.dopants


def _add_tin_order(account: Account, specimen: Specimen) -> None:
    """Add the site order of tin alone: each tin site taken by a dopant counts as ordered in `site_order`."""
    taken, extra = 0.0, {}
    for element in _dopants(specimen):
        content, u_content = specimen.content(element)
        share, u_share = specimen.tin_site_share(element)
        # Two of eight atoms of a cell are on tin sites: a fraction c of all atoms is 4 c of those sites.
        taken += 4.0 * content * share
        extra[f"dopant content/{element}"] = (-4.0 * share * u_content, specimen.lot)
        extra[f"dopant site/{element}"] = (-4.0 * content * u_share, "")
    account.add(TIN_ORDER, account.values["site_order"] - taken, {"site_order": 1.0}, extra)


def _weigh_against_lattice(account: Account) -> None:
    """Show where the order asks for more tin than the lattice gives: evidence about the a(tin) scale."""
    gap = account.values["tin_lower_bound"] - account.values["tin_fraction"]
    u_gap = account.contributions.extend("gap", {"tin_lower_bound": 1.0, "tin_fraction": -1.0}).total("gap")
    if gap > _COVERAGE * u_gap:
        account.flag(
            "tin-scale",
            f"the order needs at least {100 * account.values['tin_lower_bound']:.1f} at.% tin, the "
            f"lattice parameter "
            f"gives {100 * account.values['tin_fraction']:.1f}: {100 * gap:.1f} ± {100 * u_gap:.1f} too "
            f"little, "
            "which speaks against the a(tin) scale for this sample (or for strain)",
        )


def drop_intermediate(account: Account) -> None:
    """Drop the quantities that only carried others."""
    account.values.pop(TIN_ORDER, None)
    account.contributions = account.contributions.select(
        name for name in account.contributions.quantities if name != TIN_ORDER
    )
