"""Unindexed lines get the right names, and chance gets none."""

import numpy as np
import pytest

from xrdorder.identification.kbeta_tungsten import TubeLine, tube_lines
from xrdorder.identification.line_pattern import LinePattern, PresentLines
from xrdorder.identification.peak_search import UnindexedLine
from xrdorder.identification.phase_search import NOTHING, likely_phases, name_lines
from xrdorder.xrays import Radiation, radiation

CU = radiation("cu-ka")
RANGE = (20.0, 120.0)
WIDTH = 0.12
# Spacings (nm) and relative heights as powder data files print them, from memory.
TIN = ((0.2915, 100), (0.2793, 90), (0.2062, 34), (0.2017, 74), (0.1659, 17), (0.1484, 23), (0.1442, 20))
CASSITERITE = ((0.3347, 100), (0.2643, 75), (0.2369, 21), (0.1764, 57), (0.1675, 14), (0.1415, 16))
CARBIDE_3C = ((0.2520, 100), (0.2180, 20), (0.1541, 35), (0.1314, 25))
# Strong lines of Nb3Sn at a = 0.5290 nm with their relative heights, calculated for copper radiation.
A15 = {
    (2, 0, 0): 45, (2, 1, 0): 100, (2, 1, 1): 97, (2, 2, 2): 6, (3, 2, 0): 20, (3, 2, 1): 45, (4, 0, 0): 16,
    (4, 2, 0): 12, (4, 2, 1): 17, (3, 3, 2): 10,
}  # fmt: skip


def angle(d_nm: float, wavelength_nm: float = CU.wavelength_nm) -> float:
    return float(2.0 * np.degrees(np.arcsin(0.5 * wavelength_nm / d_nm)))


def line(two_theta: float, height: float = 200.0, noise: float = 12.5) -> UnindexedLine:
    """A line of which eight standard deviations are 100 counts."""
    d_nm = CU.wavelength_nm / 2.0 / np.sin(np.radians(0.5 * two_theta))
    return UnindexedLine(two_theta, float(d_nm), height, height / noise)


def beside(
    lines: list[UnindexedLine],
    *present: PresentLines,
    light: Radiation = CU,
    two_theta_range: tuple[float, float] = RANGE,
    width_deg: float = WIDTH,
) -> LinePattern:
    return LinePattern(lines, present, light, two_theta_range, width_deg)


def card(
    spacings: tuple[tuple[float, float], ...], height: float, shift: float = 0.0
) -> list[UnindexedLine]:
    """Lines of a card that are strong enough and clear of the A15."""
    found = [line(angle(d) + shift, height * share / 100.0) for d, share in spacings]
    known = a15(shift=shift).two_theta
    return sorted(
        x for x in found if x.significance > 8.0 and np.abs(known - x.two_theta).min() > 2.5 * WIDTH
    )


def a15(height: float = 50_000.0, shift: float = 0.0, a_nm: float = 0.5290) -> PresentLines:
    hkl = np.array(list(A15))
    d_nm = a_nm / np.sqrt((hkl**2).sum(axis=1))
    place = np.array([angle(d) for d in d_nm]) + shift
    return PresentLines("nb3sn", hkl, d_nm, place, height / 100.0 * np.array(list(A15.values()), dtype=float))


@pytest.mark.parametrize(("name", "spacings"), [("sn", TIN), ("sno2", CASSITERITE), ("sic-3c", CARBIDE_3C)])
@pytest.mark.parametrize("shift", [0.0, 0.25])
def test_published_lines_lead_to_their_phase(
    name: str, spacings: tuple[tuple[float, float], ...], shift: float
) -> None:
    lines = card(spacings, 1000.0, shift)
    assert likely_phases(beside(lines, a15(shift=shift)), ["nb3sn"]) == [name]


def test_two_strongest_lines_are_enough_where_little_else_is_foreign() -> None:
    # 1 1 1 and 2 0 0 of niobium monoxide at a = 0.4211 nm, so weak that no other line of it must show; and a third.
    lines = [line(angle(0.4211 / 3**0.5), 130.0), line(angle(0.4211 / 2), 120.0), line(55.0, 150.0)]
    assert likely_phases(beside(lines, a15()), ["nb3sn"]) == ["nbo"]
    words = name_lines(beside(lines, a15()))
    assert words[:2] == [
        "near nbo 1 1 1 and 1 more of its lines, or edge of the Ni filter beside nb3sn 2 1 0",
        "near nbo 2 0 0 and 1 more of its lines",
    ]


def test_two_phases_at_once_and_one_that_was_asked_for() -> None:
    lines = sorted(card(TIN, 1500.0) + card(CASSITERITE, 800.0))
    assert set(likely_phases(beside(lines, a15()), ["nb3sn"])) == {"sn", "sno2"}
    assert "sn" not in likely_phases(beside(lines, a15()), ["nb3sn", "sn"])


def test_lines_of_another_tube_are_understood() -> None:
    mo = radiation("mo-ka")
    lines = []
    for d, share in CASSITERITE:
        two_theta = angle(d, mo.wavelength_nm)
        lines.append(UnindexedLine(two_theta, d, 10.0 * share, 0.8 * share))
    assert likely_phases(beside(lines, light=mo, two_theta_range=(8.0, 50.0)), []) == ["sno2"]


