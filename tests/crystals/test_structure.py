"""Structure factors: limits by hand, Friedel mates, contrast, derivatives."""

from dataclasses import replace

import gemmi
import numpy as np
import pytest

from xrdorder.crystals import (
    A15Composition,
    doped,
    phase,
    phase_names,
    reflections,
    site_scattering,
    structure_factor_squared,
    structure_factor_squared_derivatives,
)
from xrdorder.crystals.phase import Phase
from xrdorder.exceptions import PhaseError
from xrdorder.xrays import scattering_factor

ENERGY = 8047.8


def grid(p: Phase) -> tuple[np.ndarray, np.ndarray]:
    from xrdorder.crystals import inverse_d_squared

    hkl = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, 0.085).hkl
    return hkl, 0.5 * np.sqrt(inverse_d_squared(p.system, hkl, p.lengths_nm, p.angles_deg)[0])


def test_a15_amplitudes_by_hand() -> None:
    """Tin at the corners and the centre, niobium in chains: sums and differences of site factors."""
    p = doped(phase("nb3sn"), A15Composition(0.24, 0.9))
    hkl = np.array([[1, 1, 0], [2, 0, 0], [2, 1, 0], [2, 1, 1], [2, 2, 2], [4, 0, 0]])
    s = np.sqrt((hkl**2).sum(axis=1)) / (2 * 0.5289)
    tin, niobium = site_scattering(p, s, ENERGY) * np.exp(-np.outer([x.b_iso_nm2 for x in p.sites], s**2))
    expected = [
        2 * (tin[0] - niobium[0]),
        2 * (tin[1] + niobium[1]),
        4 * niobium[2],
        2 * (tin[3] + niobium[3]),
        2 * tin[4] - 6 * niobium[4],
        2 * tin[5] + 6 * niobium[5],
    ]
    np.testing.assert_allclose(structure_factor_squared(p, hkl, s, ENERGY), np.abs(expected) ** 2, rtol=1e-12)


@pytest.mark.parametrize("order", [0.0, 0.7, 0.96, 1.02])
@pytest.mark.parametrize("tin", [0.21, 0.25])
def test_contrast_is_the_order_of_an_undoped_crystal(order: float, tin: float) -> None:
    p = doped(phase("nb3sn"), A15Composition(tin, 0.88))
    hkl, s = grid(p)
    by_occupancy = structure_factor_squared(doped(p, A15Composition(tin, order)), hkl, s, ENERGY)
    np.testing.assert_allclose(
        structure_factor_squared(p, hkl, s, ENERGY, contrast=order), by_occupancy, rtol=1e-10, atol=1e-9
    )


def test_contrast_keeps_what_the_cell_scatters() -> None:
    p = doped(phase("nb3sn"), A15Composition(0.24, 0.9, {"Ta": 0.03}))
    s = np.array([0.0, 2.0])
    for contrast in (0.5, 1.0):
        f = site_scattering(p, s, ENERGY, contrast=contrast)
        np.testing.assert_allclose(2 * f[0] + 6 * f[1], np.array([2, 6]) @ site_scattering(p, s, ENERGY))
        delta = scattering_factor("Sn", s, ENERGY) - scattering_factor("Nb", s, ENERGY)
        np.testing.assert_allclose(f[0] - f[1], contrast * delta)


def test_no_contrast_without_order() -> None:
    p = phase("cu")
    with pytest.raises(PhaseError, match="phase cu has no order"):
        structure_factor_squared(p, [[1, 1, 1]], [2.4], ENERGY, contrast=1.0)


@pytest.mark.parametrize("contrast", [None, 0.83])
@pytest.mark.parametrize("name", [n for n in phase_names() if not phase(n).free_intensities])
def test_derivatives_match_differences(name: str, contrast: float | None) -> None:
    p = phase(name)
    if contrast is not None and p.order is None:
        contrast = None
    hkl, s = grid(p)
    b = np.array([site.b_iso_nm2 for site in p.sites])
    by_contrast, by_b = structure_factor_squared_derivatives(p, hkl, s, ENERGY, contrast=contrast)

    def value(b_iso: np.ndarray, c: float | None = contrast) -> np.ndarray:
        return structure_factor_squared(p, hkl, s, ENERGY, contrast=c, b_iso_nm2=b_iso)

    step = 1e-6
    electrons = sum(gemmi.Element(element).atomic_number * n for element, n in p.atoms_per_cell().items())
    largest = electrons**2
    for row in range(len(b)):
        shift = step * np.eye(len(b))[row]
        difference = (value(b + shift) - value(b - shift)) / (2 * step)
        # Rounding of |F|^2 (1e-16 of the largest there can be, for its terms may cancel) over the step
        # bounds the absolute error.
        np.testing.assert_allclose(by_b[row], difference, rtol=1e-6, atol=1e-9 * largest)
    if contrast is None:
        assert not by_contrast.any()
    else:
        difference = (value(b, contrast + step) - value(b, contrast - step)) / (2 * step)
        np.testing.assert_allclose(by_contrast, difference, rtol=1e-6, atol=1e-9 * largest)


ZINCBLENDE = """
title = "zincblende, no inversion centre"
space_group = "F -4 3 m"
lengths_nm = { a = 0.5653 }
[[sites]]
label = "4a"
position = [0, 0, 0]
occupancy = { Ga = 1.0 }
[[sites]]
label = "4c"
position = ["1/4", "1/4", "1/4"]
occupancy = { As = 1.0 }
"""


def test_friedel_mates_are_averaged(tmp_path) -> None:
    path = tmp_path / "gaas.toml"
    path.write_text(ZINCBLENDE)
    p = phase(path)
    hkl, s = np.array([[1, 1, 1], [-1, -1, -1]]), np.full(2, np.sqrt(3) / (2 * 0.5653))
    damping = np.exp(-0.006 * s[0] ** 2)
    ga, arsenic = (complex(scattering_factor(el, s[0], 9000.0)) * damping for el in ("Ga", "As"))
    # By hand: F(111) = 4 (f_Ga - i f_As), and its mate has +i.
    mates = abs(4 * (ga - 1j * arsenic)) ** 2, abs(4 * (ga + 1j * arsenic)) ** 2
    assert abs(mates[0] / mates[1] - 1) > 1e-3
    np.testing.assert_allclose(structure_factor_squared(p, hkl, s, 9000.0), np.mean(mates), rtol=1e-12)


def test_origin_does_not_matter() -> None:
    p = phase("nb3sn")
    moved = replace(
        p, sites=tuple(replace(x, positions=x.positions + np.array([0.1, 0.2, 0.3])) for x in p.sites)
    )
    hkl, s = grid(p)
    np.testing.assert_allclose(
        structure_factor_squared(moved, hkl, s, ENERGY),
        structure_factor_squared(p, hkl, s, ENERGY),
        rtol=1e-9,
        atol=1e-9,
    )
