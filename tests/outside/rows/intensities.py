"""Intensities and structure factors."""

from functools import cache

import gemmi
import numpy as np
from ase.spacegroup import crystal

from tests.outside.rows import Row
from xrdorder.crystals import (
    A15Composition,
    Phase,
    doped,
    inverse_d_squared,
    phase,
    reflections,
    structure_factor_squared,
)
from xrdorder.crystals.unit_cell import all_lengths
from xrdorder.xrays import GEMMI_TABLE, lorentz_polarisation, radiation, scattering_factor

_CULLITY = "B. D. Cullity, Elements of X-Ray Diffraction, 2nd ed. (1978), chapter 4 and appendix"
#: |F|², multiplicity, Lorentz-polarisation factor, intensity / 1e5 of copper powder with Cu Kα.
_COPPER = {
    "111": (7810, 8, 12.03, 7.52),
    "200": (6990, 6, 8.50, 3.56),
    "220": (4520, 12, 3.70, 2.01),
    "311": (3500, 24, 2.83, 2.38),
    "222": (3230, 8, 2.74, 0.71),
    "400": (2500, 6, 3.18, 0.48),
    "331": (2120, 24, 4.81, 2.45),
    "420": (1970, 24, 6.15, 2.91),
}

#: Powder intensities of Nb3Sn for full order, beta 0.25, B = 0.005 nm², Cu Kα, relative to (210) = 100.
_POWDER = {
    "110": 3.1,
    "200": 44.7,
    "211": 97.3,
    "220": 0.48,
    "310": 0.67,
    "222": 5.7,
    "320": 20.0,
    "321": 45.3,
    "400": 15.6,
    "420": 12.0,
    "421": 17.3,
    "332": 10.4,
}
_ORDER_LINES = {"110", "220", "310"}
#: 2θ with the mean wavelength 0.154184 nm, degree.
_TWO_THETA = {
    "110": 23.792,
    "200": 33.898,
    "210": 38.043,
    "211": 41.836,
    "220": 48.695,
    "310": 54.894,
    "222": 60.653,
    "320": 63.409,
    "321": 66.101,
    "400": 71.329,
    "411": 76.399,
    "420": 81.363,
}
_APART = "calculated apart from this package for these tests, with other tables of dispersion"


class FormFactorsOnly:
    """The handbook's example leaves dispersion and thermal motion out."""

    name = "f0 only"

    def f0(self, element: str, s_per_nm: np.ndarray) -> np.ndarray:
        """Form factor."""
        return GEMMI_TABLE.f0(element, s_per_nm)

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        """None."""
        return 0.0, 0.0


@cache
def copper() -> dict[str, tuple[float, float, float, float]]:
    """|F|², multiplicity, Lorentz-polarisation, intensity / 1e5 by our code, by index."""
    p = phase("cu")
    wavelength, length = 0.1542, 0.3615
    found = reflections(p.space_group, p.system, [length], p.angles_deg, 0.08)
    s = 0.5 * np.sqrt(inverse_d_squared(p.system, found.hkl, [length])[0])
    f_squared = structure_factor_squared(p, found.hkl, s, 8047.8, FormFactorsOnly(), b_iso_nm2=[0.0])
    factor = lorentz_polarisation(2 * np.degrees(np.arcsin(wavelength * s)))
    table = zip(
        found.hkl,
        f_squared,
        found.multiplicity,
        factor,
        f_squared * found.multiplicity * factor / 1e5,
        strict=True,
    )
    return {"".join(map(str, h)): (float(f), float(m), float(lp), float(i)) for h, f, m, lp, i in table}


@cache
def powder(p: Phase) -> tuple[dict[str, float], dict[str, float]]:
    """Intensities of Nb3Sn relative to (210) = 100, and 2θ, by index; a = 0.5289 nm, mean wavelength 0.154184 nm."""
    found = reflections(p.space_group, p.system, [0.5289], p.angles_deg, 0.11)
    s = 0.5 * np.sqrt(inverse_d_squared(p.system, found.hkl, [0.5289])[0])
    two_theta = 2 * np.degrees(np.arcsin(0.154184 * s))
    strength = structure_factor_squared(
        p, found.hkl, s, radiation("cu-ka1").energy_ev, b_iso_nm2=[0.005, 0.005]
    )
    strength *= found.multiplicity * lorentz_polarisation(two_theta)
    names = ["".join(map(str, h)) for h in found.hkl]
    strength *= 100 / strength[names.index("210")]
    return dict(zip(names, strength.tolist(), strict=True)), dict(zip(names, two_theta.tolist(), strict=True))


