"""Phases of the catalogue and of user files; every mistake told in one line."""

import re
from pathlib import Path

import gemmi
import numpy as np
import pytest

from xrdorder.crystals import (
    Order,
    inverse_d_squared,
    phase,
    phase_names,
    reflections,
    site_scattering,
    structure_factor_squared,
)
from xrdorder.crystals.symmetry import distances_nm
from xrdorder.crystals.unit_cell import all_lengths
from xrdorder.exceptions import PhaseError, UnknownNameError
from xrdorder.xrays import lorentz_polarisation, radiation

# Handbook lattices and usual displacement parameters, from memory: it is the reading that is tried.
HALITE = """
title = "Halite, NaCl"
space_group = "F m -3 m"
lengths_nm = { a = 0.5640 }

[[sites]]
label = "Na"
position = [0, 0, 0]
occupancy = { Na = 1.0 }
b_iso_nm2 = 0.016

[[sites]]
label = "Cl"
position = ["1/2", "1/2", "1/2"]
occupancy = { Cl = 1.0 }
"""

SYLVITE_CIF = """data_sylvite
_cell_length_a 6.2931(4)
_cell_length_b 6.2931(4)
_cell_length_c 6.2931(4)
_cell_angle_alpha 90
_cell_angle_beta 90
_cell_angle_gamma 90
_space_group_name_H-M_alt 'F m -3 m'
loop_
_atom_site_label
_atom_site_type_symbol
_atom_site_fract_x
_atom_site_fract_y
_atom_site_fract_z
_atom_site_occupancy
_atom_site_U_iso_or_equiv
K1 K 0 0 0 1 0.0270
Cl1 Cl 0.5 0.5 0.5 1 0.0260
"""


def write(folder: Path, text: str, name: str = "halite.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_catalogue_has_what_reacted_wire_and_calibration_need() -> None:
    assert set(phase_names()) >= {
        "nb3sn", "nb", "ta", "cu", "cu-sn", "si", "lab6", "corundum",
        "sn", "cu3sn", "cu6sn5", "cu6sn5-hex", "nbsn2", "nb6sn5", "nbo", "nb2o5", "sno2", "sic", "sic-3c",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "atoms", "density"),
    [
        # g/cm3; handbook values from memory, except Nb3Sn (V. Guritanu et al., PRB 70 (2004) 184526: 8.91
        # at 0.5293 nm).
        ("nb3sn", {"Sn": 2, "Nb": 6}, 8.92),
        ("nb", {"Nb": 2}, 8.57),
        ("ta", {"Ta": 2}, 16.65),
        ("cu", {"Cu": 4}, 8.94),
        ("si", {"Si": 8}, 2.329),
        ("lab6", {"La": 1, "B": 6}, 4.71),
        ("corundum", {"Al": 12, "O": 18}, 3.99),
        ("sn", {"Sn": 4}, 7.29),
        ("sic", {"Si": 6, "C": 6}, 3.21),
        ("sic-3c", {"Si": 4, "C": 4}, 3.21),
        ("sno2", {"Sn": 2, "O": 4}, 6.99),
    ],
)
def test_atoms_and_density(name: str, atoms: dict[str, float], density: float) -> None:
    p = phase(name)
    assert p.atoms_per_cell() == pytest.approx(atoms)
    # 0.3 %: handbook densities are rounded or measured on less than perfect material.
    assert p.density_g_cm3() == pytest.approx(density, rel=3e-3)


@pytest.mark.parametrize(
    ("name", "density"), [("nbo", 7.30), ("cu3sn", 8.9), ("cu6sn5", 8.28), ("cu6sn5-hex", 8.28)]
)
def test_density_measured_on_cast_or_sintered_pieces(name: str, density: float) -> None:
    # g/cm3; handbook for NbO, R. J. Fields et al. (1991) for the others, from memory. 1.5 %: two digits, and pores.
    assert phase(name).density_g_cm3() == pytest.approx(density, rel=1.5e-2)


