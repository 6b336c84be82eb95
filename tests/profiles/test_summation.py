"""The fast sum of lines against the plain one."""

import numpy as np
import pytest

from xrdorder.profiles.axial import axial_nodes
from xrdorder.profiles.summation import LineDerivatives, Lines, ProfileSum, axial_counts
from xrdorder.profiles.voigt import voigt

TWO_THETA = np.arange(18.0, 140.0, 0.02)


def some_lines(n: int = 30, broad: float = 1.0) -> Lines:
    rng = np.random.default_rng(11)
    position = np.sort(rng.uniform(16.0, 142.0, n))
    tan = np.tan(np.radians(position / 2.0))
    return Lines(
        position,
        rng.uniform(1.0, 100.0, n),
        broad**2 * (0.002 * tan**2 - 0.001 * tan + 0.003),
        broad * (0.02 / np.cos(np.radians(position / 2.0)) + 0.03 * tan),
    )


def plain_sum(lines: Lines, source: float, detector: float) -> np.ndarray:
    nodes = axial_nodes(lines.position, np.full(len(lines.position), 40), source, detector)
    total = np.zeros_like(TWO_THETA)
    for owner, position, weight in zip(nodes.line, nodes.position, nodes.weight, strict=True):
        total += lines.area[owner] * weight * voigt(
            TWO_THETA - position, lines.gauss_squared[owner], lines.lorentz[owner]
        )  # fmt: skip
    return total


@pytest.mark.slow
@pytest.mark.parametrize("broad", [0.6, 1.0, 6.0])
@pytest.mark.parametrize("ratio", [0.0, 0.02, 0.04])
def test_total_is_the_plain_sum(broad: float, ratio: float) -> None:
    lines = some_lines(broad=broad)
    expected = plain_sum(lines, ratio, ratio)
    error = np.abs(ProfileSum(TWO_THETA).total(lines, ratio, ratio) - expected)
    # of the strongest point: 2e-4 at worst (5 counts in 25 000, three hundredths of their noise), 2e-5 on the whole
    assert error.max() < 2e-4 * expected.max()
    assert np.sqrt(np.mean(error**2)) < 2e-5 * expected.max()


def test_areas_are_kept() -> None:
    inside = Lines(np.array([80.0]), np.array([50.0]), np.array([0.01]), np.array([0.0]))
    total = ProfileSum(TWO_THETA).total(inside, 0.02, 0.02)
    assert total.sum() * 0.02 == pytest.approx(50.0, rel=1e-6)


def test_jacobian() -> None:
    lines = some_lines()
    n = len(lines.position)
    tan = np.tan(np.radians(lines.position / 2.0))
    directions = {
        0: Lines(np.ones(n), np.zeros(n), np.zeros(n), np.zeros(n)),
        1: Lines(np.zeros(n), lines.area, np.zeros(n), np.zeros(n)),
        2: Lines(np.zeros(n), np.zeros(n), tan**2, np.zeros(n)),
        3: Lines(np.zeros(n), np.zeros(n), np.zeros(n), tan),
    }
    blocks = [np.zeros((n, 6)) for _ in range(4)]
    for k, direction in directions.items():
        for block, change in zip(blocks, direction[:4], strict=True):
            block[:, k] = change
    profile = ProfileSum(TWO_THETA)
    source, detector = 0.025, 0.018
    total, jacobian = profile.total_with_jacobian(lines, LineDerivatives(*blocks, (4, 5)), source, detector)
    np.testing.assert_allclose(total, profile.total(lines, source, detector), rtol=1e-9, atol=1e-9)

    def moved(k: int, step: float) -> np.ndarray:
        if k == 4:
            return profile.total(lines, source + step, detector)
        if k == 5:
            return profile.total(lines, source, detector + step)
        return profile.total(
            Lines(*(a + step * d for a, d in zip(lines[:4], directions[k][:4], strict=True))), source, detector
        )

    for k in range(6):
        step = 1e-6
        numeric = (moved(k, step) - moved(k, -step)) / (2.0 * step)
        # the windows move with the lines, which the derivatives leave out: 1e-4 of the largest derivative at worst
        assert np.abs(jacobian[:, k] - numeric).max() < 1e-4 * np.abs(numeric).max(), k


def test_line_outside_the_range_sends_its_tail_in() -> None:
    outside = Lines(np.array([16.0]), np.array([1000.0]), np.array([0.01]), np.array([0.2]))
    total = ProfileSum(TWO_THETA).total(outside, 0.0, 0.0)
    x = TWO_THETA - 16.0
    np.testing.assert_allclose(total, 1000.0 * voigt(x, 0.01, 0.2), rtol=2e-3)


def test_held_nodes_keep_sums_smooth_in_the_width() -> None:
    two_theta, ratio = np.linspace(27.0, 30.0, 301), 0.01

    def line(width: float) -> Lines:
        return Lines(*(np.array([x]) for x in (28.4, 1.0, width**2, 0.005)))

    # at this width eight axial nodes become seven; a line 1e-9 degrees wider differs by 1e-7 of itself
    low, high = 0.0140, 0.0142
    assert [axial_counts(line(width), ratio, ratio)[0] for width in (low, high)] == [8, 7]
    profile, held = ProfileSum(two_theta), axial_counts(line(low), ratio, ratio)
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if axial_counts(line(middle), ratio, ratio)[0] == 8 else (low, middle)

    def jump(nodes: np.ndarray | None) -> float:
        before, after = (profile.total(line(width)._replace(nodes=nodes), ratio, ratio) for width in (low, high))
        return float(np.abs(after - before).max() / before.max())

    assert jump(held) < 2e-7
    assert jump(None) > 1e-6
