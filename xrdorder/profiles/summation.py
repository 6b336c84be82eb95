"""Sum thousands of line components over a whole pattern, exactly and fast.

A Voigt line reaches over the whole pattern, but only near its centre is it anything but smooth. Each line is
therefore split into a smooth tail (`voigt_tail`), summed on a coarse grid and interpolated, and a core, which is the
exact line less that tail and vanishes outside a window. Nothing is cut off: at a window of four smoothing lengths
the core left out is below 3e-4 of a tail that itself is below 1e-3 of the line. Windows without the tail would bias the
Lorentzian widths and the background, so they are not offered. Inside the window the Voigt function itself is needed
only in the heart of the line, there for every axial component; from five widths on its asymptotic series is as good.
"""

import copy
from functools import cached_property, lru_cache
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from xrdorder.profiles.axial import SMALL_RATIO, AxialNodes, axial_nodes, largest_shift, legendre_tables
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
_LEAST_NODES, _MOST_NODES = 3, 40  # three give the moments of the shifts exactly
# Lines shifted by less than this share of their width, half of them, are as good with one node at the centroid: the
# error of a sum stays what it was, 0.011 standard uncertainties of the counts; 0.017 up to 0.25, and 0.6 up to 0.5.
_HARDLY_SHIFTED = 0.1


class Lines(NamedTuple):
    """Unsplit lines: centre, area (counts times degree) and widths, each of shape (n,).

    `nodes` are the axial nodes of each line, from `axial_counts`; None to have them counted. Their number jumps with
    the width, and sums of strong lines then jump by more than a minimum may be missed: a fit holds them.
    """

    position: Array
    area: Array
    gauss_squared: Array
    lorentz: Array
    nodes: NDArray[np.intp] | None = None


class LineDerivatives(NamedTuple):
    """Derivatives of `Lines` by parameters, each of shape (n, parameters), and which columns are the axial ratios."""

    position: Array
    area: Array
    gauss_squared: Array
    lorentz: Array
    axial_columns: tuple[int, int] | None


class Layout(NamedTuple):
    """Where each line is summed by which of its forms.

    Components stand for a line in its heart: its axial nodes, or one at their centroid, wider by their spread, for a
    line that axial divergence hardly shifts. Derivatives by the two axial ratios stand in pairs.

    Attributes
    ----------
    starts
        First component of each line, and their number, shape (n + 1,).
    components
        Position, weight, what is added to the squared width of the line, derivative of the position by that of the
        line; derivatives of weight, position and squared width by both ratios; shape (m, 10).
    tails
        Centroid, what axial divergence adds to the squared width, and derivatives of both by both ratios; (n, 6).
    heart, window, core
        Half widths of both regions and smoothing length of each line, degrees, shape (n,).
    """

    starts: NDArray[np.intp]
    components: Array
    tails: Array
    heart: Array
    window: Array
    core: Array

    @property
    def owner(self) -> NDArray[np.intp]:
        """Line of each component, shape (m,)."""
        return np.repeat(np.arange(len(self.tails)), np.diff(self.starts))