@pytest.mark.parametrize(
    ("name", "spacings"),
    [
        # The strongest lines of powder data files, nm, strongest first; from memory.
        ("sn", {"2 0 0": 0.2915, "1 0 1": 0.2793, "2 1 1": 0.2017}),
        ("sno2", {"1 1 0": 0.3347, "1 0 1": 0.2643, "2 1 1": 0.1764}),
        ("sic-3c", {"1 1 1": 0.2520, "2 2 0": 0.1541, "3 1 1": 0.1314}),
        ("nbo", {"1 1 1": 0.243, "2 0 0": 0.211}),
        ("cu6sn5-hex", {"1 0 1": 0.296, "1 1 0": 0.210, "1 0 2": 0.208}),
    ],
)
def test_strongest_lines_are_those_of_powder_data(name: str, spacings: dict[str, float]) -> None:
    p = phase(name)
    found = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, 0.125)
    inverse, _ = inverse_d_squared(p.system, found.hkl, p.lengths_nm, p.angles_deg)
    s = 0.5 * np.sqrt(inverse)
    light = radiation("cu-ka1")
    strength = found.multiplicity * structure_factor_squared(p, found.hkl, s, light.energy_ev)
    strength *= lorentz_polarisation(2.0 * np.degrees(np.arcsin(light.wavelength_nm * s)))
    order = np.argsort(-strength)[: len(spacings)]
    assert [" ".join(map(str, found.hkl[k])) for k in order] == list(spacings)
    # Half a percent: spacings of old cards, of two to four digits, on lattices of other specimens.
    np.testing.assert_allclose(0.5 / s[order], list(spacings.values()), rtol=5e-3)


@pytest.mark.parametrize(
    ("name", "shortest"),
    [
        # nm; sums of metallic or ionic radii from memory, and what the elements show: tin 0.302, copper 0.256.
        ("cu6sn5", 0.253), ("cu3sn", 0.266), ("nbsn2", 0.283), ("sic", 0.188), ("sic-3c", 0.188), ("nbo", 0.210),
        ("sno2", 0.204), ("sn", 0.302), ("cu6sn5-hex", 0.242),
    ],
)  # fmt: skip
def test_atoms_keep_their_distance(name: str, shortest: float) -> None:
    p = phase(name)
    cell = gemmi.UnitCell(*(10.0 * all_lengths(p.system, p.lengths_nm)), *p.angles_deg)
    atoms = np.concatenate([site.positions for site in p.sites])
    apart = distances_nm(atoms, atoms, cell)
    # Bonds lie up to 0.005 nm above the bound; a wrong coordinate brings atoms nearer by 0.01 nm or more.
    assert shortest < apart[np.triu_indices(len(atoms), 1)].min() < shortest + 0.005


@pytest.mark.parametrize("name", ["sic", "sic-3c"])
def test_every_carbon_has_silicon_at_the_bond_length(name: str) -> None:
    p = phase(name)
    cell = gemmi.UnitCell(*(10.0 * all_lengths(p.system, p.lengths_nm)), *p.angles_deg)
    silicon, carbon = (
        np.concatenate([site.positions for site in p.sites if element in site.occupancy])
        for element in ("Si", "C")
    )
    # Handbook bond, from memory; 0.3 % for the last digit of it and for layers that are not quite ideal.
    np.testing.assert_allclose(distances_nm(carbon, silicon, cell).min(axis=1), 0.1888, rtol=3e-3)


@pytest.mark.parametrize("name", phase_names())
def test_catalogue_entries_are_complete(name: str) -> None:
    p = phase(name)
    assert p.name == name
    assert p.source and p.title
    if p.thermal_expansion_per_k is not None:  # from silicon to tin
        assert 2e-6 < p.thermal_expansion_per_k < 2.5e-5
    for site in p.sites:
        assert site.b_iso_bounds_nm2[0] < site.b_iso_nm2 < site.b_iso_bounds_nm2[1]
        assert not site.positions.flags.writeable
    for length, low, high in zip(p.lengths_nm, p.lengths_low_nm, p.lengths_high_nm, strict=True):
        assert low < length < high


def test_a15_of_the_catalogue() -> None:
    p = phase("nb3sn")
    assert p.order == Order(("2a", "6c"), ("Sn", "Nb"))
    assert (p.lengths_low_nm[0], p.lengths_high_nm[0]) == pytest.approx((0.5289 * 0.99, 0.5289 * 1.01))
    # Chains along the axes: neighbours of one 6c position on its chain stand half a cell away.
    chain = p.site("6c").positions
    assert {tuple(x) for x in np.round(chain, 6)} == {
        (0.25, 0, 0.5), (0.75, 0, 0.5), (0.5, 0.25, 0), (0.5, 0.75, 0), (0, 0.5, 0.25), (0, 0.5, 0.75),
    }  # fmt: skip
    assert {site.b_iso_bounds_nm2 for site in p.sites} == {(0.002, 0.010)}


