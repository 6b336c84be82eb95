"""From the contrast of the sublattices to site order, and the least tin that it allows."""

from __future__ import annotations

import math
from collections.abc import Mapping

from xrdorder.crystals.a15 import contrast_shift, dopant_site, tin_lower_bound
from xrdorder.material.dopants import UNDECLARED, tantalum_share, usual_effect
from xrdorder.material.material import Material
from xrdorder.material.specimen import Specimen
from xrdorder.quantities.formatting import rounded, with_sign
from xrdorder.quantities.records import How
from xrdorder.xrays import Radiation

S_OF_110_PER_NM = 1.337
"""sin(theta)/lambda of (110), the order line that counts most: sqrt(2) / (2 a), 1/nm."""

LEAST_MEASURED_ORDER = 0.91
"""Weighted order parameters of five doped wires 0.911 to 0.965, S. M. Heald et al., Sci. Rep. 8 (2018) 4798, table V;
undoped bulk before irradiation 0.98 ± 0.02, T. Spina, thesis, Univ. Geneva."""

TIN_ORDER = "site order of tin alone"
"""Intermediate quantity; see `drop_intermediate`."""

_STEP_K = 25.0  # by how much a reaction temperature may be off, to show what hangs on it

# Two standard uncertainties: seen by chance in one of forty samples.
_COVERAGE = 2.0


def drop_contrast_at_bound(derived: Material) -> None:
    """Take an ``order_contrast`` that rests at a bound of the fit for none: it has no uncertainty and says nothing.

    One without a table is held as exact and stays. The contrast must be as it was fitted (before `refer_to_tin`).
    """
    name = "order_contrast"
    if not derived.given(name) or name not in derived.contributions.quantities or derived.u(name) > 0.0:
        return
    why = f"not determined: the contrast of the sublattices rests at its bound of {derived.values[name]:g}"
    derived.absent(name, why)
    derived.flag("order-not-determined", f"the site order is {why}, with no uncertainty: look at the order lines")


def add_site_order(derived: Material, specimen: Specimen, radiation: Radiation) -> None:
    """Add ``site_order`` from ``order_contrast``: the dopants' share of the contrast taken off.

    The content of a dopant is common to a wire lot. Its partition is not: for tantalum it changes with the
    heat treatment (43 % on the tin site at 634 °C, 8 % at 711 °C; C. Tarantini et al., Supercond. Sci.
    Technol. 32 (2019) 124003), which is what samples of a lot differ in. Where nothing was said about dopants the order
    is that of an undoped wire, and its uncertainty holds what usual contents would do.
    """
    if not derived.given("order_contrast"):
        known = derived.records.get("order_contrast")
        derived.absent("site_order", (known and known.remark) or "the fit found no contrast of the sublattices")
        return
    shift, extra = 0.0, {}
    if "dopant-contrast" in specimen.off:
        derived.assumptions.append("correction for dopants in the contrast switched off: read as of an undoped wire")
    for element in _dopants(specimen):
        content, u_content = specimen.content(element)
        share, u_share = specimen.tin_site_share(element)

        # The shift is linear in the content and, for each, in the share: differences are exact derivatives.
        energy = radiation.energy_ev
        shift += dopant_contrast(element, content, share, energy)
        extra[f"dopant content/{element}"] = (-u_content * dopant_contrast(element, 1.0, share, energy), specimen.lot)
        by_share = dopant_contrast(element, 1.0, 1.0, energy) - dopant_contrast(element, 1.0, 0.0, energy)
        extra[f"dopant site/{element}"] = (-u_share * content * by_share, "")
        derived.assumptions.append(specimen.dopant_in_words(element))
    if specimen.undeclared():
        derived.flag(
            "dopants-not-declared",
            "nothing was said about dopants and the order is that of an undoped wire; with 2.4 at.% Ta a perfectly "
            "ordered one would read 0.92 to 1.00: name the dopants, or say that there are none",
        )
        extra |= _undeclared(specimen, radiation.energy_ev)
        derived.assumptions.append("order as of an undoped wire, dopants not told: u holds usual contents of Ta, Ti")
    derived.add(
        "site_order",
        derived.values["order_contrast"] - shift,
        {"order_contrast": 1.0},
        extra,
        **_how_dopants_are_taken_off(specimen, radiation),
    )