class ProfileSum:
    """Sums lines over fixed measuring points.

    Parameters
    ----------
    two_theta
        Measuring points, degrees, ascending, shape (n,).

    Attributes
    ----------
    grid
        Coarse grid of the smooth tails, degrees.
    first, weights
        How the points lie in it: first of four grid points, shape (n,), and their weights, (n, 4).
    """

    def __init__(self, two_theta: Array) -> None:
        self.two_theta = np.array(two_theta, dtype=np.float64, order="C")
        step = _SMALLEST_WINDOW_DEG * _CORE_PER_WINDOW / _GRID_PER_CORE
        low, high = self.two_theta[0] - 2 * step, self.two_theta[-1] + 2 * step
        self.grid = np.linspace(low, high, int(np.ceil((high - low) / step)) + 1)
        self.first, self.weights = _interpolation(self.grid, self.two_theta)

    def window(self, first: int, last: int) -> "ProfileSum":
        """The same over some of the points in a row."""
        part = copy.copy(self)
        part.__dict__.pop("_to_points", None)
        part.two_theta, part.weights = self.two_theta[first:last], self.weights[first:last]
        low, high = (self.first[first], self.first[last - 1] + 4) if last > first else (0, 4)
        part.grid, part.first = self.grid[low:high], self.first[first:last] - low
        return part

    @cached_property
    def _to_points(self) -> sp.csr_matrix:
        """Interpolation from the grid to the points."""
        columns, starts = self.first[:, None] + np.arange(4), 4 * np.arange(len(self.two_theta) + 1)
        shape = len(self.two_theta), len(self.grid)
        return sp.csr_matrix((self.weights.ravel(), columns.ravel(), starts), shape=shape)

    def total(self, lines: Lines, source_ratio: float, detector_ratio: float) -> Array:
        """Intensity at every point, shape (n,)."""
        if compiled():
            nothing = np.zeros((len(lines.position), 0))
            derivatives = LineDerivatives(nothing, nothing, nothing, nothing, None)
            return self.total_with_jacobian(lines, derivatives, source_ratio, detector_ratio)[0]
        layout = self.layout(lines, source_ratio, detector_ratio)
        gauss_squared = lines.gauss_squared + layout.tails[:, 1]
        x = self.grid[None, :] - layout.tails[:, 0][:, None]
        tail = voigt_tail(x, gauss_squared[:, None], lines.lorentz[:, None], layout.core[:, None])
        result = self._to_points @ (lines.area @ tail)

        row, point, _ = self._flat(lines.position, layout.window)
        x = self.two_theta[point] - layout.tails[:, 0][row]
        widths = gauss_squared[row], lines.lorentz[row]
        far = np.abs(self.two_theta[point] - lines.position[row]) > layout.heart[row]
        flank = -voigt_tail(x, *widths, layout.core[row])
        flank[far] += voigt_tail(x[far], widths[0][far], widths[1][far], np.zeros(()))
        result += np.bincount(point, flank * lines.area[row], len(result))

        owner = layout.owner
        component, point, _ = self._flat(lines.position[owner], layout.heart[owner])
        x = self.two_theta[point] - layout.components[:, 0][component]
        widths = (lines.gauss_squared[owner] + layout.components[:, 2])[component], lines.lorentz[owner][component]
        result += np.bincount(
            point, voigt(x, *widths) * (layout.components[:, 1] * lines.area[owner])[component], len(result)
        )
        return np.asarray(result)

    def total_with_jacobian(
        self, lines: Lines, derivatives: LineDerivatives, source_ratio: float, detector_ratio: float
    ) -> tuple[Array, Array]:
        """Intensity (n,) and its derivatives by the parameters (n, parameters)."""
        columns = derivatives.position.shape[1]
        sums = RunningSum(self, columns)
        sums.add(lines, derivatives, np.arange(columns), source_ratio, detector_ratio)
        return sums.finished()

    def by_arrays(self, lines: Lines, derivatives: LineDerivatives, layout: Layout) -> tuple[Array, Array]:
        """The same without compiled loops."""
        gauss_squared = lines.gauss_squared + layout.tails[:, 1]
        n_points = len(self.two_theta)
        area = lines.area[:, None]
        columns = list(derivatives.axial_columns or ())

        x = self.grid[None, :] - layout.tails[:, 0][:, None]
        tail = voigt_tail_with_derivatives(x, gauss_squared[:, None], lines.lorentz[:, None], layout.core[:, None])
        d_area, d_position = derivatives.area, -area * derivatives.position
        d_gauss, d_lorentz = area * derivatives.gauss_squared, area * derivatives.lorentz
        tail_position, tail_gauss = d_position.copy(), d_gauss.copy()
        if columns:
            tail_position[:, columns] -= area * layout.tails[:, 2:4]
            tail_gauss[:, columns] += area * layout.tails[:, 4:]
        on_grid = (
            tail.value.T @ d_area + tail.d_x.T @ tail_position + tail.d_gauss_squared.T @ tail_gauss
            + tail.d_lorentz.T @ d_lorentz
        )  # fmt: skip
        result = self._to_points @ (lines.area @ tail.value)
        jacobian = self._to_points @ on_grid

        row, point, starts = self._flat(lines.position, layout.window)
        x = self.two_theta[point] - layout.tails[:, 0][row]
        widths = gauss_squared[row], lines.lorentz[row]
        far = np.abs(self.two_theta[point] - lines.position[row]) > layout.heart[row]
        flank = voigt_tail_with_derivatives(x, *widths, layout.core[row])
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

        owner = layout.owner
        component, point, starts = self._flat(lines.position[owner], layout.heart[owner])
        x = self.two_theta[point] - layout.components[:, 0][component]
        widths = (lines.gauss_squared[owner] + layout.components[:, 2])[component], lines.lorentz[owner][component]
        shape = voigt_with_derivatives(x, *widths)
        rows = _RowMatrix(point, starts, n_points)
        weight = layout.components[:, 1][:, None]
        c_area, c_gauss = weight * d_area[owner], weight * d_gauss[owner]
        c_position = weight * layout.components[:, 3][:, None] * d_position[owner]
        if columns:
            c_area[:, columns] += layout.components[:, 4:6] * area[owner]
            c_position[:, columns] -= weight * layout.components[:, 6:8] * area[owner]
            c_gauss[:, columns] += weight * layout.components[:, 8:] * area[owner]
        result += rows.dot(shape.value, layout.components[:, 1] * lines.area[owner])
        jacobian += (
            rows.dot(shape.value, c_area) + rows.dot(shape.d_x, c_position)
            + rows.dot(shape.d_gauss_squared, c_gauss) + rows.dot(shape.d_lorentz, weight * d_lorentz[owner])
        )  # fmt: skip
        return np.asarray(result), np.asarray(jacobian)

    def layout(self, lines: Lines, source_ratio: float, detector_ratio: float) -> Layout:
        """Components, regions and tails of the lines."""
        width = fwhm(lines.gauss_squared, lines.lorentz)
        shift = np.abs(largest_shift(lines.position, source_ratio, detector_ratio))
        counts = axial_counts(lines, source_ratio, detector_ratio) if lines.nodes is None else lines.nodes
        window = np.maximum(_SMALLEST_WINDOW_DEG, _WINDOW_PER_FWHM * width) + shift
        heart = np.minimum(_HEART_PER_FWHM * width + 2.0 * shift, window)
        alone, counts = counts == 1, np.maximum(counts, _LEAST_NODES)
        pieces = 1 if abs(source_ratio - detector_ratio) <= SMALL_RATIO else 2
        kernel = compiled() if source_ratio + detector_ratio >= SMALL_RATIO else None
        if kernel is None:
            starts, components, tails = _components(lines.position, counts, alone, source_ratio, detector_ratio)
        else:
            starts = np.concatenate([[0], np.cumsum(np.where(alone, 1, pieces * counts))])
            components, tails = np.empty((starts[-1], 10)), np.empty((len(width), 6))
            kernel.lay_out_nodes(
                lines.position, counts, alone, starts, source_ratio, detector_ratio, legendre_tables(_MOST_NODES),
                components, tails,
            )  # fmt: skip
        return Layout(starts, components, tails, heart, window, _CORE_PER_WINDOW * window)

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


