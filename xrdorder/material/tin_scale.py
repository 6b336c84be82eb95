"""The line a(tin): the published one, or one fitted to a laboratory's own samples of known composition.

A line has two unknowns, and what is not known about them is correlated. It is told apart at the composition where it
falls into two independent parts, the level and the slope: so both keep their names and signs in the table of
contributions, `LEVEL` and `SLOPE`, shared by all samples read from the same line and by no others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from xrdorder.exceptions import ValidityError
from xrdorder.relations.tin_from_lattice import DEFAULT, END_POINTS, MEASURED, PIVOT_TIN, SECOND

LEVEL = "a(tin) scale"
SLOPE = "a(tin) slope"
"""Sources of uncertainty that a scale brings with it."""

REFERENCE_TIN = 0.24
"""Tin fraction at which the level of a line is stated."""

U_LEVEL_NM = 0.0002
"""Disagreement of calibrated laboratories on a at the same tin content, nm: J. Zhou et al., Appl. Phys. Lett. 99 (2011)
122507, lie 0.06-0.28 pm below the published line, V. Guritanu et al., Phys. Rev. B 70 (2004) 184526, 0.25 pm above."""


@dataclass(frozen=True)
class TinScale:
    """A line a = a_at_24_nm + slope_nm (beta - 0.24) at 22.5 °C, for strain-free A15.

    Attributes
    ----------
    name : str
        Who shares the doubt about it; no two scales may have the same.
    a_at_24_nm, slope_nm : float
        Lattice parameter at 24 at.% tin, and its change by unit tin fraction, nm.
    covariance : ((float, float), (float, float))
        Of these two, nm².
    source : str
        Where it comes from.
    samples : tuple of str
        Samples it was fitted to.

    Raises
    ------
    ValidityError
        Something cannot be; the message names the scale.

    Examples
    --------
    >>> print(f"{PUBLISHED_SCALE.tin(0.5290):.4f} {PUBLISHED_SCALE.lattice(0.18):.5f}")
    0.2500 0.52805
    """

    name: str
    a_at_24_nm: float
    slope_nm: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    source: str
    samples: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        (level, mixed), (mixed_too, slope) = self.covariance
        numbers = (self.a_at_24_nm, self.slope_nm, level, mixed, mixed_too, slope)
        if not self.name.strip():
            raise ValidityError("a tin scale without a name; give it one")
        if not all(math.isfinite(number) for number in numbers):
            raise ValidityError(f"tin scale '{self.name}': a number is not finite; fit it again")
        if not 0.52 < self.a_at_24_nm < 0.54:
            raise ValidityError(f"tin scale '{self.name}': a at 24 at.% is {self.a_at_24_nm} nm; give nm, near 0.5289")
        if not 0.002 < self.slope_nm < 0.05:
            raise ValidityError(
                f"tin scale '{self.name}': slope is {self.slope_nm} nm for unit tin fraction; published are "
                f"{MEASURED.slope_nm} and {END_POINTS.slope_nm}"
            )
        if level < 0.0 or slope < 0.0 or mixed != mixed_too or mixed * mixed > level * slope * (1.0 + 1e-9):
            raise ValidityError(f"tin scale '{self.name}': {self.covariance} is no covariance; fit it again")

    def tin(self, a_nm: float) -> float:
        """Tin fraction of strain-free A15 with this lattice parameter at 22.5 °C."""
        return REFERENCE_TIN + (a_nm - self.a_at_24_nm) / self.slope_nm

    def formula(self, lattice: str) -> str:
        """Formula of the tin fraction, from that of the lattice parameter.

        >>> PUBLISHED_SCALE.formula("a_nm")
        '(a_nm - 0.5256) / 0.0136'
        """
        return f"({lattice} - {round(self.a_at_24_nm - self.slope_nm * REFERENCE_TIN, 15)}) / {self.slope_nm}"

    @property
    def citation(self) -> str:
        """Which line it is, and where it comes from."""
        if self == PUBLISHED_SCALE:
            return f"{DEFAULT.citation}; {SECOND.citation}"
        return f"the laboratory's own line '{self.name}': {self.source}"

    def lattice(self, tin: float) -> float:
        """Lattice parameter of A15 with this tin fraction, nm."""
        return self.a_at_24_nm + self.slope_nm * (tin - REFERENCE_TIN)

    @property
    def pivot(self) -> float:
        """Tin fraction at which level and slope are known independently of each other."""
        (_, mixed), (_, slope) = self.covariance
        return REFERENCE_TIN - mixed / slope if slope > 0.0 else REFERENCE_TIN

    @property
    def u_slope_nm(self) -> float:
        """Standard uncertainty of the slope, nm."""
        return math.sqrt(self.covariance[1][1])

    def doubts(self, tin: float) -> dict[str, tuple[float, str]]:
        """Signed contributions of the scale to a tin fraction read from it, and their group, by source."""
        (level, mixed), (_, slope) = self.covariance
        at_pivot = level - (mixed * mixed / slope if slope > 0.0 else 0.0)
        return {
            LEVEL: (math.sqrt(max(at_pivot, 0.0)) / self.slope_nm, self.name),
            SLOPE: ((self.pivot - tin) * self.u_slope_nm / self.slope_nm, self.name),
        }

    def u_level(self, tin: float = REFERENCE_TIN) -> float:
        """Standard uncertainty of a tin fraction by the scale alone."""
        return math.hypot(*(value for value, _ in self.doubts(tin).values()))


def _published() -> TinScale:
    """Scale of the line that is the default.

    The second line, through the same point at the pivot, reads the tin content that far off for each unit of distance
    from there; taken as the standard uncertainty of the slope.
    """
    away = REFERENCE_TIN - PIVOT_TIN
    variance = (DEFAULT.slope_nm * (1.0 - DEFAULT.slope_nm / SECOND.slope_nm)) ** 2
    return TinScale(
        "published",
        DEFAULT.intercept_nm + DEFAULT.slope_nm * REFERENCE_TIN,
        DEFAULT.slope_nm,
        ((U_LEVEL_NM**2 + away**2 * variance, away * variance), (away * variance, variance)),
        f"{DEFAULT.source}, {DEFAULT.equation}",
    )


PUBLISHED_SCALE = _published()
"""The published line through measured samples; its doubts are the disagreement of laboratories and the second line."""
