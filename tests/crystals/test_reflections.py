"""Lines of a phase: nothing missing, nothing twice, forbidden ones gone."""

import itertools

import numpy as np
import pytest

from xrdorder.crystals import geometry_factors, inverse_d_squared, phase, phase_names, reflections
from xrdorder.crystals.unit_cell import all_lengths
from xrdorder.exceptions import PhaseError, ValidityError


def lines(name: str, d_min_nm: float = 0.08) -> dict[str, int]:
    p = phase(name)
    found = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, d_min_nm)
    return {" ".join(map(str, hkl)): int(m) for hkl, m in zip(found.hkl, found.multiplicity, strict=True)}


@pytest.mark.parametrize("name", [n for n in phase_names() if not phase(n).free_intensities])
def test_multiplicities_fill_the_sphere(name: str) -> None:
    """All reflections of the sphere, counted one by one from the structure, are in the merged list."""
    p = phase(name)
    d_min = 0.1
    found = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, d_min)
    tops = (np.ceil(all_lengths(p.system, p.lengths_nm) / d_min) + 1).astype(int)
    box = np.array([h for h in itertools.product(*(range(-t, t + 1) for t in tops)) if any(h)])
    inverse, _ = inverse_d_squared(p.system, box, p.lengths_nm, p.angles_deg)
    box = box[inverse <= 1 / d_min**2]
    # A reflection any site of the structure contributes to is allowed; special positions may extinguish more.
    seen = box[np.any(np.abs(geometry_factors(p, box)) > 1e-8, axis=0)]
    merged = np.any(np.abs(geometry_factors(p, found.hkl)) > 1e-8, axis=0)
    assert found.multiplicity[merged].sum() == len(seen)


def test_a15_by_hand() -> None:
    found = lines("nb3sn", 0.11)
    # Multiplicities of m-3m: h00 6, hh0 12, hhh 8, hk0 and hhl 24, hkl 48. hhl with odd l is absent in Pm-3n.
    assert found == {
        "1 1 0": 12, "2 0 0": 6, "2 1 0": 24, "2 1 1": 24, "2 2 0": 12, "3 1 0": 24, "2 2 2": 8, "3 2 0": 24,
        "3 2 1": 48, "4 0 0": 6, "4 1 0": 24, "4 1 1": 24, "3 3 0": 12, "4 2 0": 24, "4 2 1": 48, "3 3 2": 24,
    }  # fmt: skip
    assert list(found)[:4] == ["1 1 0", "2 0 0", "2 1 0", "2 1 1"]


def test_corundum_is_written_as_usual() -> None:
    # First lines of the powder pattern of corundum.
    assert list(lines("corundum"))[:6] == ["0 1 2", "1 0 4", "1 1 0", "0 0 6", "1 1 3", "2 0 2"]


def test_forms_of_low_symmetry_stay_apart() -> None:
    found = reflections("P m -3", "cubic", [0.5], (90, 90, 90), 0.2)
    rows = {tuple(map(int, h)): int(m) for h, m in zip(found.hkl, found.multiplicity, strict=True)}
    # In m-3 (210) and (120) share a place and not a strength.
    assert rows[2, 1, 0] == 12 and rows[2, 0, 1] == 12


def test_friedel_mates_are_merged() -> None:
    found = reflections("P 1", "triclinic", [0.5, 0.6, 0.7], (80, 95, 110), 0.3)
    assert set(found.multiplicity.tolist()) == {2}


def test_spacings_fall() -> None:
    p = phase("corundum")
    found = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, 0.07)
    inverse, _ = inverse_d_squared(p.system, found.hkl, p.lengths_nm, p.angles_deg)
    assert np.all(np.diff(inverse) > -1e-8)
    assert inverse[-1] <= 1 / 0.07**2


def test_none_when_the_limit_is_above_all_spacings() -> None:
    assert len(reflections("P m -3 n", "cubic", [0.529], (90, 90, 90), 0.6).hkl) == 0


def test_refused() -> None:
    with pytest.raises(PhaseError, match="space group 'P m -3 q' is not known"):
        reflections("P m -3 q", "cubic", [0.5], (90, 90, 90), 0.1)
    for d_min in (0.0, -0.1, float("nan")):
        with pytest.raises(ValidityError, match="must be positive"):
            reflections("P m -3 n", "cubic", [0.5], (90, 90, 90), d_min)