@lru_cache(maxsize=1)
def compiled() -> ModuleType | None:
    """`xrdorder.profiles.compiled`; None where numba is not installed."""
    if find_spec("numba") is None:
        return None
    return import_module("xrdorder.profiles.compiled")


def axial_counts(lines: Lines, source_ratio: float, detector_ratio: float) -> NDArray[np.intp]:
    """How many axial nodes the shift of each line asks for; one, at their centroid, where it is hardly shifted."""
    shift = np.abs(largest_shift(lines.position, source_ratio, detector_ratio))
    relative = shift / fwhm(lines.gauss_squared, lines.lorentz)
    counts = np.clip(np.ceil(_NODES_PER_WIDTH * relative) + 2, _LEAST_NODES, _MOST_NODES)
    return np.where(relative < _HARDLY_SHIFTED, 1, counts).astype(np.intp)


def _components(
    position: Array, counts: NDArray[np.intp], alone: NDArray[np.bool_], source_ratio: float, detector_ratio: float
) -> tuple[NDArray[np.intp], Array, Array]:
    """Starts, components and tails of `Layout`; one component at the centroid of lines that are `alone`."""
    nodes = axial_nodes(position, counts, source_ratio, detector_ratio)
    tails, n = _moments(nodes, len(position)), len(position)
    of_line = np.bincount(nodes.line, minlength=n)
    first, kept = np.cumsum(of_line) - of_line, np.where(alone, 1, of_line)
    starts = np.concatenate([[0], np.cumsum(kept)])
    index = np.arange(starts[-1]) + np.repeat(first - starts[:-1], kept)
    single = starts[:-1][alone]
    components = np.zeros((len(index), 10))
    components[:, 0], components[:, 1] = nodes.position[index], nodes.weight[index]
    components[:, 3] = nodes.d_position[index]
    components[:, 4:6], components[:, 6:8] = nodes.weight_by_ratios[index], nodes.position_by_ratios[index]
    components[single, 0], components[single, 1], components[single, 2] = tails[alone, 0], 1.0, tails[alone, 1]
    components[single, 3] = np.bincount(nodes.line, nodes.weight * nodes.d_position, n)[alone]
    components[single, 4:6], components[single, 6:] = 0.0, tails[alone, 2:]
    return starts, components, tails


