"""Densities, spacings and worked examples of handbooks."""

import math
from functools import cache

import numpy as np

from tests.outside.rows import Row
from tests.outside.rows.certificates import SILICON_640
from xrdorder.crystals import inverse_d_squared, phase, standard
from xrdorder.fitting.from_lines import at_back_reflection, nelson_riley_function
from xrdorder.material.widths import rms_strain
from xrdorder.profiles.width_terms import (
    lorentz_basis,
    lorentz_sec_from_size,
    size_from_lorentz_sec,
    voigt_breadth,
)

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


@cache
def cell_of_silicon() -> tuple[float, float]:
    """Lattice parameter from the printed angles of silicon, extrapolated, with its standard uncertainty, nm."""
    hkl = np.array([[int(i) for i in name] for name in SILICON_640])
    theta = np.radians(0.5 * np.array(list(SILICON_640.values())))
    apparent = 0.15405981 * np.linalg.norm(hkl, axis=1) / (2.0 * np.sin(theta))
    # angles printed to 0.001 degree
    u = apparent / np.tan(theta) * math.radians(0.0005 / math.sqrt(12.0))
    return at_back_reflection(theta, apparent, u)[:2]


def williamson_hall(size_nm: float, strain: float, wavelength_nm: float = 0.154) -> tuple[float, float]:
    """Level and slope of (breadth of our lines) cos(theta) over sin(theta), from sizes and strains by our formulas."""
    sec = lorentz_sec_from_size(size_nm, wavelength_nm)
    tan = strain / rms_strain(1.0, 0.0)[0]  # the full width whose strain this is
    theta = np.radians([15.0, 30.0, 45.0, 60.0])
    basis = lorentz_basis(theta)
    widths = sec * basis["lorentz_sec"] + tan * basis["lorentz_tan"]
    breadths = [math.radians(voigt_breadth(float(width), 0.0)) for width in widths]
    slope, level = np.polyfit(np.sin(theta), breadths * np.cos(theta), 1)
    return float(level), float(slope)


_NELSON_RILEY = {20.0: 2.556, 30.0: 1.466, 45.0: 0.672, 60.0: 0.264, 75.0: 0.060}
_NELSON = "J. B. Nelson, D. P. Riley, Proc. Phys. Soc. 57 (1945) 160; values worked out apart"
_WILLIAMSON = "G. K. Williamson, W. H. Hall, Acta Metall. 1 (1953) 22: breadth cos(theta) = lambda / L + 4 e sin(theta)"

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
    *(
        Row(
            f"extrapolation function of Nelson and Riley at theta {theta:g} degrees",
            "",
            lambda t=theta: float(nelson_riley_function(np.radians(np.array([t])))[0]),
            value,
            6e-4,
            "worked out to three decimals",
            _NELSON,
            "computed",
        )
        for theta, value in _NELSON_RILEY.items()
    ),
    Row(
        "cell of silicon from its eleven printed angles, extrapolated",
        "nm",
        lambda: cell_of_silicon()[0],
        0.543088,
        2e-6,
        "angles to 0.001 degree: 1e-6 nm of the extrapolated value, twice",
        "NBS Monograph 25, section 13 (1976): SRM 640, a = 0.543088 nm",
        "from memory",
    ),
    Row(
        "level of Williamson and Hall's line, domains of 100 nm, wavelength 0.154 nm",
        "rad",
        lambda: williamson_hall(100.0, 0.0)[0],
        0.154 / 100.0,
        1e-9,
        "the law itself",
        _WILLIAMSON,
        "computed",
    ),
    Row(
        "slope of Williamson and Hall's line, Lorentzian strain of 0.1 % (root mean square of the Gaussian as wide)",
        "rad",
        lambda: williamson_hall(100.0, 0.001)[1],
        # e is the integral breadth of the strain over two: pi/2 of the full width, which is 2 root(2 ln 2) of the rms
        4.0 * 0.001 * (math.pi / 2.0) * math.sqrt(2.0 * math.log(2.0)),
        1e-6,
        "widths of Gaussian, Lorentzian and Voigt lines by formulas good to 2e-4",
        _WILLIAMSON,
        "computed",
    ),
]