def order_line_at_rest(name: str) -> float:
    """|F(110)|² of the ordered crystal without thermal motion."""
    s = [np.sqrt(2) / (2 * 0.5289)]
    found = structure_factor_squared(
        phase("nb3sn"), [[1, 1, 0]], s, radiation(name).energy_ev, b_iso_nm2=[0.0, 0.0]
    )
    return float(found[0])


class WithoutAbsorption:
    """The table of the package with f'' = 0, as gemmi calculates."""

    name = "GEMMI_TABLE with f'' = 0"

    def f0(self, element: str, s_per_nm: np.ndarray) -> np.ndarray:
        """Form factor."""
        return GEMMI_TABLE.f0(element, s_per_nm)

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        """f' alone."""
        return GEMMI_TABLE.anomalous(element, energy_ev)[0], 0.0


def lines_of(p: Phase) -> tuple[np.ndarray, np.ndarray]:
    """Indices of the lines with d above 0.085 nm, and sin(theta) over lambda."""
    hkl = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, 0.085).hkl
    return hkl, 0.5 * np.sqrt(inverse_d_squared(p.system, hkl, p.lengths_nm, p.angles_deg)[0])


def full_lengths(p: Phase) -> tuple[float, ...]:
    """a, b, c of the cell, nm."""
    return tuple(float(x) for x in all_lengths(p.system, p.lengths_nm))


def cif_of(p: Phase) -> str:
    """Write a phase as a CIF text for other people's readers."""
    text = "data_x\n" + "".join(
        f"_cell_length_{axis} {10 * x:.6f}\n" for axis, x in zip("abc", full_lengths(p), strict=True)
    )
    names = ("alpha", "beta", "gamma")
    text += "".join(f"_cell_angle_{name} {x}\n" for name, x in zip(names, p.angles_deg, strict=True))
    text += f"_space_group_name_H-M_alt '{p.space_group}'\nloop_\n"
    keys = ("label", "type_symbol", "fract_x", "fract_y", "fract_z", "occupancy", "B_iso_or_equiv")
    text += "".join(f"_atom_site_{key}\n" for key in keys)
    for site in p.sites:
        x, y, z = site.positions[0]
        for element, share in site.occupancy.items():
            if share:
                b = 100 * site.b_iso_nm2
                text += f"{site.label}{element} {element} {x:.9f} {y:.9f} {z:.9f} {share:.9f} {b:.6f}\n"
    return text


def largest_departure_from_gemmi(p: Phase, energy_ev: float = 8047.8) -> float:
    """Largest relative difference of |F| from gemmi's, over lines with |F| above a hundredth of the largest."""
    structure = gemmi.make_small_structure_from_block(gemmi.cif.read_string(cif_of(p)).sole_block())
    structure.change_occupancies_to_crystallographic()
    calculator = gemmi.StructureFactorCalculatorX(structure.cell)
    for element in p.atoms_per_cell():
        calculator.addends.set(gemmi.Element(element), GEMMI_TABLE.anomalous(element, energy_ev)[0])
    hkl, s = lines_of(p)
    theirs = np.array(
        [abs(calculator.calculate_sf_from_small_structure(structure, list(map(int, h)))) for h in hkl]
    )
    ours = np.sqrt(structure_factor_squared(p, hkl, s, energy_ev, WithoutAbsorption()))
    seen = theirs > 0.01 * theirs.max()
    return float(np.max(np.abs(ours[seen] / theirs[seen] - 1.0)))


@cache
def departures_from_ase(name: str) -> tuple[float, float]:
    """Largest relative differences of d and |F| from a sum over the atoms that ase puts into the cell.

    Atoms come from its own tables of space groups, spacings from its reciprocal cell; form factors are ours, at rest.
    """
    p = phase(name)
    number, setting = (
        gemmi.find_spacegroup_by_name(p.space_group).number,
        2 if p.space_group.endswith(":2") else 1,
    )
    lengths = full_lengths(p)
    basis = [
        (site.positions[0], element, share)
        for site in p.sites
        for element, share in site.occupancy.items()
        if share
    ]
    hkl, s = lines_of(p)
    total = np.zeros(
        (2, len(hkl)), dtype=complex
    )  # of both Friedel mates, which lie on each other in a powder
    for position, element, share in basis:
        cell = crystal(
            element, [position], spacegroup=number, setting=setting,
            cellpar=[*(10.0 * length for length in lengths), *p.angles_deg],
        )  # fmt: skip
        waves = np.exp(2j * np.pi * (hkl @ cell.get_scaled_positions().T)).sum(axis=1)
        total += share * np.stack([waves, waves.conj()]) * scattering_factor(element, s, 8047.8)
    theirs = np.sqrt(np.mean(np.abs(total) ** 2, axis=0))
    spacing = 0.1 / np.linalg.norm(hkl @ cell.cell.reciprocal(), axis=1)
    ours = np.sqrt(structure_factor_squared(p, hkl, s, 8047.8, b_iso_nm2=[0.0] * len(p.sites)))
    seen = theirs > 0.01 * theirs.max()
    return float(np.max(np.abs(2.0 * s * spacing - 1.0))), float(
        np.max(np.abs(ours[seen] / theirs[seen] - 1.0))
    )


