"""Tin content from the lattice parameter: the two published lines a(tin) at room temperature.

Both give 0.5290 nm at 25 at.% tin and part from there: at 20 at.% they are 0.2 pm apart, 1.5 at.% of tin.
`DEFAULT` is the line that gives tin contents, `SECOND` the one whose distance is its doubt: whatever reads tin from a
lattice parameter takes level and slope from these two entries.

The first was fitted to measured samples over the homogeneous range; the second joins the measured end at 25
at.% to an extrapolated A15 of pure niobium. Vapour-grown crystals with a = 0.5253 and 0.5270 nm (R.
Escudero et al., arXiv:0907.0411) lie below every line and are left out, as vacancies are suspected there.
"""

import math
from dataclasses import dataclass

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

# Published tables scatter by 0.03-0.05 pm about a line within one laboratory, errors of the measurement
# included. What is left to the sample itself (order, impurities) is taken as half of that: 0.02 pm, 0.15
# at.% of tin, so that two wires measured alike are told apart to 0.2 at.%. Judged; no source separates the
# two.
_SCATTER = Scatter(
    "judged: half the 0.04 pm by which published tables scatter within one laboratory", ((0.0, 0.0015),)
)


@dataclass(frozen=True)
class TinLine(Relation):
    """A line a = slope_nm beta + intercept_nm, read backwards.

    Attributes
    ----------
    slope_nm, intercept_nm : float
        Change of the lattice parameter by unit tin fraction, and its value without tin, nm.
    """

    slope_nm: float = math.nan
    intercept_nm: float = math.nan


def _line(
    slope_nm: float,
    intercept_nm: float,
    *,
    name: str,
    title: str,
    source: str,
    equation: str,
    known: str,
    notes: str,
) -> TinLine:
    """Line between 18 and 25 at.% tin, for which both are established."""

    def tin(a: Array) -> Array:
        return (a - intercept_nm) / slope_nm

    def lattice(beta: Array) -> Array:
        return slope_nm * beta + intercept_nm

    return TinLine(
        slope_nm=slope_nm,
        intercept_nm=intercept_nm,
        name=name,
        kind="tin-from-lattice",
        title=title,
        formula=f"beta = (a - {intercept_nm} nm) / {slope_nm} nm",
        function=tin,
        inverse=lattice,
        inputs=(Symbol("a", "lattice parameter at room temperature", "nm", 0.5288),),
        output=Symbol("beta", "atomic fraction of tin", "1", 0.24),
        source=source,
        equation=equation,
        valid=(slope_nm * 0.18 + intercept_nm, slope_nm * 0.25 + intercept_nm),
        scatter=_SCATTER,
        known=known,
        notes=notes,
        wire="binary",
        checks=(Check((0.5290,), 0.25, 5e-4, "A. Godeke (2006): both lines 0.5290 nm at 25 at.%"),),
        contradicts=(
            "J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507, 0.06 to 0.28 pm below the line through samples; "
            "V. Guritanu et al., Phys. Rev. B 70 (2004) 184526, 0.25 pm above"
        ),
    )


MEASURED = _line(
    0.0136,
    0.5256,
    name="godeke-2006-measured",
    title="line through measured samples",
    source=(
        "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, fitted to H. Devantay et al., J. Mater. Sci. 16 "
        "(1981) 2145 and L. J. Vieland, RCA Rev. 25 (1964) 366"
    ),
    equation="eq. (2), fig. 3",
    known="secondary",
    notes="Homogeneous A15 between 18 and 25 at.% tin; undoped, free of strain.",
)

END_POINTS = _line(
    0.0176,
    0.5246,
    name="godeke-2006-end-points",
    title="line through the end points",
    source="A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, after reviews by R. Fluekiger (1981, 1982)",
    equation="eq. (3)",
    known="read",
    notes=(
        "Joins 0.5290 nm at 25 at.% to an extrapolated A15 of pure niobium, 0.5246 nm; undoped, free "
        "of strain."
    ),
)

DEFAULT, SECOND = MEASURED, END_POINTS
"""The line that gives tin contents, and the one that tells how well its slope is known."""

PIVOT_TIN = round((DEFAULT.intercept_nm - SECOND.intercept_nm) / (SECOND.slope_nm - DEFAULT.slope_nm), 9)
"""Tin fraction at which both give the same lattice parameter."""

ENTRIES = (MEASURED, END_POINTS)