def _undeclared(specimen: Specimen, energy_ev: float) -> dict[str, tuple[float, str]]:
    """Contributions of dopants that nobody told: of their contents, common to a lot, and of their sites."""
    if not specimen.undeclared("dopant-contrast"):
        return {}

    def by_content(contents: Mapping[str, float]) -> float:
        return sum(dopant_contrast(e, x, dopant_site(e).share, energy_ev) for e, x in contents.items())

    def by_site(contents: Mapping[str, float]) -> float:
        ends = {e: [dopant_contrast(e, x, share, energy_ev) for share in (0.0, 1.0)] for e, x in contents.items()}
        return math.hypot(*(dopant_site(e).u_share * (tin - niobium) for e, (niobium, tin) in ends.items()))

    return {
        f"dopant content/{UNDECLARED}": (usual_effect(by_content), specimen.lot),
        f"dopant site/{UNDECLARED}": (usual_effect(by_site), ""),
    }


def dopant_contrast(element: str, content: float, share: float, energy_ev: float) -> float:
    """Contrast at (110) that a dopant adds, from its atomic fraction and its share on the tin site."""
    return content * (contrast_shift({element: 0.1}, {element: share}, energy_ev, S_OF_110_PER_NM) / 0.1)


def _how_dopants_are_taken_off(specimen: Specimen, radiation: Radiation) -> How:
    dopants = _dopants(specimen)
    if not dopants:
        if specimen.dopants:
            remark = "as of an undoped wire: correction for dopants in the contrast switched off"
        elif specimen.undoped:
            remark = "as the wire is said to hold no dopant"
        else:
            remark = "as of an undoped wire: nothing was said about dopants"
        return {"formula": "order_contrast", "source": "definition", "remark": remark}
    published = [dopant_site(element).source for element in dopants if element not in (specimen.on_tin_site or {})]
    return {
        "formula": "order_contrast"
        + "".join(f" - contrast_of_{e}(content_{e}, on_tin_site_{e}, energy_ev)" for e in dopants),
        "numbers": {**_told_of_dopants(specimen), "energy_ev": radiation.energy_ev},
        "source": "; ".join(published) or "shares on the tin site as given",
        "remark": "less the contrast at (110) that the dopants make" + _by_reaction(specimen, radiation.energy_ev),
    }


def _by_reaction(specimen: Specimen, energy_ev: float) -> str:
    """How the order follows the reaction temperature that was told, by the site of tantalum; empty where not."""
    told = specimen.reaction_temperature_c
    if told is None or "Ta" not in specimen.dopants or "Ta" in (specimen.on_tin_site or {}):
        return ""
    share, u_share = specimen.tin_site_share("Ta")
    by_share = specimen.dopants["Ta"] * (
        dopant_contrast("Ta", 1.0, 0.0, energy_ev) - dopant_contrast("Ta", 1.0, 1.0, energy_ev)
    )
    less, more = (by_share * (tantalum_share(told + step)[0] - share) for step in (-_STEP_K, _STEP_K))
    return (
        f"; {rounded(100 * share, 100 * u_share, '%')} of the tantalum were taken to be on the tin site, as published "
        f"for a reaction at {told:g} °C; were it {_STEP_K:g} K lower, the order would move by "
        f"{with_sign(less, '.3f')}, higher by {with_sign(more, '.3f')}"
    )


def _told_of_dopants(specimen: Specimen) -> dict[str, float]:
    """Contents (of all atoms) and shares on the tin site, as formulas name them."""
    numbers = {f"content_{element}": content for element, content in _dopants(specimen).items()}
    return numbers | {f"on_tin_site_{e}": specimen.tin_site_share(e)[0] for e in _dopants(specimen)}


def add_tin_bound(derived: Material, specimen: Specimen) -> None:
    """Add ``tin_lower_bound`` from ``site_order``; flag an order that no A15 has.

    Tin atoms alone have the site order x = site order - (share of tin sites taken by dopants). Then S_a = x
    / (4 beta), one where no tin is on niobium sites, and beta >= x / 4, also with dopants. S_a itself, which takes the
    tin content, is an estimate (`xrdorder.estimates`).
    """
    if not derived.given("site_order"):
        derived.absent("tin_lower_bound", "there is no site order")
        return
    _add_tin_order(derived, specimen)
    shares = {element: specimen.tin_site_share(element)[0] for element in _dopants(specimen)}
    bound = float(tin_lower_bound(derived.values["site_order"], _dopants(specimen), shares))
    derived.add(
        "tin_lower_bound",
        bound,
        {TIN_ORDER: 0.25},
        formula="x / 4",
        source="S_a cannot exceed one; tin sites are a quarter of all atoms",
    )
    if derived.given("tin_fraction_lattice"):
        _weigh_against_lattice(derived)
        _remark_on_low_order(derived)
    excess = derived.values["site_order"] - 1.0
    if excess > _COVERAGE * derived.u("site_order"):
        derived.flag(
            "order-above-one",
            f"site order exceeds one by {rounded(excess, derived.u('site_order'))}, which no crystal "
            f"does: look for "
            "texture, a missing dopant or an overlapped order line",
        )


