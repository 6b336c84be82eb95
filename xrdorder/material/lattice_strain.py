"""What strain the mount shows, and what is known about it.

A15 in a wire is compressed along the axis by the copper around it, and a strain of 0.026 % reads like one at.% of tin.
Ground powder and extracted filaments are free of it. Otherwise it comes from one of these:

* a value given (`Specimen.strain`), as from two directions or several tilts (`strain_free`);
* a second phase in the pattern as gauge (`gauge`);
* the thermal mismatch with copper as a bound (`mismatch_bound`);
* nothing: then the full ambiguity enters the tin content, with the sign that the mount gives it, and a flag says so.

What is known becomes the quantity ``lattice_strain`` (along the scattering vector), what is corrected by it
``a_strain_free_nm``; ``a_nm`` stays what was measured.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from xrdorder.material.lattice import (
    EXPANSION_PER_K,
    EXPANSION_SOURCE,
    REFERENCE_C,
    U_EXPANSION_PER_K,
    temperature_of,
)
from xrdorder.material.material import Material
from xrdorder.material.niobium import EXPANSION_PER_K as EXPANSION_OF_NIOBIUM
from xrdorder.material.niobium import NIOBIUM_NM
from xrdorder.material.specimen import FREE_MOUNTS, U_STRAIN, Specimen
from xrdorder.material.tin_scale import PUBLISHED_SCALE
from xrdorder.quantities.formatting import rounded, with_sign
from xrdorder.quantities.of_phase import WEIGHT_FRACTION
from xrdorder.quantities.records import How, symbol_of

AXIAL_STRAIN = -0.002
"""Axial strain of the A15 in a whole wire, taken as one standard deviation about none.

