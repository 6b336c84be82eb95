"""Laws of Tc and Bc2 against arbitrary precision and printed points."""

import mpmath
import numpy as np

from tests.outside.rows import Row
from xrdorder.relations import relation
from xrdorder.relations.bc2_of_temperature import reduced_field

_MAKI = "implicit equation of K. Maki and P. G. de Gennes, solved by mpmath with 30 digits"
_G06B = "A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100"
_WHH = "N. R. Werthamer, E. Helfand, P. C. Hohenberg, Phys. Rev. 147 (1966) 295: 0.693 in the dirty limit"


def reduced_field_by_mpmath(t: float) -> float:
    """Bc2(T) / Bc2(0), from ln t = psi(1/2) - psi(1/2 + x)."""
    with mpmath.workdps(30):
        half = mpmath.digamma(mpmath.mpf(1) / 2)
        x = mpmath.findroot(
            lambda x: mpmath.log(t) - half + mpmath.digamma(mpmath.mpf(1) / 2 + x),
            (0.01, 2.0 / t),
            solver="anderson",
        )
        return float(t * x / mpmath.exp(half))


def slope_constant() -> float:
    """Bc2(0) over Tc times the slope at Tc, from our curve."""
    step = 1e-6
    return step / float(reduced_field(np.array(1.0 - step)))


ROWS = [
    *(
        Row(
            f"Bc2 over Bc2(0) at T/Tc = {t:g}",
            "",
            lambda t=t: float(reduced_field(np.array(t))),
            lambda t=t: reduced_field_by_mpmath(t),
            1e-10,
            "five steps of Newton reach 1e-14",
            _MAKI,
            "computed",
        )
        for t in (0.05, 0.233, 0.5, 0.75, 0.95)
    ),
    Row(
        "Bc2(0) over Tc |dBc2/dT| in the dirty limit",
        "",
        slope_constant,
        lambda: float(mpmath.pi**2 / 2 * mpmath.exp(mpmath.digamma(0.5))),
        1e-5,
        "slope over a step of 1e-6",
        _WHH,
        "computed",
    ),
    *(
        Row(
            f"{name} at intrinsic strain {100 * strain:g} %",
            "",
            lambda n=name, e=strain: float(relation(n)(e)),
            value,
            6e-4,
            "worked out apart to three digits",
            source,
            "computed",
            "shared input",
        )
        for name, source, values in (
            (
                "godeke-2006-deviatoric",
                f"{_G06B}, eq. (22) with the constants of its bronze C",
                (0.991, 0.968, 0.935, 0.858),
            ),
            (
                "ekin-1980-power-law",
                "J. W. Ekin, Cryogenics 20 (1980) 611: 1 - 900 |strain|^1.7",
                (0.993, 0.977, 0.954, 0.890),
            ),
        )
        for strain, value in zip((-0.001, -0.002, -0.003, -0.005), values, strict=True)
    ),
]
