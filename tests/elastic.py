"""Elastic averages of a cubic polycrystal from the constants of its single crystal.

Voigt (equal strain of all grains) and Reuss (equal stress) are bounds, their mean is Hill's: R. Hill, Proc. Phys. Soc.
A 65 (1952) 349; formulas for cubic crystals from memory, checked against handbook values of copper and against
measured moduli of Nb3Sn.
"""

from __future__ import annotations

from dataclasses import dataclass

from xrdorder.exceptions import ValidityError

NB3SN_STIFFNESS_GPA = (254.0, 112.0, 40.0)
"""C11, C12, C44 of Nb3Sn at 300 K: K. R. Keller, J. J. Hanak, Phys. Rev. 154 (1967) 628, from memory."""


@dataclass(frozen=True)
class ElasticAverages:
    """Moduli of a polycrystal without texture, GPa.

    Attributes
    ----------
    bulk : float
    shear_voigt, shear_reuss : float
        Bounds of the shear modulus.
    """

    bulk: float
    shear_voigt: float
    shear_reuss: float

    @property
    def shear(self) -> float:
        """Mean of the bounds (Hill)."""
        return 0.5 * (self.shear_voigt + self.shear_reuss)

    @property
    def young(self) -> float:
        """Young's modulus of the mean, GPa."""
        return self.young_of(self.shear)

    @property
    def poisson(self) -> float:
        """Poisson's ratio of the mean."""
        return (3.0 * self.bulk - 2.0 * self.shear) / (2.0 * (3.0 * self.bulk + self.shear))

    def young_of(self, shear: float) -> float:
        """Young's modulus that goes with a shear modulus, GPa."""
        return 9.0 * self.bulk * shear / (3.0 * self.bulk + shear)


def elastic_averages(c11: float, c12: float, c44: float) -> ElasticAverages:
    """Average the elastic constants of a cubic crystal over all orientations.

    Parameters
    ----------
    c11, c12, c44 : float
        Stiffnesses, GPa.

    Raises
    ------
    ValidityError
        No crystal with these constants would be stable.

    Examples
    --------
    >>> nb3sn = elastic_averages(*NB3SN_STIFFNESS_GPA)
    >>> print(f"{nb3sn.bulk:.0f} {nb3sn.shear_voigt:.1f} {nb3sn.shear_reuss:.1f} {nb3sn.young:.0f} {nb3sn.poisson:.3f}")
    159 52.4 48.5 137 0.357
    """
    _check(c11, c12, c44)
    difference = c11 - c12
    return ElasticAverages(
        (c11 + 2.0 * c12) / 3.0,
        (difference + 3.0 * c44) / 5.0,
        5.0 * difference * c44 / (4.0 * c44 + 3.0 * difference),
    )


def young_along(hkl: tuple[int, int, int], c11: float, c12: float, c44: float) -> float:
    """Young's modulus of the single crystal along a direction, GPa.

    1/E = s11 - 2 (s11 - s12 - s44/2) (h²k² + k²l² + l²h²)/(h² + k² + l²)² (J. F. Nye, Physical Properties of Crystals,
    from memory). Lines of stiff directions move less than those of soft ones when the wire is strained.

    Examples
    --------
    >>> [round(young_along(hkl, *NB3SN_STIFFNESS_GPA)) for hkl in ((1, 0, 0), (1, 1, 0), (1, 1, 1))]
    [185, 123, 111]
    """
    _check(c11, c12, c44)
    h, k, m = (float(index) ** 2 for index in hkl)
    if h + k + m == 0.0:
        raise ValidityError("direction (0 0 0) is none; give indices that are not all zero")
    determinant = (c11 - c12) * (c11 + 2.0 * c12)
    s11, s12, s44 = (c11 + c12) / determinant, -c12 / determinant, 1.0 / c44
    gamma = (h * k + k * m + m * h) / (h + k + m) ** 2
    return 1.0 / (s11 - 2.0 * (s11 - s12 - 0.5 * s44) * gamma)


def _check(c11: float, c12: float, c44: float) -> None:
    if not (c44 > 0.0 and c11 > abs(c12) and c11 + 2.0 * c12 > 0.0):
        raise ValidityError(
            f"elastic constants {c11}, {c12}, {c44} GPa: a stable cubic crystal has C44 > 0, C11 > |C12| and "
            "C11 + 2 C12 > 0"
        )