Pre-compression of free wires at 4.2 K is 0.2-0.4 % (A. Godeke et al., Supercond. Sci. Technol. 19 (2006)
R100), about half of it is left at room temperature (from memory); no room temperature values could be read.
"""

POISSON = 0.36
"""Poisson ratio of Nb3Sn, from elastic constants: K. R. Keller, J. J. Hanak, Phys. Rev. 154 (1967) 628."""

U_POISSON = 0.03
"""Its standard uncertainty: 0.4 was measured for the lattice in wires (G. De Marzi et al., arXiv:1210.3705)."""

SAMPLE_PART_OF_STRAIN = 0.2
"""Part of the strain that is taken to differ between samples of one lot (judged: mismatch grows with the
reaction temperature by some 10 % from 620 to 690 °C, and etching and polishing relax it unequally)."""

STRAIN = "lattice_strain"
FREE = "a_strain_free_nm"

LEAST_SHARE = 0.1
"""No direction is relied on to be freer of axial strain than this share of it."""

USUAL_REACTION_C = 660.0
"""Where no reaction temperature is given: middle of the schedules in use, 625 to 695 °C (common practice)."""

_USUAL_ANGLE_DEG = {"polished-section": 0.0, "wires-laid-flat": 90.0, "transmission": 0.0, "": 90.0}
_PUBLISHED = "published"


class Metal(NamedTuple):
    """A metal beside the A15: strain-free lattice parameter (nm), expansion (1/K), elastic constants, density."""

    a_nm: float
    u_a_nm: float
    expansion_per_k: float
    poisson: float
    young_gpa: float
    density: float
    words: str


METALS = {
    # Lattices, Poisson's ratios, Young's moduli, densities: handbook values, from memory. Expansions: J. W. Ekin,
    # Experimental Techniques for Low-Temperature Measurements (2006), app. 6.4, from memory. Uncertainty of the
    # lattices: niobium by its last digits, tantalum by what handbooks differ, copper by 0.1 at.% of tin left in it
    # (0.98 pm per at.%, from memory).
    "nb": Metal(NIOBIUM_NM, 2e-5, EXPANSION_OF_NIOBIUM, 0.40, 105.0, 8.57, "niobium"),
    "ta": Metal(0.3303, 1.5e-4, 6.6e-6, 0.34, 186.0, 16.65, "tantalum"),
    "cu": Metal(0.36149, 1e-4, 16.7e-6, 0.34, 128.0, 8.96, "copper"),
}

A15_YOUNG_GPA = 132.0
"""Young's modulus of polycrystalline Nb3Sn at 300 K: J. F. Bussière, D. O. Welch, M. Suenaga, J. Appl. Phys. 51 (1980)
1024 (abstract read); 137 GPa follow from the elastic constants."""

A15_DENSITY = 8.92
"""g/cm³, from the cell."""

U_EXPANSION_OF_METAL = 0.3e-6
"""Standard uncertainty of the mean expansion of niobium or tantalum over the cooling, 1/K (judged)."""

U_BOND = 0.3
"""Relative standard uncertainty of the axial strain that niobium or tantalum tell (judged: they may have flowed, and
are not strained along the axis alone)."""

U_BALANCE = 0.5
"""Relative standard uncertainty of what copper tells by the balance of forces (judged: other phases take part, and the
weight fractions of a surface are not those of the section)."""


def strain_share(specimen: Specimen, poisson: float = POISSON) -> float:
    """Share of an axial strain along the scattering vector: cos² - nu sin² of the angle; the usual one of the mount."""
    angle = specimen.wire_axis_angle_deg
    angle = math.radians(_USUAL_ANGLE_DEG.get(specimen.mount, 90.0) if angle is None else angle)
    return math.cos(angle) ** 2 - poisson * math.sin(angle) ** 2


def strain_seen(specimen: Specimen) -> float:
    """Strain along the scattering vector by one standard deviation of axial strain; 0 where it is released.

    Uniaxial state; never below a tenth of the axial strain, as neither angle nor state is known well enough to rely on
    the direction free of strain.
    """
    if specimen.mount in FREE_MOUNTS or "strain" in specimen.off:
        return 0.0
    share = strain_share(specimen)
    return AXIAL_STRAIN * math.copysign(max(abs(share), LEAST_SHARE), share)


def mismatch_bound(reaction_temperature_c: float) -> float:
    """Axial strain of the A15 if copper shrank elastically from the reaction temperature on and took all with it.

    The copper flows instead, so that this is a bound: room temperature strain lies between it and none.

    Parameters
    ----------
    reaction_temperature_c : float
        °C.

    Examples
    --------
    >>> print(f"{100 * mismatch_bound(650.0):.2f} %")
    -0.57 %
    """
    return -(METALS["cu"].expansion_per_k - EXPANSION_PER_K) * (reaction_temperature_c - REFERENCE_C)


def bounded_strain(bound: float) -> tuple[float, float]:
    """Axial strain between none and a bound, and its standard uncertainty: the usual size, of known sign and limit.

    Mean and standard deviation of a normal distribution about none with the width of `AXIAL_STRAIN`, of which only the
    part between none and the bound is left.

    Examples
    --------
    >>> print("{:.5f} {:.5f}".format(*bounded_strain(-0.0057)))
    -0.00158 0.00117
    """
    width = abs(AXIAL_STRAIN)
    b = abs(bound) / width
    peak = 1.0 / math.sqrt(2.0 * math.pi)
    at_bound, inside = peak * math.exp(-0.5 * b * b), 0.5 * math.erf(b / math.sqrt(2.0))
    mean = (peak - at_bound) / inside
    variance = 1.0 - b * at_bound / inside - mean * mean
    return math.copysign(width * mean, bound), width * math.sqrt(variance)


def gauge_strain(metal: str, a_nm: float, temperature_c: float = REFERENCE_C) -> float:
    """Strain of a metal beside the A15 along the scattering vector, from its lattice parameter in nm.

    Examples
    --------
    >>> print(f"{gauge_strain('nb', 0.33007 * 0.999):.4f}")
    -0.0010
    """
    of = METALS[metal]
    return a_nm / (of.a_nm * (1.0 + of.expansion_per_k * (temperature_c - REFERENCE_C))) - 1.0


def add_strain(derived: Material, specimen: Specimen, a15: str = "nb3sn") -> None:
    """Add ``lattice_strain`` and ``a_strain_free_nm`` where something is known about the strain; say what is not."""
    if not derived.given("a_nm"):
        return
    if "strain" in specimen.off:
        derived.assumptions.append("correction for strain switched off: the lattice is taken to be free of it")
        return
    if specimen.strain is not None:
        u = U_STRAIN if specimen.u_strain is None else specimen.u_strain
        how: How = {
            "formula": "strain_told",
            "numbers": {"strain_told": specimen.strain},
            "source": "description of the sample",
            "remark": f"as given: {with_sign(100 * specimen.strain, 'g')} % along the scattering vector",
        }
        _add_stated(derived, specimen, specimen.strain, u, "as given", how)
    elif specimen.strain_bound and specimen.reaction_temperature_c is not None:
        bound, share = mismatch_bound(specimen.reaction_temperature_c), strain_share(specimen)
        axial, u = bounded_strain(bound)
        usual, most = (f"{with_sign(100 * x, '.2f')} %" for x in (axial, bound))
        u *= max(abs(share), LEAST_SHARE)
        how = {
            "formula": f"strain_share * usual_strain(-({METALS['cu'].expansion_per_k} - {EXPANSION_PER_K}) "
            f"* (reaction_temperature_c - {REFERENCE_C}))",
            "numbers": {"strain_share": share, "reaction_temperature_c": specimen.reaction_temperature_c},
            "source": EXPANSION_SOURCE,
            "remark": "usual axial strain within the thermal mismatch with copper from "
            f"{specimen.reaction_temperature_c:g} °C ({most}): {usual}, a bound and no "
            f"measurement; {_seen(share)}",
        }
        words = "usual compression within the thermal mismatch with copper"
        _add_stated(derived, specimen, axial * share, u, words, how)
        derived.flag(
            "strain-by-bound",
            f"the axial strain is taken as {usual}, the usual size between none and {most}, "
            f"the thermal mismatch with copper from {specimen.reaction_temperature_c:g} °C: a bound, not a measurement",
        )
    elif specimen.strain_gauge:
        _add_by_gauge(derived, specimen, a15)
    if derived.given(STRAIN):
        strain = derived.values[STRAIN]
        a = derived.values["a_nm"] / (1.0 + strain)
        by_a, by_strain = 1.0 / (1.0 + strain), -a / (1.0 + strain)
        formula = f"a_nm / (1 + {STRAIN})"
        derived.add(FREE, a, {"a_nm": by_a, STRAIN: by_strain}, formula=formula, source="definition")
    else:
        _remark(derived, specimen)


def _seen(share: float) -> str:
    seen = with_sign(share, ".2f")
    return f"{seen} of an axial strain shows along the scattering vector (cos² - nu sin² of their angle)"


def _add_stated(
    derived: Material, specimen: Specimen, strain: float, u: float, words: str, how: How
) -> None:
    """Add a strain whose doubt is largely common to a lot, with the sign that the mount gives it."""
    # Error of the strain that is taken off, for an axial strain more compressive than thought.
    signed = -math.copysign(u, strain_seen(specimen))
    common = math.sqrt(1.0 - SAMPLE_PART_OF_STRAIN**2)
    derived.add(
        STRAIN,
        strain,
        {},
        {
            "strain state/lot": (common * signed, specimen.lot),
            "strain state/sample": (SAMPLE_PART_OF_STRAIN * signed, ""),
        },
        **how,
    )
    share = strain_share(specimen)
    axial = ""
    if abs(share) >= LEAST_SHARE:
        state = "tension, though copper presses" if strain / share > 0.0 else "compression"
        axial = f" (axial {with_sign(100 * strain / share, '.2f')} %, {state})" if strain else ""
    derived.assumptions.append(
        f"strain along the scattering vector {rounded(100 * strain, 100 * u, '%')}{axial}, {words}"
    )


def _add_by_gauge(derived: Material, specimen: Specimen, a15: str) -> None:
    name = specimen.strain_gauge
    metal, quantity = METALS[name], f"lattice_a_nm_{name}"
    if not derived.given(quantity):
        derived.flag(
            "strain-gauge-absent",
            f"{metal.words} is to tell the strain, but the fit holds no lattice parameter of it: it stays unknown",
        )
        return
    share, share_of_gauge = strain_share(specimen), strain_share(specimen, metal.poisson)
    if abs(share_of_gauge) < LEAST_SHARE:
        derived.flag(
            "strain-gauge-blind",
            f"at {specimen.wire_axis_angle_deg:g}° to the wire axis an axial strain does not show, so {metal.words} "
            "cannot tell it; the strain stays unknown",
        )
        return
    temperature, u_temperature = temperature_of(specimen)
    if "temperature" in specimen.off:
        temperature, u_temperature = REFERENCE_C, 0.0
    measured = gauge_strain(name, derived.values[quantity], temperature)
    axial = measured / share_of_gauge
    relation, extra = _by_balance(derived, name, a15) if name == "cu" else _by_bond(specimen, metal, axial)
    if math.isnan(relation.factor):
        derived.flag(
            "strain-gauge-absent",
            "copper is to tell the strain, but the fit holds no weight fraction of it and the A15; the strain stays "
            "unknown",
        )
        return
    slope = relation.factor * share / share_of_gauge
    strain = share * (relation.factor * axial + relation.offset)
    derived.add(
        STRAIN,
        strain,
        {quantity: slope * (1.0 + measured) / derived.values[quantity]},
        {
            "temperature": (-slope * metal.expansion_per_k * u_temperature, ""),
            f"strain gauge/lattice of {name}": (-slope * metal.u_a_nm / metal.a_nm, _PUBLISHED),
            f"strain gauge/state of {name}": (share * relation.factor * axial * relation.relative, specimen.lot),
            **{source: (share * value, group) for source, (value, group) in extra.items()},
        },
        formula=f"strain_share * ({relation.formula.format(gauge=_gauge_formula(quantity, metal))})",
        numbers={
            "strain_share": share,
            "share_of_gauge": share_of_gauge,
            "temperature_c": temperature,
            "reaction_temperature_c": _reaction(specimen),
        },
        source="constants of metals: handbook values, from memory; docs/explanation/tin.md",
        remark=f"{metal.words} as gauge: {quantity} against {metal.a_nm:g} nm free of strain; {relation.words}; "
        f"{_seen(share)}",
    )
    derived.assumptions.append(
        f"strain along the scattering vector {rounded(100 * strain, 100 * derived.u(STRAIN), '%')} from "
        f"{metal.words}, which is strained by {with_sign(100 * measured, '.3f')} %"
    )


def _gauge_formula(quantity: str, metal: Metal) -> str:
    """Axial strain of the gauge as `gauge_strain` computes it."""
    free = f"({metal.a_nm} * (1 + {metal.expansion_per_k} * (temperature_c - {REFERENCE_C})))"
    return f"({quantity} / {free} - 1) / share_of_gauge"


def _reaction(specimen: Specimen) -> float:
    return USUAL_REACTION_C if specimen.reaction_temperature_c is None else specimen.reaction_temperature_c


class _Tie(NamedTuple):
    """Axial strain of the A15 = factor x that of the gauge + offset; relative doubt of the first part; how told."""

    factor: float
    offset: float
    relative: float
    formula: str
    words: str


def _by_bond(specimen: Specimen, metal: Metal, axial: float) -> tuple[_Tie, dict[str, tuple[float, str]]]:
    """Niobium and tantalum share the length of the A15 since it formed on them, up to the difference in expansion."""
    cooled = _reaction(specimen) - REFERENCE_C
    offset = (EXPANSION_PER_K - metal.expansion_per_k) * cooled
    formula = (
        f"{{gauge}} + ({EXPANSION_PER_K} - {metal.expansion_per_k}) * (reaction_temperature_c - {REFERENCE_C})"
    )
    words = "axial strain of the A15 is that of it and the difference of thermal expansion since the reaction"
    return _Tie(1.0, offset, U_BOND, formula, words), {
        "thermal expansion": (U_EXPANSION_PER_K * cooled, "nb3sn"),
        f"strain gauge/expansion of {metal.words}": (-U_EXPANSION_OF_METAL * cooled, _PUBLISHED),
    }


def weight_of(phase: str) -> str:
    """How a formula names the weight fraction of a phase."""
    return symbol_of(WEIGHT_FRACTION.of(phase))


def _by_balance(derived: Material, name: str, a15: str) -> tuple[_Tie, dict[str, tuple[float, str]]]:
    """What the copper is drawn by, the A15 is pressed by: forces along the axis add up to none."""
    metal = METALS[name]
    of_metal, of_a15 = (derived.values.get(WEIGHT_FRACTION.of(phase), math.nan) for phase in (name, a15))
    if not (of_metal > 0.0 and of_a15 > 0.0):
        return _Tie(math.nan, 0.0, 0.0, "", ""), {}
    volumes = (of_metal / metal.density) / (of_a15 / A15_DENSITY)
    formula = (
        f"-({weight_of(name)} / {metal.density}) / ({weight_of(a15)} / {A15_DENSITY}) * {metal.young_gpa} "
        f"/ {A15_YOUNG_GPA} * {{gauge}}"
    )
    words = "axial strain of the A15 by the balance of forces with it, weight fractions and Young's moduli"
    return _Tie(-volumes * metal.young_gpa / A15_YOUNG_GPA, 0.0, U_BALANCE, formula, words), {}


def strain_contributions(specimen: Specimen) -> dict[str, tuple[float, str]]:
    """Contributions of an unknown strain to the relative lattice parameter, by source.

    The larger part is common to a lot, with the sign the mount gives it; without a lot nothing is common.
    """
    seen = strain_seen(specimen)
    if seen == 0.0:
        return {}
    common = math.sqrt(1.0 - SAMPLE_PART_OF_STRAIN**2)
    return {
        "strain state/lot": (common * seen, specimen.lot),
        "strain state/sample": (SAMPLE_PART_OF_STRAIN * seen, ""),
    }


def _remark(derived: Material, specimen: Specimen) -> None:
    # By the published slope of a(tin): an order of magnitude for the reader, not a value.
    effect = derived.values["a_nm"] * strain_seen(specimen) / PUBLISHED_SCALE.slope_nm
    if specimen.mount == "":
        derived.flag(
            "mount-unknown",
            f"the mount is not given: strain as in wires laid flat may read as {100 * abs(effect):.1f} "
            f"at.% tin; "
            "say ground-powder if it was",
        )
    elif effect != 0.0:
        derived.flag(
            "strain-state",
            f"mounted as {specimen.mount}: an axial strain of {with_sign(100 * AXIAL_STRAIN, 'g')} % left in the wire "
            f"reads as "
            f"{with_sign(100 * effect, '.1f')} at.% tin; grind or extract filaments to be free of it",
        )
    elif specimen.mount == "whole-filaments":
        derived.assumptions.append(
            "filaments free of strain and of hydrogen, with which acid charges them and which widens the lattice"
        )