def _moments(nodes: AxialNodes, n: int) -> Array:
    """Centroid and squared axial width of each line, and derivatives of both by the two ratios, shape (n, 6)."""
    weight = nodes.weight

    def of_lines(part: Array) -> Array:
        return np.asarray(np.bincount(nodes.line, part, n), dtype=np.float64)

    centroid = of_lines(weight * nodes.position)
    away = nodes.position - centroid[nodes.line]
    by_centroid, by_spread = [], []
    for by_weight, by_position in zip(nodes.weight_by_ratios.T, nodes.position_by_ratios.T, strict=True):
        by_centroid.append(of_lines(by_weight * nodes.position + weight * by_position))
        by_spread.append(of_lines(by_weight * away**2 + 2.0 * weight * away * by_position) * FWHM_PER_SIGMA**2)
    spread = of_lines(weight * away**2) * FWHM_PER_SIGMA**2
    return np.stack([centroid, spread, *by_centroid, *by_spread], axis=1)


class RunningSum:
    """Lines of several phases and their derivatives by one set of parameters, added up phase by phase.

    Parameters
    ----------
    profile
        Where they are summed.
    parameters
        How many there are.
    """

    def __init__(self, profile: ProfileSum, parameters: int) -> None:
        self._profile = profile
        self._total = np.zeros(len(profile.two_theta))
        self._jacobian = np.zeros((parameters, len(profile.two_theta)))  # each parameter contiguous
        self._on_grid = np.zeros((1 + parameters, len(profile.grid))) if compiled() else None

    def add(
        self,
        lines: Lines,
        derivatives: LineDerivatives,
        place: NDArray[np.intp],
        source_ratio: float,
        detector_ratio: float,
    ) -> None:
        """Add lines, whose derivatives belong to the parameters at these places, shape (columns,)."""
        layout, kernel = self._profile.layout(lines, source_ratio, detector_ratio), compiled()
        if kernel is None:
            part, slopes = self._profile.by_arrays(lines, derivatives, layout)
            self._total += part
            self._jacobian[place] += slopes.T
            return
        source, detector = derivatives.axial_columns or (-1, -1)
        axial = (int(place[source]), int(place[detector])) if source >= 0 else (-1, -1)
        # one order in memory: another would be compiled anew
        kernel.sum_lines(
            self._profile.two_theta, self._profile.grid, tuple(map(np.ascontiguousarray, lines[:4])),
            tuple(map(np.ascontiguousarray, derivatives[:4])), tuple(layout), axial, place,
            self._total, self._jacobian, self._on_grid,
        )  # fmt: skip

    def finished(self) -> tuple[Array, Array]:
        """Intensity (n,) and its derivatives (n, parameters); ask once."""
        if kernel := compiled():
            profile = self._profile
            kernel.interpolate(profile.first, profile.weights, self._on_grid, self._total, self._jacobian)
        return self._total, self._jacobian.T


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


def _interpolation(grid: Array, points: Array) -> tuple[NDArray[np.intp], Array]:
    """Four-point Lagrange interpolation from an even grid: first grid point, shape (n,), and weights, (n, 4)."""
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
    return first, weights
