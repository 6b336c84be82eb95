"""|F|² against a sum written out atom by atom; against gemmi and ase it stands in the table (tests/outside/rows)."""

import numpy as np
import pytest

from tests.outside.rows.intensities import cif_of, lines_of
from xrdorder.crystals import (
    A15Composition,
    doped,
    phase,
    structure_factor_squared,
)
from xrdorder.xrays import scattering_factor

ENERGY = 8047.8


PHASES = {
    "A15 ordered": phase("nb3sn"),
    "A15 partly ordered": doped(phase("nb3sn"), A15Composition(0.235, 0.86)),
    "A15 with tantalum and titanium": doped(
        phase("nb3sn"), A15Composition(0.24, 0.9, {"Ta": 0.026, "Ti": 0.0135})
    ),
    "niobium": phase("nb"),
    "copper": phase("cu"),
    "bronze": phase("cu-sn"),
    "LaB6": phase("lab6"),
    "silicon": phase("si"),
    "corundum": phase("corundum"),
}


@pytest.mark.parametrize("name", PHASES)
def test_absorption_against_a_sum_over_atoms(name: str) -> None:
    p = PHASES[name]
    hkl, s = lines_of(p)
    total = np.zeros(len(hkl), dtype=complex)
    for site in p.sites:
        for r in site.positions:
            for element, share in site.occupancy.items():
                f = scattering_factor(element, s, ENERGY)
                total += share * f * np.exp(-site.b_iso_nm2 * s**2) * np.exp(2j * np.pi * (hkl @ r))
    # All these structures have an inversion centre, so both Friedel mates have this strength.
    np.testing.assert_allclose(
        structure_factor_squared(p, hkl, s, ENERGY), np.abs(total) ** 2, rtol=1e-10, atol=1e-9
    )


def test_cells_of_the_cif_road_are_read_back(tmp_path) -> None:
    for number, p in enumerate(PHASES.values()):
        path = tmp_path / f"{number}.cif"
        path.write_text(cif_of(p))
        found = phase(path)
        hkl, s = lines_of(p)
        np.testing.assert_allclose(
            structure_factor_squared(found, hkl, s, ENERGY),
            structure_factor_squared(p, hkl, s, ENERGY),
            rtol=1e-6,
            atol=1e-6,
        )
