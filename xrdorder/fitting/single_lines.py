"""Fit lines one by one, each in its own window: a cross-check that uses nothing of the others.

A whole-pattern fit ties all lines together by lattice, widths and structure. Here each line of the A15 has its own
centre, area and width, and its own level and slope of the background; only the line shape (emission, instrument, axial
divergence) is the common one. What other phases, lines of the A15 too weak or too far to be fitted along, and the curve
of the background contribute is taken from the whole fit and subtracted; a line that others cover too much is left out,
with the reason. (A plain straight line instead of that curve took a twentieth of (110), where the background is steep.)
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.quality import squared_significance
from xrdorder.least_squares.refinement import Refinement
from xrdorder.profiles.axial import largest_shift
from xrdorder.profiles.summation import LineDerivatives, Lines, ProfileSum
from xrdorder.profiles.voigt import fwhm

Array = NDArray[np.float64]
Hkl = tuple[int, int, int]

ORDER_LINE: Hkl = (1, 1, 0)
STRONG_LINES: tuple[Hkl, ...] = ((2, 1, 1), (3, 2, 1))
SECOND_ORDER: Hkl = (4, 4, 0)
_WANTED = (ORDER_LINE, *STRONG_LINES, SECOND_ORDER)  # of the A15, fitted however weak

# Own choice, all of them: no result depends on them but by what is left out, and that is named. Significances are
# those of a filter that knows background, centre and width; a fit of all of them reaches a third.
_SEEN = 30.0  # significance below which a line says nothing about the lattice: it keeps its calculated centre
_WIDTH_SEEN = 100.0  # and its calculated width; a free width would cost a weak line half the precision of its area
_REACH_WIDTHS = 6.0  # half width of a window: of a Lorentzian 5 % of the area is outside
_LEAST_REACH_DEG = 1.0
_NEIGHBOUR_WIDTHS = 3.0  # lines nearer than this share a window
_MEASURED = 0.8  # least share of a window that must hold points; own choice
_MOST_COVERED = 0.1  # a tenth covered, known to a tenth, is a hundredth of the area
_LEAST_CONTRAST = 0.2  # the shape of an order line is drawn with this contrast where the fit found less
_SAME_SPACING = 1e-7  # relative


@dataclass(frozen=True)
class SingleLine:
    """One line of the A15, fitted for itself.

    Attributes
    ----------
    hkl
        Miller indices; those of the first form where several share a spacing (330 and 411).
    width
        Full width at half maximum of the reference emission line, without axial divergence and without a lopsided
        spread of the lattice, degrees.
    calculated_centre, calculated_area
        What the whole-pattern fit says.
    covered
        Share by which the area would be too large had the other phases not been subtracted.
    reason
        Why the line could not be used; empty when it could.
    centre, u_centre
        Angle of the reference emission line with all shifts of the instrument and its standard uncertainty, degrees;
        NaN where the centre was held.
    area, u_area
        All emission lines together, counts times degree.
    lorentz, u_lorentz
        Full width of the Lorentzian part and its standard uncertainty, degrees; the Gaussian part is held. NaN where
        the width was.
    chi2_reduced
        Of the window.
    """

    hkl: Hkl
    width: float
    calculated_centre: float
    calculated_area: float
    covered: float = float("nan")
    reason: str = ""
    centre: float = float("nan")
    u_centre: float = float("nan")
    area: float = float("nan")
    u_area: float = float("nan")
    lorentz: float = float("nan")
    u_lorentz: float = float("nan")
    chi2_reduced: float = float("nan")

    @property
    def name(self) -> str:
        """Indices in brackets, "(211)"."""
        return hkl_name(self.hkl)


def hkl_name(hkl: Hkl) -> str:
    """Miller indices in brackets.

    >>> hkl_name((2, 1, 1))
    '(211)'
    """
    return "(" + "".join(str(i) for i in hkl) + ")"


@dataclass(frozen=True)
class DrawnLine:
    """A line as the whole fit draws it: rows of the drawn components, and those of the reference emission line."""

    hkl: Hkl
    spacing_nm: float
    rows: NDArray[np.intp]
    reference: NDArray[np.intp]

    def mean(self, column: Array, weight: Array) -> Array:
        """Mean of a column over the components of the reference emission line, weighted."""
        share = weight[self.reference]
        return np.asarray(share @ column[self.reference] / share.sum())


def drawn_lines(a15: PhaseLines, drawn: Lines, values: Mapping[str, float]) -> list[DrawnLine]:
    """Lines of a phase with the components of `PhaseLines.lines`; forms that share a spacing are one line."""
    # components stand by reflection; a spread of the lattice draws each emission line several times
    each, first = len(drawn.position) // max(len(a15.hkl), 1), a15.first_lines()
    reference = np.flatnonzero(np.repeat(first, len(drawn.position) // max(len(first), 1))[:each])
    hkl = tuple((h, k, n) for h, k, n in a15.hkl.tolist())
    return _by_spacing(hkl, tuple(a15.spacing_nm(values).tolist()), each, tuple(reference.tolist()))


@lru_cache(maxsize=16)
def _by_spacing(
    hkl: tuple[Hkl, ...], spacing: tuple[float, ...], each: int, reference: tuple[int, ...]
) -> list[DrawnLine]:
    """Lines of reflections, of `each` components, which are asked for many times at one minimum."""
    groups: list[list[int]] = []
    for k in range(len(hkl)):
        if groups and abs(spacing[k] - spacing[groups[-1][0]]) < _SAME_SPACING * spacing[k]:
            groups[-1].append(k)
        else:
            groups.append([k])
    return [
        DrawnLine(
            hkl[g[0]],
            spacing[g[0]],
            (np.array(g)[:, None] * each + np.arange(each)).ravel(),
            g[0] * each + np.array(reference, dtype=np.intp),
        )
        for g in groups
    ]


@dataclass(frozen=True)
class _Candidate:
    """A drawn line on its way: what is known before its fit, angles it spans, expected significance."""

    line: DrawnLine
    begun: SingleLine
    low: float
    high: float
    significance: float


def fit_single_lines(fit: Refinement, a15: PhaseLines, enlargement: float = 1.0) -> tuple[SingleLine, ...]:
    """Fit every line of a phase that stands out, and those that decide the order of an A15, each for itself.

    Parameters
    ----------
    fit
        Whole-pattern fit at its minimum.
    a15
        Lines of the phase in it.
    enlargement
        Factor on counting uncertainties of the whole fit; a window whose own chi squared asks for more gets more.

    Returns
    -------
    tuple of SingleLine
        By rising angle; lines that could not be used are there with a reason.
    """
    values = fit.values()
    shape_values = dict(values)
    if a15.contrast_name:
        shape_values[a15.contrast_name] = max(values[a15.contrast_name], _LEAST_CONTRAST)
    actual, _ = a15.lines(values, {})
    shape, _ = a15.lines(shape_values, {})
    axial = values["axial_source_ratio"], values["axial_detector_ratio"]
    counts, background = fit.model.counts(values), fit.model.background(values)
    # what all other phases contribute, tails included
    others = counts - background - fit.model.part(a15, values)
    wanted = _WANTED if a15.contrast_name else ()
    step = fit.step
    chosen: list[_Candidate] = []
    finished: dict[Hkl, SingleLine] = {}
    for line in drawn_lines(a15, shape, values):
        span = actual.position[line.rows]
        centre = float(line.mean(shape.position, shape.area))
        k = line.reference[0]
        width = float(fwhm(shape.gauss_squared[k], shape.lorentz[k]))
        lean = float(np.max(largest_shift(span, *axial)))
        low, high = float(span.min()) - max(lean, 0.0), float(span.max()) - min(lean, 0.0)
        area = float(actual.area[line.rows].sum())
        variance = float(np.interp(centre, fit.two_theta, fit.variance))
        significance = float(np.sqrt(squared_significance(area, width, step, variance)))
        if significance < _SEEN and line.hkl not in wanted:
            continue
        covered, reason = float("nan"), ""
        first, last = np.searchsorted(fit.two_theta, [low - 2.0 * width, high + 2.0 * width])
        if low - 2.0 * width < fit.two_theta[0] or high + 2.0 * width > fit.two_theta[-1]:
            reason = "at the end of the measured range"
        elif (last - first) * step < _MEASURED * (high - low + 4.0 * width):
            reason = "in a gap of the measured range"
        else:
            covered = _covered(fit.model.profile, _only(shape, line.rows), others / fit.model.time_factor, axial)
            covered *= float(shape.area[line.rows].sum()) / max(area, 1e-300)
            if covered > _MOST_COVERED:
                reason = f"other lines lie on it ({100.0 * min(covered, 10.0):.0f} % of its area)"
        finished[line.hkl] = SingleLine(line.hkl, width, centre, area, covered, reason)
        if not reason:
            chosen.append(_Candidate(line, finished[line.hkl], low, high, significance))
    for group in _together(chosen):
        fitted = _Window(fit, group, shape, counts, axial).fitted(enlargement)
        finished |= {line.hkl: line for line in fitted}
    return tuple(finished.values())


def _only(lines: Lines, rows: NDArray[np.intp]) -> Lines:
    """Return some of the lines."""
    position, area, gauss_squared, lorentz = (column[rows] for column in lines[:4])
    nodes = None if lines.nodes is None else lines.nodes[rows]
    return Lines(position, area, gauss_squared, lorentz, nodes)


def _covered(whole: ProfileSum, line: Lines, others: Array, axial: tuple[float, float]) -> float:
    """Share of the line that least squares would take from the other phases if they were not subtracted."""
    width = float(fwhm(line.gauss_squared, line.lorentz).max())
    reach = _REACH_WIDTHS * width
    first, last = np.searchsorted(whole.two_theta, [line.position.min() - reach, line.position.max() + reach])
    window = whole.window(int(first), int(last))
    profile, x = window.total(line, *axial), window.two_theta
    basis = np.stack([profile, np.ones_like(profile), x - x.mean()], axis=1)
    return abs(float(np.linalg.pinv(basis.T @ basis)[0] @ (basis.T @ others[first:last])))


def _together(chosen: Sequence[_Candidate]) -> list[list[_Candidate]]:
    """Put lines that stand close into one group."""
    groups: list[list[_Candidate]] = []
    for candidate in sorted(chosen, key=lambda c: c.low):
        reach = _NEIGHBOUR_WIDTHS * candidate.begun.width
        if groups and candidate.low - reach < max(c.high + _NEIGHBOUR_WIDTHS * c.begun.width for c in groups[-1]):
            groups[-1].append(candidate)
        else:
            groups.append([candidate])
    return groups


class _Window:
    """One window of the pattern with the lines that are fitted in it."""

    def __init__(
        self,
        fit: Refinement,
        group: Sequence[_Candidate],
        shape: Lines,
        counts: Array,
        axial: tuple[float, float],
    ) -> None:
        reach = [max(_REACH_WIDTHS * c.begun.width, _LEAST_REACH_DEG) for c in group]
        low = min(c.low - r for c, r in zip(group, reach, strict=True))
        high = max(c.high + r for c, r in zip(group, reach, strict=True))
        first, last = np.searchsorted(fit.two_theta, [low, high])
        window = slice(int(first), int(last))
        self._group, self._axial, self._engine = group, axial, fit.engine
        self._sum = fit.model.profile.window(int(first), int(last))
        self._time = fit.model.time_factor[window]
        rows = np.concatenate([c.line.rows for c in group])
        self._owner = np.repeat(np.arange(len(group)), [len(c.line.rows) for c in group])
        self._lines = _only(shape, rows)
        self._root = np.where(fit.used[window], 1.0 / np.sqrt(fit.variance[window]), 0.0)
        x = self._sum.two_theta
        self._straight = np.stack([np.ones_like(x), (2.0 * x - low - high) / (high - low)], axis=1)
        self._centre = np.array([c.begun.calculated_centre for c in group])
        first = np.array([c.line.reference[0] for c in group])
        self._reference_widths = shape.gauss_squared[first], shape.lorentz[first]
        # all emission lines of a reflection move with its spacing: d(2 theta) is proportional to tan(theta)
        tan = np.tan(np.radians(0.5 * self._lines.position))
        self._dispersion = tan / np.tan(np.radians(0.5 * self._centre))[self._owner]
        sums = np.bincount(self._owner, self._lines.area, len(group))
        self._share = self._lines.area / sums[self._owner]
        self._kept = b"", np.zeros(0), np.zeros((0, 0))
        n = len(group)
        self._start = np.concatenate([[0.0, 0.0], [c.begun.calculated_area for c in group], np.zeros(n), np.ones(n)])
        # what all else contributes, as the whole fit has it, is taken off
        left = fit.observed[window] - counts[window]
        self._observed = left + self._counts(self._start)[0]
        self._start[:2] = np.linalg.lstsq(self._straight * self._time[:, None], left, rcond=None)[0]

    def fitted(self, enlargement: float) -> list[SingleLine]:
        """Fit background and lines; return the lines."""
        n, start = len(self._group), self._start
        width = np.array([c.begun.width for c in self._group])
        free = np.concatenate(
            [
                np.ones(2 + n, dtype=bool),
                [c.significance > _SEEN for c in self._group],
                [c.significance > _WIDTH_SEEN for c in self._group],
            ]
        )
        lower = np.concatenate([np.full(2 + n, -np.inf), -width, np.zeros(n)])[free]
        upper = np.concatenate([np.full(2 + n, np.inf), width, np.full(n, 20.0)])[free]
        reach = np.concatenate([np.full(2 + n, np.inf), 0.5 * width, np.full(n, np.inf)])[free]

        jacobian = np.zeros((0, 0))

        def residuals(point: Array) -> tuple[Array, Array]:
            nonlocal jacobian
            everything = start.copy()
            everything[free] = point
            counts, slopes = self._counts(everything)
            jacobian = slopes[:, free] * self._root[:, None]
            return (counts - self._observed) * self._root, jacobian

        minimum = self._engine(
            residuals, start[free], lower, upper, tolerance=0.01, most_iterations=40, reach=reach
        )
        point = start.copy()
        point[free] = minimum.point
        norms = np.linalg.norm(jacobian, axis=0)
        resting = (minimum.point <= lower) | (minimum.point >= upper) | (norms <= 0.0)
        live = np.flatnonzero(free)[~resting]
        scaled = jacobian[:, ~resting] / norms[~resting]
        spread = np.diag(np.linalg.pinv(scaled.T @ scaled)) / norms[~resting] ** 2
        chi2_reduced = minimum.chi2 / max(int((self._root > 0.0).sum()) - len(live), 1)
        u = np.full(len(point), np.nan)
        u[live] = max(enlargement, float(np.sqrt(chi2_reduced))) * np.sqrt(spread)
        return self._results(point, u, float(chi2_reduced), "" if minimum.converged else "its fit did not converge")

    def _results(self, point: Array, u: Array, chi2_reduced: float, reason: str) -> list[SingleLine]:
        """Lines at fitted parameters with their standard uncertainties, NaN where they were held."""
        n, lines = len(self._group), []
        for k, candidate in enumerate(self._group):
            held = bool(np.isnan(u[2 + n + k]))
            gauss, lorentz = (column[k] for column in self._reference_widths)
            factor, u_factor = point[2 + 2 * n + k], u[2 + 2 * n + k]
            lines.append(
                replace(
                    candidate.begun,
                    centre=np.nan if held else float(self._centre[k] + point[2 + n + k]),
                    u_centre=float(u[2 + n + k]),
                    area=float(point[2 + k]),
                    u_area=float(u[2 + k]),
                    width=float(fwhm(gauss, lorentz * factor)),
                    reason=reason,
                    lorentz=np.nan if np.isnan(u_factor) else float(lorentz * factor),
                    u_lorentz=float(lorentz * u_factor),
                    chi2_reduced=chi2_reduced,
                )
            )
        return lines

    def _counts(self, point: Array) -> tuple[Array, Array]:
        """Counts in the window and their derivatives by (level, slope, areas, shifts, width factors)."""
        n, rows = len(self._group), np.arange(len(self._owner))
        area, shift, factor = (point[2 + k * n : 2 + (k + 1) * n][self._owner] for k in range(3))
        lines = Lines(
            self._lines.position + shift * self._dispersion,
            area * self._share,
            self._lines.gauss_squared,
            self._lines.lorentz * np.maximum(factor, 1e-3),
            self._lines.nodes,
        )
        by_position, by_area, by_gauss, by_lorentz = np.zeros((4, len(rows), 3 * n))
        by_area[rows, self._owner] = self._share
        by_position[rows, n + self._owner] = self._dispersion
        by_lorentz[rows, 2 * n + self._owner] = self._lines.lorentz
        by = LineDerivatives(by_position, by_area, by_gauss, by_lorentz, None)
        if self._kept[0] != point[2:].tobytes():  # the background alone has changed otherwise
            self._kept = point[2:].tobytes(), *self._sum.total_with_jacobian(lines, by, *self._axial)
        _, total, jacobian = self._kept
        total = (total + self._straight @ point[:2]) * self._time
        return total, np.concatenate([self._straight, jacobian], axis=1) * self._time[:, None]
