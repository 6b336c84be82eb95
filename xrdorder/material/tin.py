"""From lattice parameter to tin content.

Which line. Two published lines agree at 25 at.% tin and differ by 30 % in slope. The one fitted to measured
samples gives the value: the other joins the same end to an A15 of pure niobium that does not
exist, and the rise seen in situ during reaction (0.16 pm for "more than 1 %" of tin, L. Thilly et al.,
Appl. Phys. Lett. 99 (2011) 122508) speaks for the first if for any. The whole distance to the second line
is taken as one standard uncertainty of the first, not half of the distance about their mean: two lines are
too few to know how far a third would lie, and their 23 % of the distance from 25 at.% is the middle of what
comparisons of slopes suggest (15-30 %). The contribution is signed and proportional to that distance, so
that it cancels between wires of equal tin content and not between wires of unequal.

Which level. Calibrated laboratories disagree by 0.2 pm on samples of known composition, 1.5 at.% of tin: J.
Zhou et al., Appl. Phys. Lett. 99 (2011) 122507, lie 0.06-0.28 pm below the line, V. Guritanu et al., Phys.
Rev. B 70 (2004) 184526, 0.25 pm above. All samples read from the same line share that doubt, and it cancels
in differences.

A laboratory that measures samples of known composition replaces both by its own line (`tin_scale`).

What else moves the lattice parameter without tin: strain (see `lattice_strain`) and dopants, whose effect has been
measured (M. Suenaga et al., J. Appl. Phys. 59 (1986) 840) but could not be read; 0 ± 0.05 pm per at.% stands for it
unless a value is given (`Specimen.lattice_by_dopant_nm`).
"""

from __future__ import annotations

from xrdorder.material.dopants import UNDECLARED, usual_effect
from xrdorder.material.lattice import temperature_doubt
from xrdorder.material.lattice_strain import STRAIN, strain_contributions
from xrdorder.material.material import Material
from xrdorder.material.specimen import U_DOPANT_LATTICE_NM, Specimen
from xrdorder.material.tin_scale import PUBLISHED_SCALE, TinScale
from xrdorder.quantities.formatting import rounded
from xrdorder.quantities.records import symbol_of
from xrdorder.relations import tin_from_lattice

A15_FIELD = (0.18, 0.255)
"""Tin fractions of the A15 phase; 0.18-0.25 in A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, about
0.17-0.26 in X. Xu, Supercond. Sci. Technol. 30 (2017) 093001; tetragonal samples are reported up to 0.252."""

_PUBLISHED = "published"


def add_tin(derived: Material, specimen: Specimen, scale: TinScale = PUBLISHED_SCALE) -> None:
    """Add ``tin_fraction_lattice`` from ``a_nm`` (at the reference temperature) with all that is known against it.

    Strain must have had its turn (`add_strain`).
    """
    if not derived.given("a_nm"):
        derived.absent("tin_fraction_lattice", "the fit found no lattice parameter of the A15")
        return
    if "dopant-lattice" in specimen.off:
        derived.assumptions.append("correction for what dopants do to the lattice switched off")
    tin = add_tin_of(derived, specimen, "a_nm", "tin_fraction_lattice", scale=scale)
    low, high = A15_FIELD
    if not low <= tin <= high:
        causes = ", ".join(cause for cause in ("strain", "calibration", temperature_doubt(specimen)) if cause)
        derived.flag(
            "tin-outside-a15",
            f"the lattice parameter gives {rounded(100 * tin, 100 * derived.u('tin_fraction_lattice'), 'at.%')} "
            f"tin, outside "
            f"the A15 field ({100 * low:g} to {100 * high:g}): {causes} or another scale",
        )


def add_tin_of(
    derived: Material,
    specimen: Specimen,
    lattice: str,
    quantity: str,
    scatter_of: str = "",
    scale: TinScale = PUBLISHED_SCALE,
) -> float:
    """Add the tin fraction that goes with one lattice parameter; all on one scale share its doubts.

    Parameters
    ----------
    derived : Material
    specimen : Specimen
    lattice, quantity : str
        Names of the lattice parameter and of the tin fraction.
    scatter_of : str, optional
        Whose scatter about the line it is, where a sample holds more than one A15.
    scale : TinScale, optional

    Returns
    -------
    float
        The tin fraction.
    """
    a, derivatives = derived.values[lattice], {lattice: 1.0 / scale.slope_nm}
    extra: dict[str, tuple[float, str]] = {}
    formula, taken_off = symbol_of(lattice), {}
    if derived.given(STRAIN):
        formula = f"{formula} / (1 + {STRAIN})"
        relaxed = 1.0 / (1.0 + derived.values[STRAIN])
        a *= relaxed
        derivatives = {lattice: relaxed / scale.slope_nm, STRAIN: -a * relaxed / scale.slope_nm}
    else:
        for source, (value, group) in strain_contributions(specimen).items():
            extra[source] = (a * value / scale.slope_nm, group)
    for element in specimen.dopants if "dopant-lattice" not in specimen.off else ():
        (content, u_content), (effect, u_effect) = specimen.content(element), specimen.lattice_effect(element)
        a -= content * effect
        if effect != 0.0:
            formula += f" - {content} * {effect}"
            taken_off[element] = effect
        extra[f"dopant lattice effect/{element}"] = (-content * u_effect / scale.slope_nm, _PUBLISHED)
        if effect != 0.0:
            extra[f"dopant content/{element}"] = (-u_content * effect / scale.slope_nm, specimen.lot)
    if specimen.undeclared("dopant-lattice"):
        held = usual_effect(lambda contents: sum(contents.values()))
        extra[f"dopant lattice effect/{UNDECLARED}"] = (held * U_DOPANT_LATTICE_NM / scale.slope_nm, specimen.lot)
    tin = scale.tin(a)
    extra |= scale.doubts(tin)
    extra[f"a(tin) scatter/{scatter_of}".rstrip("/")] = (float(tin_from_lattice.DEFAULT.scatter.at(a, tin)), "")
    remarks = [f"{effect} nm taken off for unit content of {element}" for element, effect in taken_off.items()]
    if scale == PUBLISHED_SCALE:
        remarks.append(f"the other published line would give {float(tin_from_lattice.SECOND.function(a)):.4f}")
    derived.add(
        quantity,
        tin,
        derivatives,
        extra,
        formula=scale.formula(formula),
        source=scale.citation,
        remark="; ".join(remarks),
    )
    return tin