def test_bronze_is_looked_for_over_all_tin_contents() -> None:
    p = phase("cu-sn")
    assert (p.lengths_low_nm, p.lengths_high_nm) == ((0.3610,), (0.3715,))


def test_names_are_forgiving_and_unknown_is_told() -> None:
    assert phase(" Nb3Sn").name == "nb3sn"
    with pytest.raises(
        UnknownNameError, match=r"phase 'nb3ge' is not known; known are corundum, .*\.toml or \.cif"
    ):
        phase("nb3ge")
    with pytest.raises(PhaseError, match="no site '8x'"):
        phase("nb3sn").site("8x")
    with pytest.raises(PhaseError, match="no site '8x'"):
        phase("nb3sn").with_occupancies({"8x": {"Nb": 1.0}})


def test_user_toml(tmp_path: Path) -> None:
    p = phase(write(tmp_path, HALITE))
    assert (p.name, p.title, p.system) == ("halite", "Halite, NaCl", "cubic")
    assert p.atoms_per_cell() == {"Na": 4.0, "Cl": 4.0}
    assert (p.lengths_low_nm[0], p.lengths_high_nm[0]) == pytest.approx((0.5640 * 0.99, 0.5640 * 1.01))
    assert p.site("Na").b_iso_nm2 == 0.016
    assert p.site("Cl").b_iso_nm2 == 0.006
    assert p.density_g_cm3() == pytest.approx(2.165, rel=3e-3)  # handbook, from memory
    assert "halite.toml" in p.source
    # A text editor may put a byte-order mark before it.
    assert phase(write(tmp_path, "\ufeff" + HALITE)).atoms_per_cell() == p.atoms_per_cell()


def test_example_in_the_module_text_is_valid(tmp_path: Path) -> None:
    from xrdorder.crystals import catalogue

    example = catalogue.__doc__.split("reads::")[1].split("All entries")[0]
    lines = [line for line in example.splitlines() if "angles_deg" not in line]
    text = (
        "\n".join(lines)
        .replace('["2a", "6c"]', '["4a", "4b"]')
        .replace('"Sn"', '"Na"')
        .replace('"Nb"', '"Cl"')
    )
    text = text.replace(
        "[order]", '[[sites]]\nlabel = "4b"\nposition = [0.5, 0.5, 0.5]\noccupancy = { Cl = 1 }\n[order]'
    )
    p = phase(write(tmp_path, text))
    assert p.lengths_low_nm == (0.560,)
    assert p.order is not None and p.thermal_expansion_per_k == 40e-6


def test_user_cif(tmp_path: Path) -> None:
    p = phase(write(tmp_path, SYLVITE_CIF, "KCl (room).cif"))
    assert p.name == "kcl-room"
    assert p.lengths_nm == pytest.approx((0.62931,))
    assert p.lengths_high_nm[0] / p.lengths_nm[0] == pytest.approx(1.01)
    assert p.atoms_per_cell() == {"K": 4.0, "Cl": 4.0}
    # B = 8 pi^2 U: 0.0270 angstrom^2 is 0.02132 nm^2.
    assert p.site("K1").b_iso_nm2 == pytest.approx(0.021318, rel=1e-4)


def test_cif_atoms_on_one_place_become_one_site(tmp_path: Path) -> None:
    text = SYLVITE_CIF.replace("K1 K 0 0 0 1 0.0270", "K1 K 0 0 0 0.8 0.0270\nNa1 Na 0 0 0 0.2 0.0270")
    p = phase(write(tmp_path, text, "mixed.cif"))
    assert p.site("K1").occupancy == {"K": 0.8, "Na": 0.2}
    assert len(p.sites) == 2


