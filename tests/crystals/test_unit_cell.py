"""Spacings of all systems against written-out formulas, and their derivatives against differences."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xrdorder.crystals import cell_volume, free_lengths, inverse_d_squared
from xrdorder.crystals.unit_cell import all_lengths
from xrdorder.exceptions import PhaseError

HKL = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0], [2, 1, 1], [1, -2, 3], [-3, 0, 4]])
CELLS = {
    "cubic": ((0.529,), (90, 90, 90)),
    "tetragonal": ((0.58316, 0.31815), (90, 90, 90)),
    "hexagonal": ((0.419, 0.504), (90, 90, 120)),
    "trigonal": ((0.4759, 1.2993), (90, 90, 120)),
    "rhombohedral": ((0.5128,), (55.28, 55.28, 55.28)),
    "orthorhombic": ((0.5656, 0.9199, 1.6843), (90, 90, 90)),
    "monoclinic": ((1.1022, 0.7282, 0.9827), (90, 98.84, 90)),
    "triclinic": ((0.5, 0.6, 0.7), (80, 95, 110)),
}


@pytest.mark.parametrize("system", CELLS)
def test_derivative_matches_differences(system: str) -> None:
    lengths, angles = CELLS[system]
    value, derivative = inverse_d_squared(system, HKL, lengths, angles)
    assert derivative.shape == (len(HKL), len(free_lengths(system)))
    for column in range(len(lengths)):
        step = 1e-6
        up, down = (np.array(lengths, dtype=float) for _ in range(2))
        up[column] += step
        down[column] -= step
        difference = (
            inverse_d_squared(system, HKL, up, angles)[0] - inverse_d_squared(system, HKL, down, angles)[0]
        ) / (2 * step)
        # Central differences: error of order step^2/a^2 = 1e-11 and rounding of 1e-16/1e-6.
        np.testing.assert_allclose(derivative[:, column], difference, rtol=1e-7, atol=1e-6)
    # 1/d^2 is homogeneous of degree -2 in the lengths (Euler).
    np.testing.assert_allclose(derivative @ np.array(lengths), -2 * value, rtol=1e-12)


def test_written_out_formulas() -> None:
    h, k, m = HKL.T.astype(float)

    def check(system: str, expected: np.ndarray) -> None:
        np.testing.assert_allclose(inverse_d_squared(system, HKL, *CELLS[system])[0], expected, rtol=1e-12)

    check("cubic", (h**2 + k**2 + m**2) / 0.529**2)
    check("tetragonal", (h**2 + k**2) / 0.58316**2 + m**2 / 0.31815**2)
    check("hexagonal", 4 / 3 * (h**2 + h * k + k**2) / 0.419**2 + m**2 / 0.504**2)
    check("orthorhombic", h**2 / 0.5656**2 + k**2 / 0.9199**2 + m**2 / 1.6843**2)
    a, b, c, beta = 1.1022, 0.7282, 0.9827, np.radians(98.84)
    check(
        "monoclinic",
        (h**2 / a**2 + k**2 * np.sin(beta) ** 2 / b**2 + m**2 / c**2 - 2 * h * m * np.cos(beta) / (a * c))
        / np.sin(beta) ** 2,
    )


def test_general_cell_against_the_metric_tensor() -> None:
    lengths, angles = CELLS["triclinic"]
    # Axes written as vectors, reciprocal ones as the inverse: another road to the same number.
    alpha, beta, gamma = np.radians(angles)
    a, b, c = lengths
    cx, cy = np.cos(beta), (np.cos(alpha) - np.cos(beta) * np.cos(gamma)) / np.sin(gamma)
    axes = np.array(
        [
            [a, 0, 0],
            [b * np.cos(gamma), b * np.sin(gamma), 0],
            [c * cx, c * cy, c * np.sqrt(1 - cx**2 - cy**2)],
        ]
    )
    reciprocal = np.linalg.inv(axes).T
    np.testing.assert_allclose(
        inverse_d_squared("triclinic", HKL, lengths, angles)[0],
        ((HKL @ reciprocal) ** 2).sum(axis=1),
        rtol=1e-12,
    )
    assert cell_volume("triclinic", lengths, angles) == pytest.approx(np.linalg.det(axes))


@settings(max_examples=30, deadline=None)
@given(a=st.floats(0.2, 2.0), hkl=st.tuples(*[st.integers(-6, 6)] * 3))
def test_rhombohedral_axes_agree_with_hexagonal_axes(a: float, hkl: tuple[int, int, int]) -> None:
    """The obverse setting: a_h = a_1 - a_2, b_h = a_2 - a_3, c_h = a_1 + a_2 + a_3."""
    alpha = 57.0
    cos = np.cos(np.radians(alpha))
    h, k, m = hkl
    hexagonal = (h - k, k - m, h + k + m)
    lengths = (a * np.sqrt(2 - 2 * cos), a * np.sqrt(3 + 6 * cos))
    first, _ = inverse_d_squared("rhombohedral", [hkl], [a], (alpha, alpha, alpha))
    second, _ = inverse_d_squared("trigonal", [hexagonal], lengths, (90, 90, 120))
    np.testing.assert_allclose(first, second, rtol=1e-10, atol=1e-10)


def test_volumes() -> None:
    assert cell_volume("cubic", [0.529]) == pytest.approx(0.529**3)
    assert cell_volume("orthorhombic", [0.5, 0.6, 0.7]) == pytest.approx(0.21)
    assert cell_volume("monoclinic", *CELLS["monoclinic"]) == pytest.approx(
        1.1022 * 0.7282 * 0.9827 * np.sin(np.radians(98.84))
    )


def test_lengths_are_tied() -> None:
    np.testing.assert_array_equal(all_lengths("tetragonal", [1.0, 2.0]), [1.0, 1.0, 2.0])


def test_wrong_system_and_wrong_number_of_lengths() -> None:
    with pytest.raises(PhaseError, match="'quadratic' is not one of cubic"):
        free_lengths("quadratic")
    with pytest.raises(PhaseError, match="a cubic cell has the lengths a: 2 given"):
        inverse_d_squared("cubic", HKL, [0.5, 0.6])
