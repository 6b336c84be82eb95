"""Densities, spacings and worked examples of handbooks."""

import math

from tests.outside.rows import Row
from xrdorder.crystals import inverse_d_squared, phase, standard
from xrdorder.profiles.width_terms import lorentz_sec_from_size, size_from_lorentz_sec, voigt_breadth

_CRC = "CRC Handbook of Chemistry and Physics, physical constants of inorganic compounds and of the elements"
_DENSITIES = {
    "cu": ("copper", 8.96),
    "nb": ("niobium", 8.57),
    "ta": ("tantalum", 16.65),
    "si": ("silicon", 2.329),
    "sn": ("white tin", 7.287),
    "corundum": ("corundum", 3.987),
    "sic-3c": ("cubic silicon carbide", 3.21),
    "sno2": ("tin dioxide", 6.95),
    "nbo": ("niobium monoxide", 7.30),
    "lab6": ("lanthanum hexaboride", 4.72),
}


def spacing_of(name: str, hkl: tuple[int, int, int], lengths: tuple[float, ...]) -> float:
    """Spacing d of a line, nm."""
    p = phase(name)
    return 1.0 / math.sqrt(float(inverse_d_squared(p.system, [hkl], lengths, p.angles_deg)[0][0]))


def breadth_of_a_size(size_nm: float, wavelength_nm: float, theta_deg: float) -> float:
    """Integral breadth in radians that a domain size gives by our coefficient."""
    width = lorentz_sec_from_size(size_nm, wavelength_nm) / math.cos(math.radians(theta_deg))
    return math.radians(voigt_breadth(width, 0.0))


ROWS = [
    *(
        Row(
            f"density of {name}",
            "g/cm³",
            lambda key=key: phase(key).density_g_cm3(),
            value,
            0.01 * value,
            "crystal against bulk: voids, purity and rounding of handbooks, up to 1 %",
            _CRC,
            "from memory",
        )
        for key, (name, value) in _DENSITIES.items()
    ),
    Row(
        "spacing of silicon 111",
        "nm",
        lambda: spacing_of("si", (1, 1, 1), (0.5431020,)),
        0.3135601,
        1e-6,
        "0.3135601 nm as tabulated, printed to 0.1 pm",
        "CODATA: silicon, a = 543.102 pm, d(220) = 192.0156 pm",
        "from memory",
    ),
    Row(
        "spacing of silicon 220",
        "nm",
        lambda: spacing_of("si", (2, 2, 0), (0.543102051,)),
        0.192015571,
        1e-8,
        "printed digits",
        "CODATA 2014/2018: d(220) of silicon 192.015 571 4 pm",
        "from memory",
    ),
    Row(
        "spacing of corundum 012",
        "nm",
        lambda: spacing_of("corundum", (0, 1, 2), standard("srm-676a").lengths_nm),
        0.34797,
        5e-5,
        "three tabulated digits agree between collections to 1e-4",
        "powder reference patterns of alpha-alumina, 012 at 0.3480 nm",
        "from memory",
    ),
    Row(
        "integral breadth of 50 nm domains, wavelength 0.15 nm, theta 49 degrees",
        "rad",
        lambda: breadth_of_a_size(50.0, 0.15, 49.0),
        4.1e-3 / 0.9,
        1e-4,
        "4.1e-3 rad printed with K = 0.9; ours is K = 1, two digits",
        "B. D. Cullity, Elements of X-Ray Diffraction, 2nd ed. (1978), section 3-7",
        "from memory",
    ),
    Row(
        "size back from its width",
        "nm",
        lambda: size_from_lorentz_sec(lorentz_sec_from_size(137.0, 0.154), 0.154),
        137.0,
        1e-9,
        "inverse of each other",
        "P. Scherrer's equation, there and back",
        "computed",
        "shared input",
    ),
]
