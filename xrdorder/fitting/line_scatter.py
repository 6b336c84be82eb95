r"""How far do single lines lie from where one lattice puts them, or from its intensities, and what does that do?

A whole-pattern fit assumes that every line of a phase is shifted by lattice, specimen and instrument alone. In a
coarse powder the few grains that happen to reflect decide where a line stands and how strong it is; so may faults and
strain between grains. Then lines depart from the fit by more than counting, each by chance. With a standard deviation
s of that departure, the same for all lines of a phase, a line k has the variance :math:`u_k^2 + s^2`; a fit that
weighted it by :math:`u_k` alone is uncertain by :math:`\sqrt{\sum_k G_k^2 s^2}` more, where G is how its parameters
follow the lines. s is found where the sum of squared departures over that variance is what the degrees of freedom let
expect (R. C. Paule, J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377, from memory). Where areas scatter, each line
that is stronger or weaker by chance moves order and amounts as it would change the counts.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtrc

from xrdorder.crystals import free_lengths
from xrdorder.exceptions import Flag
from xrdorder.fitting.free_intensities import by_line
from xrdorder.fitting.from_lines import centres
from xrdorder.fitting.model_errors import ModelError
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.single_lines import SingleLine, fit_single_lines
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.refinement import Refinement
from xrdorder.quantities.of_phase import lattice_parameter

Array = NDArray[np.float64]

FEWEST_LINES = 5  # below it a scatter cannot be estimated
_CHANCE = 0.01  # of taking counting for scatter; what is missed is less than counting itself
_UNEVEN = 0.05  # scatter of areas from which few grains are reported; rotated fine powders reach 1 to 2 %, judged

_SMOOTH_TERMS = 3  # of a polynomial in sin(theta): scale, displacement parameters, and a loss of light at low angle
_LEAST_AREA = 3.0  # standard uncertainties
_OF_THE_SHAPE = ("axial_source_ratio", "axial_detector_ratio")

SingleLinesOfPhases = Mapping[str, tuple[PhaseLines, tuple[SingleLine, ...]]]


def fit_all_single_lines(job: Procedure) -> dict[str, tuple[PhaseLines, tuple[SingleLine, ...]]]:
    """Fit the lines of every phase one by one, by its name; not where two populations lie on each other."""
    enlargement = job.enlargement()
    populations = [lines.phase.name for lines in job.model.phases if not lines.share_name]
    return {
        lines.phase.name: (lines, fit_single_lines(job.fit, lines, enlargement))
        for lines in job.present()
        if not isinstance(lines, FreeLines) and populations.count(lines.phase.name) == 1
    }


@dataclass(frozen=True)
class Scatter:
    """Scatter of the lines of a phase beyond counting; zero where counting explains it.

    Attributes
    ----------
    lines
        The phase.
    count
        Number of lines.
    degrees
        Standard deviation of their angles about the fit.
    areas
        Relative standard deviation of their areas about those calculated.
    true_areas
        The same about those that texture and order had not followed: what scatters is larger than what is left.
    """

    lines: PhaseLines
    count: int
    degrees: float
    areas: float
    true_areas: float


class LineScatter:
    """Lines of all phases against the fit of the whole pattern.

    Parameters
    ----------
    fit
        At its minimum.
    single_lines
        Its phases with their single lines, from `fit_all_single_lines`.
    """

    def __init__(self, fit: Refinement, single_lines: SingleLinesOfPhases) -> None:
        self.fit, self._single_lines = fit, single_lines
        self.every = [lines for lines, _ in single_lines.values()]  # however few lines they have
        # a centre is that of a line without axial divergence
        self._free = tuple(n for n, p in fit.parameters.items() if p.vary and n not in _OF_THE_SHAPE)

    @cached_property
    def phases(self) -> list[Scatter]:
        """What each phase with lines enough shows."""
        degrees, _ = self._by_fit
        scatters = []
        for name, (lines, singles) in self._single_lines.items():
            usable = [line for line in singles if not line.reason and np.isfinite(line.u_centre)]
            if len(usable) >= FEWEST_LINES:
                followed = sum(name in self._free for name in (*lines.texture_names, lines.contrast_name))
                areas = (_scatter_of_areas(usable, taken) for taken in (0, followed))
                scatters.append(Scatter(lines, len(usable), degrees[name], *areas))
        return scatters

    def uncertainty(self, names: Sequence[str], *, also_free: Sequence[str] = ()) -> Array:
        """What the scatter adds to the standard uncertainty of fitted parameters, shape (names,).

        Parameters
        ----------
        names
            Parameters that move lines.
        also_free
            Held ones that are taken as fitted as well.
        """
        _, u = self._positions((*self._free, *also_free)) if also_free else self._by_fit
        return np.array([u.get(name, 0.0) for name in names])

    @cached_property
    def _by_fit(self) -> tuple[dict[str, float], dict[str, float]]:
        return self._positions(self._free)

    def _positions(self, free: tuple[str, ...]) -> tuple[dict[str, float], dict[str, float]]:
        """Scatter of each phase in degrees, and what it adds to the uncertainty of each parameter."""
        values = self.fit.values()
        departures, slopes, owners = [], [], []
        for name, (lines, singles) in self._single_lines.items():
            usable, by = centres(singles, lines, values, free)
            departures += [(line.centre - line.calculated_centre, line.u_centre) for line in usable]
            slopes.append(by)
            owners += [name] * len(usable)
        scatter = dict.fromkeys(self._single_lines, 0.0)
        if not departures:
            return scatter, {}
        departure, u = np.array(departures).T
        weighted = np.concatenate(slopes) / u[:, None]
        moving = np.any(weighted, axis=0)
        inverse, hat = _inverse(weighted[:, moving])
        residual, left = departure - u * (hat @ (departure / u)), 1.0 - np.diag(hat)
        for name in scatter:
            mine = np.array([owner == name for owner in owners])
            if mine.sum() >= FEWEST_LINES:
                scatter[name] = beyond_counting(residual[mine], u[mine], float(left[mine].sum()))
        each = np.array([scatter[owner] for owner in owners])
        added = np.linalg.norm(inverse / u * each, axis=1)
        return scatter, dict(zip(np.array(free)[moving].tolist(), added.tolist(), strict=True))


def _inverse(weighted: Array) -> tuple[Array, Array]:
    """What least squares make of weighted observations: (parameters, n), and the part of them they explain, (n, n)."""
    norms = np.linalg.norm(weighted, axis=0)
    inverse = np.linalg.pinv(weighted / norms) / norms[:, None]
    return inverse, weighted @ inverse


def _scatter_of_areas(lines: Sequence[SingleLine], followed: int) -> float:
    """Relative scatter of areas about those calculated, less what goes smoothly with angle (slit, absorption).

    So many fitted parameters have `followed` the areas beside.
    """
    strong = [line for line in lines if line.calculated_area > _LEAST_AREA * line.u_area]
    if len(strong) < FEWEST_LINES:
        return 0.0
    departure = np.array([line.area / line.calculated_area - 1.0 for line in strong])
    u = np.array([line.u_area / line.calculated_area for line in strong])
    sine = np.sin(np.radians(0.5 * np.array([line.calculated_centre for line in strong])))
    _, hat = _inverse(sine[:, None] ** np.arange(_SMOOTH_TERMS) / u[:, None])
    left = max(len(strong) - _SMOOTH_TERMS - followed, 1)
    return beyond_counting(departure - u * (hat @ (departure / u)), u, float(left))


def beyond_counting(departure: Array, u: Array, degrees_of_freedom: float) -> float:
    """Standard deviation s of departures beyond their own uncertainties; zero where chance explains them.

    Examples
    --------
    >>> beyond_counting(np.array([1.0, -1.0, 1.0, -1.0]), np.ones(4), 4.0)
    0.0
    >>> round(beyond_counting(np.array([5.0, -5.0, 5.0, -5.0]), np.full(4, 2.0), 4.0) ** 2, 6)
    21.0
    """
    chi_squared = float(np.sum((departure / u) ** 2))
    if degrees_of_freedom < 1.0 or float(chdtrc(degrees_of_freedom, chi_squared)) > _CHANCE:
        return 0.0

    def excess(s: float) -> float:
        return float(np.sum(departure**2 / (u**2 + s**2))) - degrees_of_freedom

    return float(brentq(excess, 0.0, np.sqrt(np.sum(departure**2) / degrees_of_freedom)))


def scatter_errors(scatter: LineScatter, a15: PhaseLines | None) -> list[ModelError]:
    """What the scatter of lines adds to lattice parameters, order and amounts.

    Lattices of phases with few lines follow the displacement of the specimen, which the lines of others decide.
    """
    errors = []
    for lines in scatter.every:
        u = scatter.uncertainty(lines.length_names)
        for axis, added in zip(free_lengths(lines.phase.system), u, strict=True):
            quantity = "a_nm" if lines is a15 else lattice_parameter(axis).of(lines.phase.name)
            if added > 0.0:
                errors.append(ModelError(f"line positions/{quantity}", "", None, {quantity: float(added)}))
    for uneven in (phase for phase in scatter.phases if phase.true_areas > 0.0):
        name = uneven.lines.phase.name
        areas, columns = by_line(scatter.fit, uneven.lines)
        for k, (area, column) in enumerate(zip(areas.values(), columns.T, strict=True)):
            errors.append(ModelError(f"line areas/{name} {k}", "", uneven.true_areas * area * column))
    return errors


def scatter_flags(scatter: LineScatter, main: PhaseLines) -> list[Flag]:
    """Phases whose lines are not where, or not as strong as, one lattice in many grains has them."""
    flags = []
    for observed in scatter.phases:
        name, terms = observed.lines.phase.name, []
        if observed.areas > _UNEVEN:
            terms.append(f"{100.0 * observed.areas:.0f} % in area")
        if observed.degrees > 0.0:
            terms.append(f"{observed.degrees:.4f} degrees in angle")
        if not terms:
            continue
        text = f"{observed.count} single lines of {name} scatter about the fit by {' and '.join(terms)}"
        text += ", beyond counting"
        if observed.degrees > 0.0:
            text += "; its lattice is less certain by that"
        if observed.areas > _UNEVEN:
            flag = "few-grains" if observed.lines is main else "few-grains-beside"
            text += (
                ": few grains reflect, or slit and texture are not as modelled? Grind finer, rotate, measure several "
                "fillings"
            )
        else:
            flag = "lines-out-of-place"
            text += ": strain, faults, another phase below the lines, or a line shape the instrument does not have?"
        flags.append(Flag(flag, text))
    return flags
