"""Fits in which the intensities of a phase are free (`xrdorder.forward_model.free_lines`).

They serve twice: as a cross-check of the lattice parameter of the A15, and for phases of which only cell and space
group are known.
"""

import copy

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from xrdorder.exceptions import FitError
from xrdorder.fitting.from_lines import LineLattice, no_lattice
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.engines import compressed
from xrdorder.least_squares.refinement import Refinement, Solution, covariance

Array = NDArray[np.float64]

_MOST_ITERATIONS = 20  # of a linear problem with bounds


def by_line(fit: Refinement, lines: PhaseLines) -> tuple[dict[str, float], Array]:
    """Areas of the lines of a phase as the fit has them, by name, and the counts of each for an area of one, (n, k)."""
    values = fit.values()
    free = FreeLines.freed(lines, values)
    areas = free.areas(values, lines)
    alone = copy.copy(fit.model)
    alone.phases = (free,)
    _, by_areas = alone.counts_with_jacobian(values | areas, free.area_names)
    return areas, by_areas


def pawley_lattice(fit: Refinement, a15: PhaseLines, enlargement: float = 1.0) -> LineLattice:
    """Lattice parameter of a phase with the intensities of its lines set free.

    One linear step from the minimum of the whole fit; everything else that was free there is free here.

    Parameters
    ----------
    fit
        Whole-pattern fit at its minimum; it is not changed.
    a15
        Lines of the phase in it.
    enlargement
        Factor on counting uncertainties.
    """
    values = fit.values()
    areas, by_areas = by_line(fit, a15)
    intensity_names = {a15.scale_name, *a15.intensities(values)[1]}
    rest = [n for n, p in fit.parameters.items() if p.vary and n not in intensity_names]
    whole = fit.weighted(np.concatenate([fit.derivatives(rest).T, by_areas.T]).T)
    misfit = -fit.weighted_residual()[fit.used]
    # the problem is linear: a square Jacobian says as much as the tall one
    residual, jacobian = compressed(misfit, whole)
    start = np.array([*(values[name] for name in rest), *areas.values()])
    lower = np.array([*(fit.parameters[name].min for name in rest), *np.zeros(len(areas))])
    upper = np.array([*(fit.parameters[name].max for name in rest), *np.full(len(areas), np.inf)])

    # areas are linear, and lines move by a hundredth of their width: so is all of it, from the minimum of the whole fit
    def residuals(point: Array) -> tuple[Array, Array]:
        return residual + jacobian @ (point - start), jacobian

    minimum = fit.engine(residuals, start, lower, upper, tolerance=1e-3, most_iterations=_MOST_ITERATIONS)
    live = np.flatnonzero((minimum.point > lower) & (minimum.point < upper) & whole.any(axis=0))
    length = rest.index(a15.length_names[0])
    if length not in live:
        return no_lattice(0, f"free intensities: {a15.length_names[0]} rests at its bound")
    try:
        of_live = covariance(jacobian.T[live].T)
    except FitError as error:
        return no_lattice(0, str(error))
    k = int(np.searchsorted(live, length))
    degrees = max(int(fit.used.sum()) - len(live), 1)
    u = float(np.sqrt(of_live[k, k])) * enlargement
    chi2 = float(misfit @ misfit - residual @ residual) + minimum.chi2
    return LineLattice(float(minimum.point[length]), u, 0.0, chi2 / degrees)


def initial_areas(fit: Refinement, lines: FreeLines) -> dict[str, float]:
    """Areas, not negative, with which the lines best add up to what the rest of the model leaves over.

    Parameters
    ----------
    fit
        With `lines` among the phases of its model.
    lines
        At the lattice and with the widths that its parameters have now.
    """
    nothing = fit.values() | dict.fromkeys(lines.area_names, 0.0) | {lines.scale_name: lines.unit_scale}
    counts, by_area = fit.model.counts_with_jacobian(nothing, lines.area_names)
    root = np.where(fit.used, 1.0 / np.sqrt(fit.variance), 0.0)
    matrix = by_area * root[:, None]
    norms = np.linalg.norm(matrix, axis=0)
    norms[norms == 0.0] = 1.0
    solved, _ = nnls(matrix / norms, (fit.observed - counts) * root)
    return dict(zip(lines.area_names, map(float, solved / norms), strict=True))


def significance(lines: FreeLines, solution: Solution) -> float:
    """How clearly a phase of free intensities stands out: the root of what chi squared would lose without its areas.

    As many areas of pure noise lose their own number, which is taken off; zero for a phase that does not exceed it.
    """
    rows = [k for k, name in enumerate(solution.free) if name in lines.area_names]
    if not rows:
        return 0.0
    areas = solution.point[rows]
    covariance = solution.covariance[np.ix_(rows, rows)]
    return float(np.sqrt(max(float(areas @ np.linalg.solve(covariance, areas)) - len(rows), 0.0)))
