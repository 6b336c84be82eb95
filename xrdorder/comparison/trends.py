"""Courses over a variable: a line with its band, and samples that do not fit.

Both are weighted least squares with the weights of what each sample has of its own; the full covariance is then
carried through the estimator, so what samples share moves the line as a whole and drops out of its slope. (Least
squares with the full covariance would be a little narrower, but draws a line beside all points where shared parts
dominate: R. W. Peelle's puzzle.)
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr

from xrdorder.comparison.differences import LEVEL
from xrdorder.comparison.quantity_draws import Values
from xrdorder.comparison.replicates import NONE, Repeatability, estimator, excess, holm, indicator
from xrdorder.exceptions import StudyError

Array = NDArray[np.float64]

REJECTED = 0.01
"""Probability of the scatter about a line below which it is no line (the usual convention for a clear case)."""


@dataclass(frozen=True, eq=False)
class Trend:
    """A line through values over a variable.

    Attributes
    ----------
    quantity, variable : str
    centre : float
        Weighted mean of the variable.
    at_centre, slope : float
    u_slope : float
        What all samples share has dropped out.
    p : float
        Probability of such a slope by chance.
    p_line : float
        Probability of such scatter about the line if repeatability and known uncertainties were all: small means that
        the course is no line. NaN with fewer than three samples.
    scatter : float
        Scatter between wires that entered.
    span : tuple of float
        Least and largest value of the variable.
    samples : int
    logarithmic : bool
        The line is straight over the logarithm of the variable: `centre` is that of the logarithms, `slope` for one of
        them.
    of_logarithm : bool
        The logarithm of the quantity is straight (`Values.on_scale`): of it are `at_centre`, `slope` and `scatter`;
        `line`, `band` and `change` are of the quantity itself.
    p_curve : float
        Probability of as clear a curve by chance, whatever wires scatter; NaN where samples are too few to show one.
    scatter_known : bool
        Replicates or the like told how far equal wires scatter.
    """

    quantity: str
    variable: str
    centre: float
    at_centre: float
    slope: float
    u_slope: float
    p: float
    p_line: float
    scatter: float
    span: tuple[float, float]
    samples: int
    _shared: Array  # (2, m): contributions to value at centre and slope
    _own: Array  # (2, 2): covariance of both from what samples have of their own
    logarithmic: bool = False
    of_logarithm: bool = False
    p_curve: float = np.nan
    scatter_known: bool = False

    @property
    def distinguishable(self) -> bool:
        """Whether the slope is significant."""
        return self.p < LEVEL

    @property
    def rejected(self) -> bool:
        """Whether it describes no course, and is not to be drawn or used.

        A curve does significantly better, or samples stray from it by more than equal wires are known to do.
        """
        return self.p_curve < REJECTED or (self.scatter_known and self.p_line < REJECTED)

    def line(self, x: ArrayLike) -> Array:
        """Value of the line."""
        heights = np.asarray(self.at_centre + self.slope * self._from_centre(x))
        return np.exp(heights) if self.of_logarithm else heights

    @property
    def change(self) -> tuple[float, float]:
        """Change of the line over the span, and its standard uncertainty."""
        low, high = self._from_centre(self.span)
        change, u = self.slope * float(high - low), self.u_slope * float(high - low)
        if not self.of_logarithm:
            return change, u
        first, last = self.line(self.span)
        return float(last - first), float(np.sqrt(first * last)) * u

    def _from_centre(self, x: ArrayLike) -> Array:
        place = np.asarray(x, dtype=float)
        return np.asarray((np.log(place) if self.logarithmic else place) - self.centre)

    def band(self, x: ArrayLike) -> tuple[Array, Array]:
        """Standard uncertainty of the line: in all, and of its shape alone.

        The second is the uncertainty of the line against its own value at the centre plus that of the latter from what
        samples have of their own: what decides whether points lie on it. The first holds what moves the line as a
        whole, as an error of the calibration does.
        """
        along = self._from_centre(x)
        basis = np.stack([np.ones_like(along), along])
        own = np.einsum("i...,ij,j...->...", basis, self._own, basis)
        moved = np.tensordot(self._shared, basis, axes=(0, 0))
        turned = np.tensordot(self._shared[1], basis[1], axes=0)
        of_one = self.line(x) if self.of_logarithm else 1.0
        return of_one * np.sqrt(own + np.sum(moved**2, axis=0)), of_one * np.sqrt(own + np.sum(turned**2, axis=0))


@dataclass(frozen=True)
class Outlier:
    """A sample that does not fit the others.

    Attributes
    ----------
    sample, variant : str
    deviation, u : float
        From the model fitted to all (its own pull on it included), and its standard uncertainty.
    p_adjusted : float
        Probability of as large a deviation of any sample by chance.
    partner : bool
        Its variant has two samples only: it may as well be the other.
    """

    sample: str
    variant: str
    deviation: float
    u: float
    p_adjusted: float
    partner: bool


def slope_test(
    values: Values, design: Array, known: Repeatability, *, about_first: bool = False
) -> tuple[Array, Array, Array, Repeatability, float]:
    """Parameters, shared contributions, own covariance, scatter between wires, and p of the last parameter.

    The scatter is the larger of that about the design and the known one, or `about_first` wherever the former has
    degrees of freedom.
    """
    about = excess(values.value, design, values.covariance())
    if about_first:
        scatter = about if about.degrees_of_freedom else known
    else:
        scatter = max(about, known, key=lambda scatter: (scatter.u, scatter.degrees_of_freedom))
    weights = estimator(design, values.own, scatter.u)
    parameters, shared = weights @ values.value, weights @ values.shared
    own = (weights * (values.own**2 + scatter.u**2)) @ weights.T
    fixed = float(np.sum(shared[-1] ** 2) + weights[-1] ** 2 @ values.own**2)
    p = float(scatter.chance(parameters[-1], fixed, np.sum(weights[-1] ** 2)))
    return parameters, shared, own, scatter, p


def trend(
    values: Values, x: ArrayLike, variable: str, known: Repeatability = NONE, *, logarithmic: bool = False
) -> Trend:
    """Fit a line over a variable.

    Parameters
    ----------
    values : Values
    x : array, (n,)
        The variable; a sample without it (NaN) is left out.
    variable : str
        Its name, for words.
    known : Repeatability
        What replicates tell, on the scale of `Values.on_scale`; the scatter about the line enters where it is larger.
    logarithmic : bool
        Straight over the logarithm of the variable, as growth goes with the dose; a sample at zero is left out.

    Raises
    ------
    StudyError
        Fewer than three samples, or the variable does not vary.

    Examples
    --------
    A common error of 5 does not touch the slope:

    >>> wires = Values("T", tuple("abcd"), np.array([1.0, 2.1, 2.9, 4.0]), np.full((4, 1), 5.0), np.full((4, 1), 0.1))
    >>> found = trend(wires, [0, 1, 2, 3], "x")
    >>> round(found.slope, 2), round(found.u_slope, 3)
    (0.98, 0.045)
    >>> [round(float(u), 2) for u in np.ravel(found.band([1.5]))]
    [5.0, 0.05]
    """
    place = np.asarray(x, dtype=float)
    if place.shape != (len(values),):
        raise ValueError(f"{variable}: {place.size} numbers for {len(values)} samples; give one a sample")
    given = np.isfinite(place) & (place > 0.0 if logarithmic else True)
    some, place = values.select(given).on_scale(), place[given]
    span = (float(place.min()), float(place.max())) if place.size else (np.nan, np.nan)
    place = np.log(place) if logarithmic else place
    if len(some) < 3 or np.ptp(place) == 0.0:
        raise StudyError(
            f"{values.quantity} over {variable}: a line needs three samples or more at two different values; there are "
            f"{len(some)} at {np.unique(place).size}"
        )
    weight = 1.0 / np.maximum(some.own**2 + known.u**2, 1e-300)
    centre = float(np.average(place, weights=weight / np.max(weight)))
    # scaled: hours and degrees differ by orders, the rank should not care
    scale = float(np.ptp(place))
    design = np.stack([np.ones_like(place), (place - centre) / scale], axis=1)
    parameters, shared, own, scatter, p = slope_test(some, design, known)
    back = np.array([1.0, 1.0 / scale])
    misfit = excess(some.value, design, some.covariance(known.u)).p_known
    return Trend(
        values.quantity,
        variable,
        centre,
        float(parameters[0]),
        float(parameters[1] / scale),
        float(np.sqrt(np.sum(shared[1] ** 2) + own[1, 1]) / scale),
        p,
        misfit,
        scatter.u,
        span,
        len(some),
        shared * back[:, None],
        own * np.outer(back, back),
        logarithmic,
        values.by_logarithm,
        _curved(some, design),
        known.degrees_of_freedom > 0,
    )


def _curved(values: Values, design: Array) -> float:
    """Probability of as clear a curve by chance: of the square beside the line, by the scatter about both."""
    if len(values) < 4 or np.unique(design[:, 1]).size < 3:
        return np.nan
    with_square = np.column_stack([design, design[:, 1] ** 2])
    return slope_test(values, with_square, NONE, about_first=True)[-1]


def outliers(values: Values, variants: Sequence[str]) -> list[Outlier]:
    """Name samples that do not fit the others of their variant, the clearest first.

    Externally studentised residuals (R. D. Cook and S. Weisberg, *Residuals and Influence in Regression*, 1982, sec.
    2.2): each sample is judged by the scatter of the others, which is never taken to be smaller than the known
    uncertainties. Holm's rule corrects for their number. Nothing is found where fewer than two degrees of freedom are
    left; two outliers may hide each other.

    Parameters
    ----------
    values : Values
    variants : sequence of str
        Empty leaves the sample out.
    """
    given = np.array([bool(variant) for variant in variants], dtype=bool)
    some = values.select(given).on_scale()
    labels = [label for label, each in zip(variants, given, strict=True) if each]
    if not len(some):
        return []
    groups, design = indicator(labels)
    dof = len(some) - design.shape[1]
    if dof < 2:
        return []
    scatter = excess(some.value, design, some.covariance())
    left = np.eye(len(some)) - design @ estimator(design, some.own, scatter.u)
    residual = left @ some.value
    common = np.sum((left @ some.shared) ** 2, axis=1)
    known = common + left**2 @ some.own**2
    square = known + left**2 @ np.full(len(some), scatter.u**2)
    alone = square <= 1e-12 * float(np.max(square))  # single in its variant: no residual
    square = np.where(alone, 1.0, square)
    score = np.where(alone, 0.0, residual / np.sqrt(square))
    spread = some.own**2 + scatter.u**2
    weight = 1.0 / np.where(alone | (spread == 0.0), np.inf, spread)  # what is known exactly tells no scatter
    total = float(np.sum(np.where(alone, 0.0, residual**2 * weight)))
    others = np.maximum((total - score**2) / (dof - 1), known / square)
    others = np.maximum(others, 1e-12)
    ratio = np.abs(score) / np.sqrt(others)
    p = np.where(alone, 1.0, 2.0 * stdtr(dof - 1, -ratio))
    adjusted = holm(p[~alone])
    outlying = []
    sizes = dict(zip(groups, np.sum(design, axis=0), strict=True))
    for k, p_adjusted in zip(np.flatnonzero(~alone), adjusted, strict=True):
        if p_adjusted < LEVEL:
            # of a logarithm to first order: times what the others let expect
            of_one = float(np.exp(some.value[k] - residual[k])) if values.by_logarithm else 1.0
            u = of_one * float(np.sqrt(square[k] * others[k]))
            two = bool(sizes[labels[k]] == 2)
            outlying.append(
                Outlier(some.samples[k], labels[k], of_one * float(residual[k]), u, float(p_adjusted), two)
            )
    return sorted(outlying, key=lambda outlier: (outlier.p_adjusted, -abs(outlier.deviation) / outlier.u))

