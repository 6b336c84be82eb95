"""Niobium off its lattice parameter is a caution for the A15."""

import numpy as np
import pytest

from tests.material.conftest import VALUES, names
from xrdorder.material import Specimen, characterise
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation


def niobium(fitted, a_nm, u=2e-6, **specimen):
    settings = {"mount": "ground-powder", "temperature_c": 22.5, "u_temperature_k": 0.5, **specimen}
    return fitted(Specimen(**settings), lattice_a_nm_nb=a_nm, u={"lattice_a_nm_nb": u})


def message(material):
    (text,) = [flag.message for flag in material.flags if flag.name == "niobium-lattice"]
    return text


@pytest.mark.parametrize(
    ("a_nm", "u", "said"),
    [
        (0.33007, 2e-6, False),
        (0.33007 + 1.9e-5, 2e-6, False),  # significant, but no more than handbooks differ by
        (0.33007 + 2.1e-5, 2e-6, True),
        (0.33007 - 2.1e-5, 2e-6, True),
        (0.33007 + 1e-4, 2.6e-5, False),  # large, but by chance once in ten thousand: 3.89 standard uncertainties
        (0.33007 + 1e-4, 2.5e-5, True),
    ],
)
def test_both_limits_must_be_passed(fitted, a_nm, u, said):
    assert ("niobium-lattice" in names(niobium(fitted, a_nm, u))) == said


def test_hydrogen_is_put_in_figures(fitted):
    # 0.19 pm are 5.8e-4 of the lattice parameter: one hydrogen for 100 niobium by 0.058 a hydrogen.
    text = message(niobium(fitted, 0.33007 + 1.914e-4))
    assert "1.0 H per 100 Nb" in text and "oxygen" in text and "A15" in text
    assert "hydrogen" not in message(niobium(fitted, 0.33007 - 1e-4))


def test_alloying_is_named_where_something_was_alloyed(fitted):
    assert "alloying" not in message(niobium(fitted, 0.3302))
    assert "alloying with Ta" in message(niobium(fitted, 0.3302, dopants={"Ta": 0.02}))
    asked = fitted(
        Specimen(mount="ground-powder", temperature_c=22.5),
        lattice_a_nm_nb=0.3302,
        weight_fraction_ta=0.1,
        u={"lattice_a_nm_nb": 2e-6, "weight_fraction_ta": 0.01},
    )
    assert "alloying with Ta" in message(asked)


def test_a_warm_specimen_is_no_uptake(fitted):
    # 30 K expand niobium by 7.3e-6 x 30 x 0.33 nm = 0.072 pm.
    warm = 0.33007 * (1 + 7.3e-6 * 30)
    assert "niobium-lattice" in names(niobium(fitted, warm))
    assert "niobium-lattice" not in names(niobium(fitted, warm, temperature_c=52.5))


def test_in_a_wire_strain_is_a_cause_too(fitted):
    assert "strain" in message(niobium(fitted, 0.3302, mount="polished-section"))
    assert "strain" not in message(niobium(fitted, 0.3302))


def test_without_niobium_nothing_is_said(fitted):
    assert "niobium-lattice" not in names(fitted())


def test_the_place_of_the_specimen_counts_twice(fitted):
    # 3e-6 nm of counting and 9e-6 nm of displacement: 3.89 of hypot(3, 2 x 9) = 18.25 are 71.0e-6 nm, not 36.9e-6 nm
    def warned(departure, place):
        quantities = (*VALUES, "lattice_a_nm_nb")
        columns = np.zeros((len(quantities), 2))
        columns[-1] = 3e-6, place
        contributions = Contributions(quantities, ("counting", "specimen displacement"), columns, ("", ""))
        material = characterise(
            {**VALUES, "lattice_a_nm_nb": 0.33007 + departure},
            contributions,
            Specimen(mount="ground-powder", temperature_c=22.5, u_temperature_k=0.01),
            radiation=radiation("cu-ka"),
        )
        return "niobium-lattice" in names(material)

    assert not warned(7.0e-5, 9e-6)
    assert warned(7.2e-5, 9e-6)
    assert warned(2.5e-5, 1e-6)
