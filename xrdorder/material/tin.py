"""From lattice parameter to tin content.

Which line. Two published lines agree at 25 at.% tin and differ by 30 % in slope. The one fitted to measured
samples (0.0136 nm) gives the value: the other joins the same end to an A15 of pure niobium that does not
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

What else moves the lattice parameter without tin: strain (see `strain_contributions`) and dopants, whose
effect has been measured (M. Suenaga et al., J. Appl. Phys. 59 (1986) 840) but could not be read; 0 +- 0.05
pm per at.% stands for it (from memory, an estimate from atomic radii).
"""

from __future__ import annotations

import math

from xrdorder.material.account import Account
from xrdorder.material.specimen import U_DOPANT_LATTICE_NM, Specimen
from xrdorder.material.tin_scale import PUBLISHED_SCALE, U_LEVEL_NM, TinScale
from xrdorder.relations import tin_from_lattice

SLOPE_NM = 0.0136
"""Change of a by unit tin fraction on the line through measured samples, nm."""

U_SCALE_NM = U_LEVEL_NM
"""Disagreement of calibrated laboratories on a at the same tin content, nm (see the sources above)."""

A15_FIELD = (0.18, 0.255)
"""Tin fractions of the A15 phase; 0.18-0.25 in A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, about
0.17-0.26 in X. Xu, Supercond. Sci. Technol. 30 (2017) 093001; tetragonal samples are reported up to 0.252."""

AXIAL_STRAIN = -0.002
"""Axial strain of the A15 in a whole wire, taken as one standard deviation about none.

Pre-compression of free wires at 4.2 K is 0.2-0.4 % (A. Godeke et al., Supercond. Sci. Technol. 19 (2006)
R100), about half of it is left at room temperature (from memory); no room temperature values could be read.
"""

POISSON = 0.36
"""Poisson ratio of Nb3Sn, from elastic constants: K. R. Keller, J. J. Hanak, Phys. Rev. 154 (1967) 628."""

SAMPLE_PART_OF_STRAIN = 0.2
"""Part of the strain that is taken to differ between samples of one lot (judged: mismatch grows with the
reaction temperature by some 10 % from 620 to 690 °C, and etching and polishing relax it unequally)."""

_PUBLISHED = "published"
_USUAL_ANGLE_DEG = {"polished-section": 0.0, "wires-laid-flat": 90.0, "transmission": 0.0, "": 90.0}


def add_tin(account: Account, specimen: Specimen, scale: TinScale = PUBLISHED_SCALE) -> None:
    """Add ``tin_fraction`` from ``a_nm`` (at the reference temperature) with all that is known against it."""
    if not account.given("a_nm"):
        account.absent("tin_fraction")
        return
    tin = add_tin_of(account, specimen, "a_nm", "tin_fraction", scale=scale)
    _remark_on_strain(account, specimen)
    low, high = A15_FIELD
    if not low <= tin <= high:
        account.flag(
            "tin-outside-a15",
            f"the lattice parameter gives {100 * tin:.1f} ± {100 * account.u('tin_fraction'):.1f} at.% "
            f"tin, outside "
            f"the A15 field ({100 * low:g} to {100 * high:g}): strain, calibration or another scale",
        )


def add_tin_of(
    account: Account,
    specimen: Specimen,
    lattice: str,
    quantity: str,
    scatter_of: str = "",
    scale: TinScale = PUBLISHED_SCALE,
) -> float:
    """Add the tin fraction that goes with one lattice parameter; all on one scale share its doubts.

    Parameters
    ----------
    account : Account
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
    a = account.values[lattice]
    tin = scale.tin(a)
    scatter = float(tin_from_lattice.MEASURED.scatter.at(a, tin))
    extra = {**scale.doubts(tin), f"a(tin) scatter/{scatter_of}".rstrip("/"): (scatter, "")}
    for element in specimen.dopants:
        content, _ = specimen.content(element)
        extra[f"dopant lattice effect/{element}"] = (-content * U_DOPANT_LATTICE_NM / SLOPE_NM, _PUBLISHED)
    extra |= strain_contributions(a, specimen)
    account.add(quantity, tin, {lattice: 1.0 / SLOPE_NM}, extra)
    return tin


def strain_seen(specimen: Specimen) -> float:
    """Strain along the scattering vector by one standard deviation of axial strain; 0 where it is released.

    Uniaxial state, cos² - nu sin² of the angle to the wire axis; never below a tenth of the axial strain,
    as neither angle nor state is known well enough to rely on the direction free of strain.
    """
    if specimen.mount in ("ground-powder", "whole-filaments"):
        return 0.0
    angle = specimen.wire_axis_angle_deg
    angle = math.radians(_USUAL_ANGLE_DEG[specimen.mount] if angle is None else angle)
    share = math.cos(angle) ** 2 - POISSON * math.sin(angle) ** 2
    return AXIAL_STRAIN * math.copysign(max(abs(share), 0.1), share)


def strain_contributions(a_nm: float, specimen: Specimen) -> dict[str, tuple[float, str]]:
    """Contributions of the unknown strain to the tin fraction, by source.

    The larger part is common to a lot, with the sign the mount gives it; without a lot nothing is common.
    """
    effect = a_nm * strain_seen(specimen) / SLOPE_NM
    if effect == 0.0:
        return {}
    common = math.sqrt(1.0 - SAMPLE_PART_OF_STRAIN**2)
    return {
        "strain state/lot": (common * effect, specimen.lot),
        "strain state/sample": (SAMPLE_PART_OF_STRAIN * effect, ""),
    }


def _remark_on_strain(account: Account, specimen: Specimen) -> None:
    effect = account.values["a_nm"] * strain_seen(specimen) / SLOPE_NM
    if specimen.mount == "":
        account.flag(
            "mount-unknown",
            f"the mount is not given: strain as in wires laid flat may read as {100 * abs(effect):.1f} "
            f"at.% tin; "
            "say ground-powder if it was",
        )
    elif effect != 0.0:
        account.flag(
            "strain-state",
            f"mounted as {specimen.mount}: an axial strain of {100 * AXIAL_STRAIN:g} % left in the wire "
            f"reads as "
            f"{100 * effect:+.1f} at.% tin; grind or extract filaments to be free of it",
        )