CATALOGUE = [
    "nb3sn",
    "nb",
    "ta",
    "cu",
    "cu-sn",
    "cu3sn",
    "cu6sn5",
    "cu6sn5-hex",
    "nbsn2",
    "sn",
    "nbo",
    "sno2",
    "sic",
    "sic-3c",
    "corundum",
    "si",
    "lab6",
]
DISORDERED = {
    "nb3sn partly ordered": doped(phase("nb3sn"), A15Composition(0.235, 0.86)),
    "nb3sn with tantalum and titanium": doped(phase("nb3sn"), A15Composition(0.24, 0.9, {"Ta": 0.026, "Ti": 0.0135})),
}

ROWS = [
    *(
        Row(
            f"Lorentz-polarisation factor at theta {theta:g} degrees",
            "",
            lambda t=theta: lorentz_polarisation(2 * t),
            value,
            5e-4 * value,
            "printed digits",
            _CULLITY,
            "from memory",
        )
        for theta, value in ((20.0, 14.44), (45.0, 2.828))
    ),
    *(
        Row(
            f"|F|² of copper {hkl}",
            "",
            lambda hkl=hkl: copper()[hkl][0],
            values[0],
            0.02 * values[0],
            "the handbook's form factors have three digits and are older: 1 % in f",
            _CULLITY,
            "from memory",
        )
        for hkl, values in _COPPER.items()
    ),
    *(
        Row(
            f"powder intensity of copper {hkl} over 1e5",
            "",
            lambda hkl=hkl: copper()[hkl][3],
            values[3],
            0.025 * values[3],
            "form factors, and factors looked up at angles rounded to 0.1 degree",
            _CULLITY,
            "from memory",
        )
        for hkl, values in _COPPER.items()
    ),
    *(
        Row(
            f"multiplicity of copper {hkl}",
            "",
            lambda hkl=hkl: copper()[hkl][1],
            values[1],
            0.1,
            "whole numbers",
            _CULLITY,
            "from memory",
        )
        for hkl, values in _COPPER.items()
    ),
    *(
        Row(
            f"powder intensity of Nb3Sn {hkl} for 210 = 100",
            "",
            lambda hkl=hkl: powder(phase("nb3sn"))[0][hkl],
            value,
            (0.08 if hkl in _ORDER_LINES else 0.02) * value,
            "order lines go with (f_Sn - f_Nb)², where tables of dispersion differ by 3 to 6 %"
            if hkl in _ORDER_LINES
            else "tables of dispersion, and rounding of the printed value",
            _APART,
            "computed",
        )
        for hkl, value in _POWDER.items()
    ),
    *(
        Row(
            f"2 theta of Nb3Sn {hkl}, a = 0.5289 nm",
            "degree",
            lambda hkl=hkl: powder(phase("nb3sn"))[1][hkl],
            value,
            0.0015,
            "printed to 0.001 degree",
            _APART,
            "computed",
        )
        for hkl, value in _TWO_THETA.items()
    ),
    *(
        Row(
            f"|F(110)|² of Nb3Sn at rest, {name}",
            "",
            lambda name=name: order_line_at_rest(name),
            value,
            1.0,
            "printed without decimals; other tables give 330-340 and 398-404",
            _APART,
            "computed",
            "shared input",
        )
        for name, value in (("cu-ka1", 337.0), ("mo-ka1", 400.0))
    ),
    *(
        Row(
            f"largest departure of |F| of {name} over its lines",
            "",
            lambda p=p: largest_departure_from_gemmi(p),
            0.0,
            1e-5,
            "coordinates and B pass through text of 6 to 9 digits, and gemmi holds form factors in single precision",
            "gemmi, its structure-factor code with the same form factors",
            "computed",
            "shared input",
        )
        for name, p in {**{name: phase(name) for name in CATALOGUE}, **DISORDERED}.items()
    ),
    *(
        Row(
            f"largest relative departure of {what} of {name} over its lines, atoms and cell by ase",
            "",
            lambda name=name, k=k: departures_from_ase(name)[k],
            0.0,
            tolerance,
            reason,
            "ase (atomic simulation environment), its space groups and cells",
            "computed",
            kind,
        )
        for name in CATALOGUE
        for k, what, tolerance, reason, kind in (
            (0, "d", 1e-9, "the same cell", "independent"),
            (1, "|F|", 1e-9, "rounding of special positions", "shared input"),
        )
    ),
]
