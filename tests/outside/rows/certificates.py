"""Bragg angles and lattice parameters of certified powders."""

from functools import cache
from typing import Literal

import numpy as np

from tests.outside.rows import Row
from xrdorder.crystals import inverse_d_squared, phase, reflections, standard, structure_factor_squared
from xrdorder.xrays import radiation

_SILICON = "NBS Monograph 25, section 13 (1976): SRM 640, a = 0.543088 nm, wavelength 0.15405981 nm"
SILICON_640 = {
    "111": 28.443,
    "220": 47.303,
    "311": 56.123,
    "400": 69.131,
    "331": 76.377,
    "422": 88.032,
    "511": 94.954,
    "440": 106.710,
    "531": 114.094,
    "620": 127.547,
    "533": 136.897,
}
_LAB6 = "certificate of SRM 660a, Cu K-alpha1, a = 0.41569162 nm"
_LAB6_660A = {
    "100": 21.3578,
    "110": 30.3846,
    "111": 37.4421,
    "200": 43.5064,
    "210": 48.9575,
    "211": 53.9887,
    "220": 63.2187,
    "300": 67.5480,
    "310": 71.7456,
    "311": 75.8445,
    "222": 79.8702,
}

CERTIFICATES: dict[str, tuple[Literal["read", "secondary", "from memory"], str]] = {
    "srm-640a": ("from memory", "0.5430825"),
    "srm-640b": ("from memory", "0.5430940"),
    "srm-640c": ("secondary", "0.54311946"),
    "srm-640d": ("secondary", "0.543123"),
    "srm-640e": ("from memory", "0.5431179"),
    "srm-640f": ("from memory", "0.5431144"),
    "srm-660a": ("from memory", "0.41569162"),
    "srm-660b": ("from memory", "0.415691"),
    "srm-660c": ("read", "0.4156826"),
}
"""Lattice parameters as printed, nm."""


@cache
def angles(name: str, length_nm: float, wavelength_nm: float) -> dict[str, float]:
    """2θ of all lines that have intensity, degree."""
    p = phase(name)
    hkl = reflections(p.space_group, p.system, [length_nm], p.angles_deg, 0.5001 * wavelength_nm).hkl
    inverse, _ = inverse_d_squared(p.system, hkl, [length_nm])
    strong = structure_factor_squared(p, hkl, 0.5 * np.sqrt(inverse), 8047.8) > 1e-6
    two_theta = 2 * np.degrees(np.arcsin(0.5 * wavelength_nm * np.sqrt(inverse)))
    return {"".join(map(str, h)): float(x) for h, x in zip(hkl[strong], two_theta[strong], strict=True)}


def silicon() -> dict[str, float]:
    """Lines of silicon as the monograph measured it."""
    return angles("si", 0.543088, 0.15405981)


def lanthanum_hexaboride() -> dict[str, float]:
    """Lines of the certified hexaboride."""
    return angles("lab6", standard("srm-660a").lengths_nm[0], radiation("cu-ka1").wavelength_nm)


ROWS = [
    *(
        Row(
            f"2 theta of silicon {hkl}",
            "degree",
            lambda hkl=hkl: silicon()[hkl],
            value,
            0.001,
            "printed to 0.001 degree",
            _SILICON,
            "from memory",
        )
        for hkl, value in SILICON_640.items()
    ),
    *(
        Row(
            f"2 theta of LaB6 {hkl}",
            "degree",
            lambda hkl=hkl: lanthanum_hexaboride()[hkl],
            value,
            0.001,
            "7 ppm at the highest angles, beyond what memory of the certificate's conventions settles",
            _LAB6,
            "from memory",
        )
        for hkl, value in _LAB6_660A.items()
    ),
    *(
        Row(
            f"lattice parameter of {name.replace('srm-', 'SRM ')}",
            "nm",
            lambda name=name: standard(name).lengths_nm[0],
            float(printed),
            0.5 * 10.0 ** -len(printed.partition(".")[2]),
            "all printed digits",
            f"certificate of SRM {name[4:]}",
            known,
            "transcription",
        )
        for name, (known, printed) in CERTIFICATES.items()
    ),
    Row(
        "wavelength of Cu K-alpha1",
        "nm",
        lambda: radiation("cu-ka1").wavelength_nm,
        0.15405929,
        1e-7,
        "0.15405929(5) nm as printed on certificates; ours is the top of the line, which fits place to parts in 1e6",
        "certificates of SRM 640e and 660c",
        "from memory",
        "shared input",
    ),
]