def _remark_on_low_order(derived: Material) -> None:
    """Flag an S_a, by the tin of the lattice, below all that was measured."""
    beta, x = derived.values["tin_fraction_lattice"], derived.values[TIN_ORDER]
    if not 0.0 < beta < 1.0:
        return
    s_a = x / (4.0 * beta)
    by = {TIN_ORDER: 1.0 / (4.0 * beta), "tin_fraction_lattice": -s_a / beta}
    known = {name: slope for name, slope in by.items() if name in derived.contributions.quantities}
    u = derived.contributions.extend("S_a", known).total("S_a")
    if s_a + _COVERAGE * u < LEAST_MEASURED_ORDER:
        derived.flag(
            "order-unusually-low",
            f"S_a by the tin of the lattice is {rounded(s_a, u)}, below all that was measured in wires that nobody "
            f"irradiated ({LEAST_MEASURED_ORDER:.2f} and more): look for a dopant that is not declared, a beam longer "
            "than the specimen, a rough surface, texture",
        )


def _dopants(specimen: Specimen) -> Mapping[str, float]:
    """Dopants that take part in the contrast."""
    return {} if "dopant-contrast" in specimen.off else specimen.dopants


def _add_tin_order(derived: Material, specimen: Specimen) -> None:
    """Add the site order of tin alone: each tin site taken by a dopant counts as ordered in `site_order`."""
    taken, extra = 0.0, {}
    for element in _dopants(specimen):
        content, u_content = specimen.content(element)
        share, u_share = specimen.tin_site_share(element)
        # Two of eight atoms of a cell are on tin sites: a fraction c of all atoms is 4 c of those sites.
        taken += 4.0 * content * share
        extra[f"dopant content/{element}"] = (-4.0 * share * u_content, specimen.lot)
        extra[f"dopant site/{element}"] = (-4.0 * content * u_share, "")
    if specimen.undeclared("dopant-contrast"):
        lost = usual_effect(lambda contents: sum(4.0 * x * dopant_site(e).share for e, x in contents.items()))
        extra[f"dopant site/{UNDECLARED}, tin sites taken"] = (lost, specimen.lot)
    told = _told_of_dopants(specimen)
    derived.add(
        TIN_ORDER,
        derived.values["site_order"] - taken,
        {"site_order": 1.0},
        extra,
        symbol="x",
        formula="site_order" + "".join(f" - 4 * content_{e} * on_tin_site_{e}" for e in _dopants(specimen)),
        numbers=told,
        source="two of the eight atoms of a cell are on tin sites",
        remark="the tin sites that dopants take are taken off" if told else "",
    )


def _weigh_against_lattice(derived: Material) -> None:
    """Show where the order asks for more tin than the lattice gives: evidence about the a(tin) scale."""
    gap = derived.values["tin_lower_bound"] - derived.values["tin_fraction_lattice"]
    u_gap = derived.contributions.extend("gap", {"tin_lower_bound": 1.0, "tin_fraction_lattice": -1.0}).total("gap")
    if gap > _COVERAGE * u_gap:
        derived.flag(
            "tin-scale",
            f"the order needs at least {100 * derived.values['tin_lower_bound']:.1f} at.% tin, the "
            f"lattice parameter "
            f"gives {100 * derived.values['tin_fraction_lattice']:.1f}: {rounded(100 * gap, 100 * u_gap)} too "
            f"little, "
            "which speaks against the a(tin) scale for this sample (or for strain)",
        )


def drop_intermediate(derived: Material) -> None:
    """Drop the quantities that only carried others."""
    derived.values.pop(TIN_ORDER, None)
    derived.contributions = derived.contributions.select(
        name for name in derived.contributions.quantities if name != TIN_ORDER
    )