@pytest.mark.slow
def test_chance_brings_in_no_more_phases_than_it_says() -> None:
    rng = np.random.default_rng(7)
    trials, found = 60, 0
    for _ in range(trials):
        places = np.sort(rng.uniform(*RANGE, 5))
        lines = [line(float(x), float(rng.lognormal(6.0, 0.7))) for x in places]
        found += len(likely_phases(beside(lines, a15()), ["nb3sn"]))
    # At most 0.05 a pattern, that is 3; 8 or more of a Poisson mean of 3 are seen once in a hundred times.
    assert found <= 7


def test_a_phase_whose_strong_lines_are_missing_is_not_named() -> None:
    # Two weak lines of tin without its strong ones, which nothing hides.
    lines = [line(angle(0.1659), 900.0), line(angle(0.1442), 900.0)]
    assert "sn" not in likely_phases(beside(lines, a15()), ["nb3sn"])


def test_phase_without_atoms_needs_many_lines() -> None:
    # Spacings of 0 0 1, 1 8 0, 2 0 0, 1 8 1, 2 0 1, 0 0 2 of the orthorhombic pentoxide, from its lattice.
    cell = np.array([0.6175, 2.9175, 0.3930])
    indices = [(0, 0, 1), (1, 8, 0), (2, 0, 0), (1, 8, 1), (2, 8, 0), (0, 0, 2), (1, 8, 2), (1, 16, 0)]
    lines = [line(angle(float(1.0 / np.linalg.norm(np.array(hkl) / cell))), 500.0) for hkl in indices]
    for seen, names in ((lines, ["nb2o5"]), (lines[:2], [])):
        pattern = beside(sorted(seen), a15(), two_theta_range=(20.0, 70.0), width_deg=0.05)
        assert likely_phases(pattern, ["nb3sn"]) == names


def test_names_of_lines_of_a_phase() -> None:
    words = name_lines(beside(card(TIN, 1000.0), a15()))
    assert words[0] == "near sn 2 0 0 and 6 more of its lines"
    assert all(word.startswith("near sn ") for word in words)


def test_one_strong_line_alone_is_a_guess_and_a_stray_one_is_nothing() -> None:
    # The strongest line of silicon carbide just above what is found: nothing else of it must show.
    words = name_lines(beside([line(angle(0.2520), 110.0), line(24.60, 5000.0)], a15()))
    assert words[0].startswith("perhaps ") and words[0].endswith(" alone of its lines")
    assert words[1] == NOTHING


K_BETA = 0.139223  # nm, mean K-beta of copper; J. A. Bearden, Rev. Mod. Phys. 39 (1967) 78, from memory
TUNGSTEN = 0.147639  # nm, W L-alpha1; same source
NICKEL = 0.148807  # nm, K edge of nickel; same source


@pytest.mark.parametrize("shift", [0.0, -0.2])
@pytest.mark.parametrize(
    ("wavelength", "ratio", "words"),
    [(K_BETA, 0.012, "K-beta of nb3sn"), (TUNGSTEN, 0.012, "W L-alpha of nb3sn")],
)
def test_stray_lines_are_ghosts_of_strong_lines(
    wavelength: float, ratio: float, words: str, shift: float
) -> None:
    present = a15(shift=shift)
    lines = [
        line(angle(d, wavelength) + shift, ratio * height)
        for d, height in zip(present.d_nm, present.height, strict=True)
        if ratio * height > 150.0
    ]
    assert len(lines) >= 4
    named = name_lines(beside(lines, present))
    assert [name.split(",")[0] for name in named] == [
        f"{words} {h} {k} {m}"
        for (h, k, m), height in zip(present.hkl, present.height, strict=True)
        if ratio * height > 150.0
    ]
    assert likely_phases(beside(lines, present), ["nb3sn"]) == []


def test_no_ghosts_behind_a_monochromator_for_one_line() -> None:
    present = a15()
    found = tube_lines(
        beside([line(angle(present.d_nm[1], K_BETA), 600.0)], present, light=radiation("cu-ka1"))
    )
    assert found == [None]


def test_a_ghost_without_its_stronger_brothers_is_none() -> None:
    present = a15()
    # A twentieth of 222 where its K-beta would be; 210 and 211 would show theirs with twenty times as many counts.
    found = tube_lines(beside([line(angle(present.d_nm[3], K_BETA), 150.0)], present))
    assert found == [None]


def test_a_line_as_strong_as_its_parent_is_no_ghost() -> None:
    present = a15()
    found = tube_lines(beside([line(angle(present.d_nm[1], K_BETA), 30_000.0)], present))
    assert found == [None]


def test_filter_edge_beside_strong_lines() -> None:
    present = a15()
    lines = [line(angle(present.d_nm[k], NICKEL) + 0.15, 0.006 * present.height[k]) for k in (1, 2)]
    assert tube_lines(beside(lines, present)) == [
        TubeLine("edge of the Ni filter beside nb3sn 2 1 0", True),
        TubeLine("edge of the Ni filter beside nb3sn 2 1 1", True),
    ]
    # One alone, too weak for its brother to be found.
    words = name_lines(beside([line(lines[0].two_theta, 150.0)], present))
    assert words == ["perhaps edge of the Ni filter beside nb3sn 2 1 0"]


def test_nothing_foreign_nothing_said() -> None:
    assert name_lines(beside([], a15())) == []
    assert likely_phases(beside([]), []) == []
    assert tube_lines(beside([line(40.0)])) == [None]