def test_cif_of_a_catalogue_phase_is_the_same(tmp_path: Path) -> None:
    text = """data_a
_cell_length_a 4.759
_cell_length_b 4.759
_cell_length_c 12.993
_cell_angle_alpha 90
_cell_angle_beta 90
_cell_angle_gamma 120
_space_group_name_H-M_alt 'R -3 c :H'
loop_
_atom_site_label
_atom_site_fract_x
_atom_site_fract_y
_atom_site_fract_z
Al1 0 0 0.3522
O1 0.3062 0 0.25
"""
    p, known = phase(write(tmp_path, text, "a.cif")), phase("corundum")
    assert (p.system, p.space_group) == ("trigonal", known.space_group)
    assert p.lengths_nm == pytest.approx(known.lengths_nm)
    for mine, other in zip(p.sites, known.sites, strict=True):
        np.testing.assert_allclose(
            np.array(sorted(mine.positions.tolist())), np.array(sorted(other.positions.tolist())), atol=1e-12
        )


def test_thirds_written_short_are_put_right(tmp_path: Path) -> None:
    text = """
space_group = "P 63/m m c"
lengths_nm = { a = 0.2951, c = 0.4684 }
[[sites]]
label = "2c"
position = [0.3333, 0.6667, 0.25]
occupancy = { Ti = 1 }
"""
    p = phase(write(tmp_path, text, "ti.toml"))
    np.testing.assert_allclose(
        np.array(sorted(p.sites[0].positions.tolist())),
        [[1 / 3, 2 / 3, 0.25], [2 / 3, 1 / 3, 0.75]],
        atol=1e-12,
    )


LOW = """
space_group = "{group}"
lengths_nm = {lengths}
{angles}
[[sites]]
position = [0.12, 0.31, 0.27]
occupancy = {{ Sn = 0.3 }}
"""


@pytest.mark.parametrize(
    ("group", "lengths", "angles", "expected"),
    [
        ("C 1 2/c 1", "{ a = 1.1, b = 0.73, c = 0.98 }", "angles_deg = { beta = 98.8 }", (90, 98.8, 90)),
        (
            "P -1",
            "{ a = 1.1, b = 0.73, c = 0.98 }",
            "angles_deg = { alpha = 80, beta = 98.8, gamma = 100 }",
            (80, 98.8, 100),
        ),
        ("R -3 m:R", "{ a = 0.45 }", "angles_deg = { alpha = 57 }", (57, 57, 57)),
        ("R -3 m:H", "{ a = 0.45, c = 1.1 }", "", (90, 90, 120)),
        ("I 41/a m d:1", "{ a = 0.58, c = 0.32 }", "", (90, 90, 90)),
        ("P b a m", "{ a = 0.6, b = 2.9, c = 0.4 }", "", (90, 90, 90)),
    ],
)
def test_lower_symmetry(
    tmp_path: Path, group: str, lengths: str, angles: str, expected: tuple[float, ...]
) -> None:
    p = phase(write(tmp_path, LOW.format(group=group, lengths=lengths, angles=angles)))
    assert p.angles_deg == expected
    from xrdorder.crystals.symmetry import space_group

    assert len(p.sites[0].positions) == len(list(space_group(group).operations()))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('space_group = "F m -3 m"\n', "", "halite.toml: entry 'space_group' is missing"),
        ('"F m -3 m"', '"F m -3 q"', "space group 'F m -3 q' is not known"),
        ('"F m -3 m"', '"F d -3 m"', "it has two origins; write 'F d -3 m:1' or 'F d -3 m:2'"),
        ('"F m -3 m"', "225", "text in quotation marks"),
        ("{ a = 0.5640 }", "{ a = 0.5640, c = 1.0 }", "a cubic cell needs a and no other"),
        ("{ a = 0.5640 }", "{ a = 5.640e1 }", "number between 0.1 and 20"),
        ("{ a = 0.5640 }", '{ a = "0.564" }', "number between"),
        ("{ a = 0.5640 }", "{ a = nan }", "number between"),
        ("{ a = 0.5640 }", "0.5640", "table in braces"),
        ("lengths_nm", "length_nm", "unknown entry 'length_nm'"),
        ("title", "range_percent = 30\ntitle", "range_percent = 30: a number between 0 and 10"),
        ("title", "range_nm = { a = [0.57, 0.58] }\ntitle", "lies outside"),
        ("title", "range_nm = { c = [0.57, 0.58] }\ntitle", "a cubic cell has a"),
        ("title", "range_nm = { a = 0.57 }\ntitle", "a pair"),
        ("title", "range_nm = { a = [0.58, 0.57] }\ntitle", "must be the smaller"),
        ("title", "angles_deg = { beta = 98 }\ntitle", "needs none here"),
        ("title", "thermal_expansion_per_k = 40\ntitle", "thermal_expansion_per_k = 40"),
        ("[0, 0, 0]", "[0, 0]", "halite.toml: site 1 'Na': position = .*three fractional"),
        ("[0, 0, 0]", '[0, 0, "1/0"]', "three fractional"),
        ("[0, 0, 0]", '[0, 0, "x"]', "three fractional"),
        ("[0, 0, 0]", "[0, 0, inf]", "three fractional"),
        ("[0, 0, 0]", "[0.02, 0.01, 0]", "too close to a special position"),
        ("{ Na = 1.0 }", "{ Na = 1.5 }", "number between 0 and 1"),
        ("{ Na = 1.0 }", "{ Na = 0.7, K = 0.7 }", "at most 1"),
        ("{ Na = 1.0 }", "{ }", "more than 0"),
        ("{ Na = 1.0 }", "{ Nn = 1.0 }", "element 'Nn'"),
        ("b_iso_nm2 = 0.016", "b_iso_nm2 = 0.3", "outside its bounds"),
        ("b_iso_nm2 = 0.016", "b_iso_bounds_nm2 = [0.01]", "a pair"),
        ("b_iso_nm2 = 0.016", "b_iso = 0.016", "unknown entry 'b_iso'"),
        ('["1/2", "1/2", "1/2"]', "[0, 0, 0]", "sites 'Na' and 'Cl' share a place"),
        ('label = "Cl"', 'label = "Na"', "same label"),
        ('label = "Cl"', "label = 7", "text in quotation marks"),
        ("title = ", "title == ", "not valid TOML"),
    ],
)
def test_mistakes_in_toml(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in HALITE
    path = write(tmp_path, HALITE.replace(old, new, 1))
    with pytest.raises(PhaseError, match=words) as caught:
        phase(path)
    message = str(caught.value)
    assert message.startswith("halite.toml") and "\n" not in message


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        ('[order]\nsites = ["Na", "K"]\nelements = ["Na", "Cl"]', "there is no site 'K'"),
        ('[order]\nsites = ["Na", "Na"]\nelements = ["Na", "Cl"]', "two different names"),
        ('[order]\nsites = ["Na", "Cl"]', "order: entry 'elements' is missing"),
        ('[order]\nsites = ["Na", "Cl"]\nelements = ["Na", "Q"]', "element 'Q'"),
    ],
)
def test_mistakes_in_order(tmp_path: Path, extra: str, words: str) -> None:
    with pytest.raises(PhaseError, match=words):
        phase(write(tmp_path, HALITE + extra))


