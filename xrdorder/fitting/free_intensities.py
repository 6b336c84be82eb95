"""Fits in which the intensities of a phase are free (`xrdorder.forward_model.free_lines`).

They serve twice: as a cross-check of the lattice parameter of the A15, and for phases of which only cell and space
group are known.
"""

import copy
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.forward_model.roles import add_parameter
from xrdorder.least_squares.quality import agreement
from xrdorder.least_squares.refinement import Refinement, Solution

Array = NDArray[np.float64]

_MOST_ITERATIONS = 8
_LINEAR = 100.0  # of chi squared: areas are linear, and lines move by a hundredth of their width at most


class FreeLattice(NamedTuple):
    """Lattice parameter of a fit whose intensities are free, and how well that fit describes the pattern."""

    a_nm: float
    u_a_nm: float
    chi2_reduced: float


def pawley_lattice(fit: Refinement, a15: PhaseLines, enlargement: float = 1.0) -> FreeLattice:
    """Lattice parameter of a phase with the intensities of its lines set free.

    Starts at the minimum of the whole fit; everything else that was free there is free here.

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
    free = FreeLines.freed(a15, values)
    trial = copy.copy(fit)
    trial.evaluations = 0  # a budget of its own
    trial.model = copy.copy(fit.model)
    trial.model.phases = tuple(free if lines is a15 else lines for lines in fit.model.phases)
    trial.parameters = copy.deepcopy(fit.parameters)
    for name, area in free.areas(values, a15).items():
        add_parameter(trial.parameters, name, free.roles[name], area, 0.0)
    intensity_names = {a15.scale_name, *a15.intensities(values)[1]}
    vary = [n for n, p in fit.parameters.items() if p.vary and n not in intensity_names]
    trial.run([*vary, *free.area_names], most_iterations=_MOST_ITERATIONS, tolerance=_LINEAR)
    solution, _ = trial.solution()
    name = a15.length_names[0]
    used = fit.used
    quality = agreement(
        fit.observed[used],
        trial.model.counts(trial.values())[used],
        fit.variance[used],
        len(solution.free),
    )
    return FreeLattice(solution.value(name), solution.u(name) * enlargement, quality.chi2_reduced)


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
