"""Sum thousands of line components over a whole pattern, exactly and fast.

A Voigt line reaches over the whole pattern, but only near its centre is it anything but smooth. Each line is
therefore split into a smooth tail (`voigt_tail`), summed on a coarse grid and interpolated, and a core, which is the
exact line less that tail and vanishes outside a window. Nothing is cut off: at a window of four smoothing lengths
the core left out is below 3e-4 of a tail that itself is below 1e-3 of the line. Windows without the tail would bias the
Lorentzian widths and the background, so they are not offered. Inside the window the Voigt function itself is needed
only in the heart of the line, there for every axial component; from five widths on its asymptotic series is as good.
"""

from typing import NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from xrdorder.profiles.axial import AxialNodes, axial_nodes, largest_shift
from xrdorder.profiles.voigt import (
    FWHM_PER_SIGMA,
    fwhm,
    voigt,
    voigt_tail,
    voigt_tail_with_derivatives,
    voigt_with_derivatives,
)

Array = NDArray[np.float64]

_HEART_PER_FWHM = 5.0  # beyond five widths the three-term series is the line to 5e-5 of itself
_WINDOW_PER_FWHM = 10.0
_SMALLEST_WINDOW_DEG = 3.0
_CORE_PER_WINDOW = 0.25
_GRID_PER_CORE = 6.0  # four-point interpolation of a bump of width `core` is then right to 5e-4 of the bump
_NODES_PER_WIDTH = 4.0  # axial nodes for each line width of axial shift
_MOST_NODES = 40


class Lines(NamedTuple):
    """Unsplit lines: centre, area (counts times degree) and widths, each of shape (n,)."""

    position: Array
    area: Array
    gauss_squared: Array
    lorentz: Array


class LineDerivatives(NamedTuple):
    """Derivatives of `Lines` by parameters, each of shape (n, parameters), and which columns are the axial ratios."""

    position: Array
    area: Array
    gauss_squared: Array
    lorentz: Array
    axial_columns: tuple[int, int] | None