def test_no_sites(tmp_path: Path) -> None:
    with pytest.raises(
        PhaseError, match=r"entry 'sites' is missing, as in sites = \[\{ label.*\[\[sites\]\].*free"
    ):
        phase(write(tmp_path, HALITE.split("[[sites]]")[0]))
    for bad in (
        "sites = []",
        "sites = [1]",
        "order = 1\nsites = [{position = [0,0,0], occupancy = {Na = 1}}]",
    ):
        with pytest.raises(PhaseError, match=r"a table|at least one table"):
            phase(write(tmp_path, HALITE.split("[[sites]]")[0] + bad))


FREE = """
space_group = "P b a m"
lengths_nm = { a = 0.6175, b = 2.9175, c = 0.3930 }
intensities = "free"
"""


def test_phase_without_atoms(tmp_path: Path) -> None:
    p = phase(write(tmp_path, FREE))
    assert p.free_intensities and p.sites == () and p.d_min_nm == 0.14
    assert p.cell_volume_nm3() == pytest.approx(0.6175 * 2.9175 * 0.3930)
    assert phase(write(tmp_path, FREE + "d_min_nm = 0.18")).d_min_nm == 0.18
    for question in (
        p.density_g_cm3,
        p.atoms_per_cell,
        lambda: site_scattering(p, [2.0], 8000.0),
        lambda: structure_factor_squared(p, [[1, 1, 0]], [2.0], 8000.0),
    ):
        with pytest.raises(PhaseError, match="phase halite: no atoms are known") as caught:
            question()
        assert "\n" not in str(caught.value)
    assert not phase("nb3sn").free_intensities and phase("nb3sn").d_min_nm is None


