"""Where should the counting time go? The best distribution over ranges of 2 theta, by optimal design.

The information of a scan is the sum of that of its ranges, each proportional to the time spent there:

    F(x) = sum_k x_k F_k,  least share <= x_k <= largest share,  sum_k x_k = 1.

The variance of a quantity with the gradient c is c' F(x)^-1 c, convex in x. The sum of the variances wanted, each over
the variance that is asked for (or the one of a uniform scan), is made least (c- and A-optimal design: F. Pukelsheim,
Optimal Design of Experiments (1993); from memory). A convex function lies above its tangents, so how far a distribution
may still be from the best is known: the gap. Of x_k proportional to the numbers of points it is a uniform scan.

An optimum for order alone would sit on one line and trust everything else. Three things hold against it: texture of
every phase that shows enough lines is taken as unknown, whether the specimen seems to have any or not, as is the whole
background; nowhere is counted less than `LEAST` of a uniform scan, so that lines nobody expected, texture of high
order and a background that is not smooth are seen; and no range gets more than `MOST` of the time, so that one line,
which coarse grains or a beam longer than the specimen may spoil, never decides alone.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import LinearConstraint, minimize

from xrdorder.exceptions import FitError, ValidityError
from xrdorder.fitting.procedure import EFFECT_SIGNIFICANCE, Procedure
from xrdorder.material.tin_scale import PUBLISHED_SCALE
from xrdorder.patterns.angle_step import angle_step
from xrdorder.scan_planning.prospect import Prospect
from xrdorder.uncertainty import Array

LEAST = 0.25
"""Part of a uniform scan that is counted at least everywhere (judged)."""

MOST = 0.5
"""Largest part of the time that one range may get (judged)."""

_RANGE_DEG = 4.0  # about as many ranges as a program of a diffractometer takes
_MOST_RANGES = 40
_ROUNDS = 200
_NO_TEXTURE = 3.0  # coefficients of harmonics that a fit allows
_DIGITS = 2  # of the seconds at a step


@dataclass(frozen=True)
class Range:
    """A range of the scan.

    Attributes
    ----------
    from_deg, to_deg, step_deg : float
    points : int
    seconds : float
        At each step.
    """

    from_deg: float
    to_deg: float
    step_deg: float
    points: int
    seconds: float

    def words(self) -> str:
        """Write it as it is typed into a diffractometer.

        >>> Range(20.0, 24.0, 0.02, 201, 3.0).words()
        '20.00 to 24.00, step 0.020, 3 s'
        """
        return f"{self.from_deg:.2f} to {self.to_deg:.2f}, step {self.step_deg:.3f}, {self.seconds:g} s"


@dataclass(frozen=True)
class Allocation:
    """The best distribution of counting time.

    Attributes
    ----------
    edges : array, (k + 1,)
        Of the ranges, degrees.
    share, uniform : array, (k,)
        Share of the time in each, at best and in a uniform scan.
    ranges : tuple of Range
        What to type in, neighbours of the same seconds joined.
    seconds : float
        Of the whole scan.
    gain : float
        Time that a uniform scan takes for the same, over that of this one.
    u_ratio : mapping of str to float
        Standard uncertainty from counting of each quantity wanted, over that of a uniform scan as long.
    gap : float
        How far, relative, the sum of variances may be above the least at most.
    guarded : tuple of str
        Parameters of texture that were taken as unknown beside what the specimen shows.
    """

    edges: Array
    share: Array
    uniform: Array
    ranges: tuple[Range, ...]
    seconds: float
    gain: float
    u_ratio: Mapping[str, float]
    gap: float
    guarded: tuple[str, ...] = field(default=())


def allocate(
    prospect: Prospect, targets: Mapping[str, float], *, seconds: float | None = None, least: float = LEAST
) -> Allocation:
    """Distribute the time of a scan over ranges of 2 theta.

    Parameters
    ----------
    prospect
    targets
        Quantities that are wanted (``a_nm``, ``site_order``, ``domain_size_nm``, ``tin_fraction_lattice``) and
        the variance from counting that is asked for, as a standard uncertainty; infinite where none is.
    seconds
        Of the whole scan; as long as that of `prospect` unless given.
    least
        Part of a uniform scan that is counted at least everywhere.

    Raises
    ------
    ValidityError
        A quantity cannot be wanted, or `least` is no part.
    """
    if not 0.0 < least < 1.0:
        raise ValidityError(f"least share {least:g} of a uniform scan; give a number between 0 and 1")
    job, guarded = _guarded(prospect.job)
    gradients = _gradients(job, targets)
    edges = _edges(job)
    information = _by_range(job, edges)
    points = _points(job.two_theta, edges)
    uniform = points / points.sum()
    plain = _variances(information, gradients, uniform / uniform)
    wanted = np.array([targets[name] ** 2 if math.isfinite(targets[name]) else 0.0 for name in targets])
    weights = np.where(wanted > 0.0, 1.0 / np.where(wanted > 0.0, wanted, 1.0), 1.0 / plain)
    scaled = [gradient * math.sqrt(weight) for gradient, weight in zip(gradients, weights, strict=True)]
    share, gap = optimum(information / uniform[:, None, None], scaled, least * uniform, MOST)
    total = prospect.seconds if seconds is None else seconds
    best = _variances(information / uniform[:, None, None], gradients, share)
    return Allocation(
        edges,
        share,
        uniform,
        _written(job.two_theta, edges, points, share * total),
        total,
        float((weights @ plain) / (weights @ best)),
        {name: float(math.sqrt(b / p)) for name, b, p in zip(targets, best, plain, strict=True)},
        gap,
        guarded,
    )


def optimum(
    information: Array, gradients: Sequence[Array], least: Array, most: float = 1.0
) -> tuple[Array, float]:
    """Shares of the time that make a sum of variances least.

    Parameters
    ----------
    information
        Of each range if all time went there, shape (ranges, parameters, parameters).
    gradients
        Of each quantity by the parameters, shape (parameters,).
    least
        Least share of each range, shape (ranges,), with a sum below one.
    most
        Largest share of any range.

    Returns
    -------
    share : array, (ranges,)
    gap : float
        By how much, relative, the sum may lie above the least one: from the tangent at the shares found.

    Examples
    --------
    Two parameters, each seen in one range alone: time goes with the gradients.

    >>> each = np.array([[[1.0, 0.0], [0.0, 0.0]], [[0.0, 0.0], [0.0, 1.0]]])
    >>> share, gap = optimum(each, [np.array([3.0, 0.0]), np.array([0.0, 1.0])], np.array([0.01, 0.01]))
    >>> share.round(3).tolist(), gap < 1e-4
    ([0.75, 0.25], True)
    """
    scale = np.sqrt(np.maximum(np.diagonal(information.sum(axis=0)), np.finfo(float).tiny))
    information = information / np.outer(scale, scale)
    columns = np.stack([gradient / scale for gradient in gradients], axis=1)
    start = least + (1.0 - least.sum()) / len(least)

    def value(share: Array) -> tuple[float, Array]:
        total = np.einsum("k,kij->ij", share, information)
        moved = cho_solve(cho_factor(total), columns)
        return float(np.sum(columns * moved)), -np.einsum("iq,kij,jq->k", moved, information, moved)

    unit, _ = value(start)
    solution = minimize(
        lambda x: tuple(part / unit for part in value(x)), start, jac=True, method="SLSQP",
        bounds=[(low, most) for low in least], constraints=[LinearConstraint(np.ones(len(least)), 1.0, 1.0)],
        options={"maxiter": _ROUNDS, "ftol": 1e-10},
    )  # fmt: skip
    share = np.clip(solution.x, least, most)
    share /= share.sum()
    at, slope = value(share)
    return share, float((slope @ share - slope @ _corner(slope, least, most)) / at)


def _corner(slope: Array, least: Array, most: float) -> Array:
    """Shares within their limits where a linear function is least: all that is left goes where it falls most."""
    share = least.copy()
    for k in np.argsort(slope):
        share[k] += min(most - share[k], 1.0 - share.sum())
    return share


def _guarded(job: Procedure) -> tuple[Procedure, tuple[str, ...]]:
    """Take texture of every phase with lines enough as unknown, too: each coefficient that the scan can tell."""
    guarded = copy.copy(job)
    guarded.parameters = copy.deepcopy(job.parameters)
    guarded.fit = copy.copy(job.fit)
    guarded.fit.parameters = guarded.parameters
    names = []
    for lines in job.present():
        if lines is job.reference or job.strength(lines) <= EFFECT_SIGNIFICANCE:
            continue
        for name in lines.texture_names[: 2 if lines is job.main else 1]:
            parameter = guarded.parameters[name]
            before, parameter.vary = parameter.vary, True
            if _told(guarded, name):
                names.append(name)
            else:
                parameter.vary = before
    return guarded, tuple(names)


def _told(job: Procedure, name: str) -> bool:
    """Whether a scan tells a coefficient of texture at all: beyond one, the density of a direction is none."""
    try:
        solution, _ = job.fit.solution()
    except FitError:
        return False
    return solution.u(name) < _NO_TEXTURE


def _gradients(job: Procedure, targets: Mapping[str, float]) -> list[Array]:
    """Gradients of the quantities wanted by the free parameters."""
    main, values = job.main, job.fit.values()
    sec = main.width_names[0]
    size_nm = math.degrees(job.optics.radiation.wavelength_nm) * 2.0 / math.pi
    of = {
        "a_nm": (main.length_names[0], 1.0),
        "tin_fraction_lattice": (main.length_names[0], 1.0 / PUBLISHED_SCALE.slope_nm),
        "site_order": (main.contrast_name, 1.0),
        "domain_size_nm": (sec, -size_nm / max(values[sec], 1e-6) ** 2),
    }
    free = job.fit.solution()[0].free
    gradients = []
    for name in targets:
        if name not in of:
            raise ValidityError(f"no counting time can be distributed for '{name}'; choose among {', '.join(of)}")
        parameter, slope = of[name]
        if parameter not in free:
            raise FitError(f"{name}: the scan does not decide it; count longer or over a wider range")
        gradients.append(np.where(np.array(free) == parameter, slope, 0.0))
    if not gradients:
        raise ValidityError("nothing is wanted of the scan; give a target, as --target-site-order 0.01")
    return gradients


def _edges(job: Procedure) -> Array:
    """Edges of ranges, where the pattern is low: no line is cut in two if that can be helped."""
    two_theta, counts = job.two_theta, gaussian_filter1d(job.fit.counts(), 5.0)
    low, high = float(two_theta[0]), float(two_theta[-1])
    number = int(np.clip(round((high - low) / _RANGE_DEG), 2, _MOST_RANGES))
    wide = (high - low) / number
    edges = [low]
    for k in range(1, number):
        centre = low + k * wide
        near = np.flatnonzero(np.abs(two_theta - centre) < 0.3 * wide)
        edges.append(float(two_theta[near[np.argmin(counts[near])]]) if len(near) else centre)
    return np.array([*edges, high])


def _places(two_theta: Array, edges: Array) -> Array:
    return np.clip(np.searchsorted(edges, two_theta, side="right") - 1, 0, len(edges) - 2)


def _points(two_theta: Array, edges: Array) -> Array:
    return np.bincount(_places(two_theta, edges), minlength=len(edges) - 1).astype(np.float64)


def _by_range(job: Procedure, edges: Array) -> Array:
    """Information of each range at the times of the scan, shape (ranges, free, free)."""
    jacobian = job.fit.solution()[0].weighted_jacobian
    places = _places(job.two_theta[job.fit.used], edges)
    parts = [jacobian[places == k] for k in range(len(edges) - 1)]
    return np.stack([part.T @ part for part in parts])


def _variances(information: Array, gradients: Sequence[Array], factor: Array) -> Array:
    total = np.einsum("k,kij->ij", factor, information)
    norm = np.sqrt(np.diag(total))
    columns = np.stack([gradient / norm for gradient in gradients], axis=1)
    moved = cho_solve(cho_factor(total / np.outer(norm, norm)), columns)
    return np.asarray(np.sum(columns * moved, axis=0))


def _written(two_theta: Array, edges: Array, points: Array, seconds: Array) -> tuple[Range, ...]:
    """Ranges with round seconds at each step; neighbours of the same seconds are one."""
    step, places = angle_step(two_theta), _places(two_theta, edges)
    ranges: list[Range] = []
    for k, (number, total) in enumerate(zip(points, seconds, strict=True)):
        inside = two_theta[places == k]
        each = total / number
        each = round(each, _DIGITS - 1 - math.floor(math.log10(each)))
        if ranges and ranges[-1].seconds == each:
            first = ranges.pop()
            ranges.append(Range(first.from_deg, float(inside[-1]), step, first.points + int(number), each))
        else:
            ranges.append(Range(float(inside[0]), float(inside[-1]), step, int(number), each))
    return tuple(ranges)