class ProfileSum:
    """Sums lines over fixed measuring points.

    Parameters
    ----------
    two_theta
        Measuring points, degrees, ascending, shape (n,).
    """

    def __init__(self, two_theta: Array) -> None:
        self.two_theta = np.asarray(two_theta, dtype=np.float64)
        step = _SMALLEST_WINDOW_DEG * _CORE_PER_WINDOW / _GRID_PER_CORE
        low, high = self.two_theta[0] - 2 * step, self.two_theta[-1] + 2 * step
        self._grid = np.linspace(low, high, int(np.ceil((high - low) / step)) + 1)
        self._to_points = _interpolation_matrix(self._grid, self.two_theta)
        self._axial_counts: NDArray[np.intp] | None = None

    def hold_axial_nodes(self, lines: Lines, source_ratio: float, detector_ratio: float) -> None:
        """From now on as many axial nodes for each line as these lines need, whatever widths become.

        Their number jumps with the width. Sums of strong lines then jump by more than a minimum may be missed.
        """
        self._axial_counts = axial_counts(lines, source_ratio, detector_ratio)

    def total(self, lines: Lines, source_ratio: float, detector_ratio: float) -> Array:
        """Intensity at every point, shape (n,)."""
        nodes, heart, window, core, centroid, spread = self._layout(lines, source_ratio, detector_ratio)
        gauss_squared = lines.gauss_squared + spread
        x = self._grid[None, :] - centroid[:, None]
        tail = voigt_tail(x, gauss_squared[:, None], lines.lorentz[:, None], core[:, None])
        result = self._to_points @ (lines.area @ tail)

        row, point, _ = self._flat(lines.position, window)
        x = self.two_theta[point] - centroid[row]
        widths = gauss_squared[row], lines.lorentz[row]
        far = np.abs(self.two_theta[point] - lines.position[row]) > heart[row]
        flank = -voigt_tail(x, *widths, core[row])
        flank[far] += voigt_tail(x[far], widths[0][far], widths[1][far], np.zeros(()))
        result += np.bincount(point, flank * lines.area[row], len(result))

        component, point, _ = self._flat(lines.position[nodes.line], heart[nodes.line])
        owner = nodes.line[component]
        x = self.two_theta[point] - nodes.position[component]
        value = voigt(x, lines.gauss_squared[owner], lines.lorentz[owner])
        result += np.bincount(point, value * (nodes.weight * lines.area[nodes.line])[component], len(result))
        return np.asarray(result)

    def total_with_jacobian(
        self, lines: Lines, derivatives: LineDerivatives, source_ratio: float, detector_ratio: float
    ) -> tuple[Array, Array]:
        """Intensity (n,) and its derivatives by the parameters (n, parameters)."""
        nodes, heart, window, core, centroid, spread = self._layout(lines, source_ratio, detector_ratio)
        gauss_squared = lines.gauss_squared + spread
        n_points = len(self.two_theta)
        area = lines.area[:, None]

        x = self._grid[None, :] - centroid[:, None]
        tail = voigt_tail_with_derivatives(x, gauss_squared[:, None], lines.lorentz[:, None], core[:, None])
        d_area, d_position = derivatives.area, -area * derivatives.position
        d_gauss, d_lorentz = area * derivatives.gauss_squared, area * derivatives.lorentz
        tail_position, tail_gauss = d_position, d_gauss
        if derivatives.axial_columns is not None:
            columns = list(derivatives.axial_columns)
            by_centroid, by_spread = _moments_by_ratios(nodes, centroid)
            tail_position, tail_gauss = d_position.copy(), d_gauss.copy()
            tail_position[:, columns] -= area * by_centroid
            tail_gauss[:, columns] += area * by_spread
        on_grid = (
            tail.value.T @ d_area + tail.d_x.T @ tail_position + tail.d_gauss_squared.T @ tail_gauss
            + tail.d_lorentz.T @ d_lorentz
        )  # fmt: skip
        result = self._to_points @ (lines.area @ tail.value)
        jacobian = self._to_points @ on_grid

        row, point, starts = self._flat(lines.position, window)
        x = self.two_theta[point] - centroid[row]
        widths = gauss_squared[row], lines.lorentz[row]
        far = np.abs(self.two_theta[point] - lines.position[row]) > heart[row]
        flank = voigt_tail_with_derivatives(x, *widths, core[row])
        series = voigt_tail_with_derivatives(x[far], widths[0][far], widths[1][far], np.zeros(()))
        for part, exact in zip(flank, series, strict=True):
            np.negative(part, out=part)
            part[far] += exact
        rows = _RowMatrix(point, starts, n_points)
        result += rows.dot(flank.value, lines.area)
        jacobian += (
            rows.dot(flank.value, d_area) + rows.dot(flank.d_x, tail_position)
            + rows.dot(flank.d_gauss_squared, tail_gauss) + rows.dot(flank.d_lorentz, d_lorentz)
        )  # fmt: skip

        owner = nodes.line
        component, point, starts = self._flat(lines.position[owner], heart[owner])
        x = self.two_theta[point] - nodes.position[component]
        shape = voigt_with_derivatives(
            x, lines.gauss_squared[owner][component], lines.lorentz[owner][component]
        )
        rows = _RowMatrix(point, starts, n_points)
        weight = nodes.weight[:, None]
        c_area = weight * d_area[owner]
        c_position = weight * nodes.d_position[:, None] * d_position[owner]
        if derivatives.axial_columns is not None:
            c_area[:, columns] += nodes.weight_by_ratios * area[owner]
            c_position[:, columns] -= weight * nodes.position_by_ratios * area[owner]
        result += rows.dot(shape.value, nodes.weight * lines.area[owner])
        jacobian += (
            rows.dot(shape.value, c_area) + rows.dot(shape.d_x, c_position)
            + rows.dot(shape.d_gauss_squared, weight * d_gauss[owner])
            + rows.dot(shape.d_lorentz, weight * d_lorentz[owner])
        )  # fmt: skip
        return np.asarray(result), np.asarray(jacobian)

    def _layout(
        self, lines: Lines, source_ratio: float, detector_ratio: float
    ) -> tuple[AxialNodes, Array, Array, Array, Array, Array]:
        """Axial components; heart, window and smoothing length of each line; centroid and squared width of the tail."""
        width = fwhm(lines.gauss_squared, lines.lorentz)
        shift = np.abs(largest_shift(lines.position, source_ratio, detector_ratio))
        counts = self._axial_counts
        if counts is None:
            counts = axial_counts(lines, source_ratio, detector_ratio)
        nodes = axial_nodes(lines.position, counts, source_ratio, detector_ratio)
        n = len(width)
        centroid = np.asarray(np.bincount(nodes.line, nodes.weight * nodes.position, n), dtype=np.float64)
        away = nodes.position - centroid[nodes.line]
        variance = np.asarray(np.bincount(nodes.line, nodes.weight * away**2, n), dtype=np.float64)
        window = np.maximum(_SMALLEST_WINDOW_DEG, _WINDOW_PER_FWHM * width) + shift
        heart = _HEART_PER_FWHM * width + 2.0 * shift
        return nodes, heart, window, _CORE_PER_WINDOW * window, centroid, variance * FWHM_PER_SIGMA**2

    def _flat(
        self, position: Array, window: Array
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """Rows and points of all windows written one after the other, and where each row starts."""
        first = np.searchsorted(self.two_theta, position - window)
        last = np.searchsorted(self.two_theta, position + window)
        sizes = last - first
        starts = np.concatenate([[0], np.cumsum(sizes)])
        row = np.repeat(np.arange(len(position)), sizes)
        point = np.arange(starts[-1]) - np.repeat(starts[:-1] - first, sizes)
        return row, point, starts


def axial_counts(lines: Lines, source_ratio: float, detector_ratio: float) -> NDArray[np.intp]:
    """How many axial nodes the shift of each line asks for."""
    shift = np.abs(largest_shift(lines.position, source_ratio, detector_ratio))
    width = fwhm(lines.gauss_squared, lines.lorentz)
    counts = np.clip(np.ceil(_NODES_PER_WIDTH * shift / width) + 2, 2, _MOST_NODES)
    return np.asarray(counts, dtype=np.intp)


def _moments_by_ratios(nodes: AxialNodes, centroid: Array) -> tuple[Array, Array]:
    """Derivatives of centroid and squared axial width of each line by the two ratios, shapes (n, 2)."""
    away = (nodes.position - centroid[nodes.line])[:, None]
    weight, by_weight, by_position = nodes.weight[:, None], nodes.weight_by_ratios, nodes.position_by_ratios
    by_centroid = by_weight * nodes.position[:, None] + weight * by_position
    by_variance = by_weight * away**2 + 2.0 * weight * away * by_position
    columns = [
        np.bincount(nodes.line, part[:, k], len(centroid)).astype(np.float64)
        for part in (by_centroid, by_variance)
        for k in (0, 1)
    ]
    return np.stack(columns[:2], axis=1), np.stack(columns[2:], axis=1) * FWHM_PER_SIGMA**2


class _RowMatrix:
    """A sparse matrix of rows that are runs of points, multiplied from the left by its transpose."""

    def __init__(self, point: NDArray[np.intp], starts: NDArray[np.intp], n_points: int) -> None:
        # rows as columns of a column-wise matrix: the transpose, without transposing; only the data change
        blank = np.empty(len(point))
        self._matrix = sp.csc_matrix((blank, point, starts), shape=(n_points, len(starts) - 1), copy=False)

    def dot(self, data: Array, coefficients: Array) -> Array:
        """Sum over rows of coefficient times row: shape (points,) or (points, columns)."""
        self._matrix.data = np.ascontiguousarray(data)
        if coefficients.ndim == 1:
            return np.asarray(self._matrix @ coefficients)
        used = np.flatnonzero(coefficients.any(axis=0))
        result = np.zeros((self._matrix.shape[0], coefficients.shape[1]))
        if len(used):
            result[:, used] = self._matrix @ np.ascontiguousarray(coefficients[:, used])
        return result


def _interpolation_matrix(grid: Array, points: Array) -> sp.csr_matrix:
    """Four-point Lagrange interpolation from an even grid to the points, as a sparse matrix."""
    step = grid[1] - grid[0]
    where = (points - grid[0]) / step
    first = np.clip(np.floor(where).astype(np.intp) - 1, 0, len(grid) - 4)
    t = where - first  # position among the nodes 0, 1, 2, 3
    weights = np.stack(
        [
            -(t - 1) * (t - 2) * (t - 3) / 6.0,
            t * (t - 2) * (t - 3) / 2.0,
            -t * (t - 1) * (t - 3) / 2.0,
            t * (t - 1) * (t - 2) / 6.0,
        ],
        axis=1,
    )
    columns = first[:, None] + np.arange(4)
    starts = 4 * np.arange(len(points) + 1)
    return sp.csr_matrix((weights.ravel(), columns.ravel(), starts), shape=(len(points), len(grid)))