@pytest.mark.parametrize("name", ["nb6sn5", "nb2o5"])
def test_phases_of_the_catalogue_without_atoms_have_few_lines(name: str) -> None:
    p = phase(name)
    assert p.free_intensities and p.d_min_nm is not None
    # Each is an unknown of the fit; more than this would be half of the points of a short pattern.
    assert len(reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, p.d_min_nm).hkl) <= 120


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        ('intensities = "fixed"', "intensities = 'fixed': \"free\" is expected"),
        ("intensities = 1", '"free" is expected'),
        ("d_min_nm = 0.14", "d_min_nm = 0.14: only a phase without atoms"),
        ('intensities = "free"\nd_min_nm = 0.01', "number between 0.05 and 1"),
        ('intensities = "free"\nsites = []', "remove it or sites"),
        ('intensities = "free"\n[order]\nsites = ["a", "b"]', "remove it or order"),
    ],
)
def test_mistakes_in_phases_without_atoms(tmp_path: Path, extra: str, words: str) -> None:
    with pytest.raises(PhaseError, match=words) as caught:
        phase(write(tmp_path, HALITE.split("[[sites]]")[0] + extra))
    assert str(caught.value).startswith("halite.toml") and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("_space_group_name_H-M_alt 'F m -3 m'", "", r"space group \(none\) not known"),
        ("'F m -3 m'", "'F m -3 q'", r"space group \(F m -3 q\) not known"),
        ("_cell_length_a 6.2931(4)\n", "", "cell lengths"),
        ("_cell_length_a 6.2931(4)", "_cell_length_a 6.4931(4)", "do not fit a cubic group"),
        ("K1 K 0 0 0", "K1 Zz 0 0 0", "atom K1: element 'X'"),
        ("0.5 0.5 0.5 1", "0.5 0.5 0.5 2", "atom Cl1: occupancy 2"),
        ("0.5 0.5 0.5 1", "0 0 0 1", "atom Cl1 shares a place that is already full"),
        ("K1 K 0 0 0 1", "K1 K 0 0 0", "not a readable CIF"),
        ("0 0 0 1 0.0270", "0.02 0.01 0 1 0.0270", "site 'K1': .* too close to a special position"),
    ],
)
def test_mistakes_in_cif(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in SYLVITE_CIF
    with pytest.raises(PhaseError, match=words) as caught:
        phase(write(tmp_path, SYLVITE_CIF.replace(old, new, 1), "s.cif"))
    assert "\n" not in str(caught.value) and str(caught.value).startswith("s.cif")


def test_cif_without_or_with_several_structures(tmp_path: Path) -> None:
    with pytest.raises(PhaseError, match=r'no atoms .* intensities = "free"'):
        phase(write(tmp_path, "data_x\n_cell_length_a 5\n", "s.cif"))
    with pytest.raises(PhaseError, match="2 structures"):
        phase(write(tmp_path, SYLVITE_CIF + SYLVITE_CIF.replace("data_sylvite", "data_two"), "s.cif"))


def test_cif_2_is_the_same_structure(tmp_path: Path) -> None:
    dotted = SYLVITE_CIF
    for category in ("cell", "atom_site", "space_group", "space_group_symop"):
        dotted = re.sub(rf"(?m)^(\s*)_{category}_(?!symop_)", rf"\1_{category}.", dotted)
    assert "_cell.length_a" in dotted and "_atom_site.fract_x" in dotted
    dotted = "#\\#CIF_2.0\n" + dotted + "_authors ['A b' {'c':\"d\"}]\n_text '''it's\n_atom_site.label'''\n"
    assert repr(phase(write(tmp_path, dotted, "s.cif"))) == repr(phase(write(tmp_path, SYLVITE_CIF, "s.cif")))


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(PhaseError, match="no such file"):
        phase(tmp_path / "missing.toml")
    (tmp_path / "folder.cif").mkdir()
    with pytest.raises(PhaseError, match="this is a folder"):
        phase(tmp_path / "folder.cif")
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(PhaseError, match="cannot be read as UTF-8"):
        phase(binary)
    binary = tmp_path / "binary.cif"
    binary.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(PhaseError, match="not a readable CIF"):
        phase(binary)
