"""How deep the tin content was seen: X-rays are absorbed, and a graded grain or layer is not the same all through."""

from __future__ import annotations

import math

from xrdorder.material.material import Material
from xrdorder.material.specimen import Specimen
from xrdorder.relations.tin_from_lattice import DEFAULT
from xrdorder.xrays import Radiation, linear_attenuation_per_nm
from xrdorder.xrays.attenuation import mean_depth

SEEN_WHOLE = ("ground-powder", "transmission")
"""Mounts in which depth is no weight: grinding mixes rim and core, transmission goes through."""

USUAL_RANGE_DEG = (20.0, 120.0)
"""Range of a pattern that nobody stated, degrees 2 theta (common practice, no source)."""

_A15_NM = DEFAULT.inputs[0].usual


def remark_on_depth(
    derived: Material,
    specimen: Specimen,
    radiation: Radiation,
    two_theta_range: tuple[float, float] | None = None,
) -> None:
    """Say over which depth the tin content is a mean, unless the specimen was ground; not knowing is an assumption."""
    if specimen.mount in SEEN_WHOLE:
        return
    low, high = USUAL_RANGE_DEG if two_theta_range is None else two_theta_range
    a = derived.values["a_nm"] if derived.given("a_nm") else _A15_NM
    lines = order_lines(a, radiation.wavelength_nm, low, high)
    if not lines:
        return
    tin = derived.values["tin_fraction_lattice"] if derived.given("tin_fraction_lattice") else 0.25
    per_um = 1e3 * attenuation_of_a15(a, tin, specimen, radiation)
    first, last = (
        f"{mean_depth(math.sin(math.radians(line / 2.0)), per_um):.1f} µm at the {word} order line ({line:.0f}°)"
        for word, line in (("first", lines[0]), ("last", lines[-1]))
    )
    seen = f"mean depth seen {first}, {last}"
    if specimen.mount == "":
        derived.assumptions.append(f"a specimen alike at all depths, as no mount was given ({seen})")
    else:
        derived.flag(
            "rim-weighted",
            f"mounted as {specimen.mount}: tin, order and amounts are means weighted toward the surface, "
            f"{seen}; where tin changes inward, grind",
        )


def attenuation_of_a15(a_nm: float, tin_fraction: float, specimen: Specimen, radiation: Radiation) -> float:
    """Linear attenuation of the A15 in 1/nm: eight atoms a cell, dopants counted as declared, no voids."""
    atoms = {"Sn": 8.0 * tin_fraction}
    atoms |= {element: 8.0 * specimen.content(element)[0] for element in specimen.dopants}
    atoms["Nb"] = 8.0 - sum(atoms.values())
    return linear_attenuation_per_nm(atoms, a_nm**3, radiation.energy_ev)


def order_lines(a_nm: float, wavelength_nm: float, low_deg: float, high_deg: float) -> list[float]:
    """Angles 2 theta in a range of the A15 lines that only the contrast of the two sublattices makes, degrees.

    Their structure factor is 2 (f_2a - f_6c): sums of squares h² + k² + l² of 2 modulo 8, or of 8 modulo 16.

    >>> [round(angle, 1) for angle in order_lines(0.5288, 0.15406, 20.0, 60.0)]
    [23.8, 48.7, 54.9]
    """
    angles = []
    for n in range(2, int((2.0 * a_nm / wavelength_nm) ** 2) + 1):
        if n % 8 == 2 or n % 16 == 8:
            angle = 2.0 * math.degrees(math.asin(min(0.5 * wavelength_nm * math.sqrt(n) / a_nm, 1.0)))
            if low_deg <= angle <= high_deg:
                angles.append(angle)
    return angles
