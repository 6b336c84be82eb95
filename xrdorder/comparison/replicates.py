"""How far do equal wires scatter, beyond what is known of each?

Values y with known covariance V0 and a model X (a mean for every group of replicates, or a line) are asked for the
scatter s between wires that makes the weighted sum of squares as large as it should be:

    min_b (y - X b)' (V0 + s² I)^-1 (y - X b) = n - p

(R. C. Paule and J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377, for independent values; here with a covariance,
so that what replicates share does not count as agreement). With y projected onto what X leaves free, and V0 there
diagonal, the sum is sum z_k² / (l_k + s²): one decomposition, then a root. Put equal to quantiles of chi square the
same sum bounds s.

What is tested with s must know how badly few replicates tell it. The restricted likelihood of s in the same projected
values, times a prior s / (l + s²) with l their typical known variance, gives weights over s; a test is averaged over
them. That is Jeffreys' prior of the whole variance of a wire, l + s², where it is not below l. Without known
uncertainties it is Student's t with n - p degrees of freedom, and with many replicates the normal distribution. That
the variance is l at least makes a test more careful, never bolder: from three degrees of freedom on false verdicts stay
at 5 % or below whatever the scatter is. (By 1 / sqrt(l + s²) they came to 5.5 % where s is three times the known
uncertainty.) Fewer degrees hardly tell anything: there the prior is what is published of equal wires, with its doubt
(`xrdorder.comparison.published_scatter`).
(Student's t with effective degrees of freedom, GUM G.4.1, takes an s that came out as zero for certain: with six
wires it called chance a trend twice as often as it should.)
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, chdtri, ndtr

from xrdorder.comparison.published_scatter import Prior, prior_of
from xrdorder.comparison.quantity_draws import Values

Array = NDArray[np.float64]


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Adjust probabilities (..., k) for their number k by Holm's step-down rule; they keep their order.

    S. Holm, Scand. J. Stat. 6 (1979) 65: the chance of any false verdict stays below the limit whatever the
    probabilities have in common.

    >>> holm([0.01, 0.04, 0.03]).tolist()
    [0.03, 0.06, 0.06]
    """
    numbers = np.asarray(p, dtype=float)
    order = np.argsort(numbers, axis=-1, kind="stable")
    factors = numbers.shape[-1] - np.arange(numbers.shape[-1])
    raised = np.maximum.accumulate(np.take_along_axis(numbers, order, axis=-1) * factors, axis=-1)
    adjusted = np.empty_like(numbers)
    np.put_along_axis(adjusted, order, np.minimum(1.0, raised), axis=-1)
    return adjusted


@dataclass(frozen=True, eq=False)
class Repeatability:
    """Scatter between equal wires beyond their known uncertainties.

    Attributes
    ----------
    u : float
        Standard deviation, in the unit of the quantity; 0 where the known uncertainties explain all scatter, or
        where there are no replicates.
    degrees_of_freedom : int
        Zero without replicates: `u` is zero then, and `nodes` hold what is published.
    low, high : float
        68 % interval of `u`; NaN without replicates.
    p_known : float
        Probability of as much scatter if the known uncertainties were all; NaN without replicates.
    nodes, weights : array, (k,)
        Scatters that may be, and how probable each is.
    origin : str
        "replicates"; "variants" where the wires of a variant had different treatments; "course" where it is the scatter
        about a smooth course (`about_course`); "published" without any of these.
    """

    u: float
    degrees_of_freedom: int
    low: float
    high: float
    p_known: float
    nodes: Array = field(default_factory=lambda: np.zeros(1), repr=False)
    weights: Array = field(default_factory=lambda: np.ones(1), repr=False)
    origin: str = "replicates"

    def chance(self, value: ArrayLike, known_square: ArrayLike, factor_square: ArrayLike) -> Array:
        """Two-sided probability of as large a value by chance.

        Parameters
        ----------
        value : array, (...)
        known_square : array, (...)
            Its variance from known sources.
        factor_square : array, (...)
            Its variance for a scatter of one.
        """
        return self._averaged(value, known_square, factor_square, np.asarray)

    def corrected(self, value: ArrayLike, known_square: ArrayLike, factor_square: ArrayLike) -> Array:
        """`chance` for each of many values that share one scatter, corrected for their number.

        Holm's rule is applied at each scatter that may be, and the result averaged over them. All values wait for the
        same unknown scatter, so its badly known size is not paid for once a value, as correcting the averages would:
        with a single pair of replicates that is a factor of up to their number. For Student's t this is the
        multivariate t of simultaneous intervals, with Bonferroni's bound in place of the normal integral.

        Parameters
        ----------
        value, known_square, factor_square : array, (c,)
            As for `chance`.
        """
        return self._averaged(value, known_square, factor_square, holm)

    def _averaged(
        self, value: ArrayLike, known_square: ArrayLike, factor_square: ArrayLike, rule: Callable[[Array], Array]
    ) -> Array:
        """Chances after a rule for many values at one scatter, averaged over the scatters that may be."""
        size, known, factor = np.broadcast_arrays(np.abs(value), known_square, factor_square)
        chances = np.zeros(size.shape)
        some = max(2**18 // max(size.size, 1), 1)
        for start in range(0, len(self.nodes), some):  # all at once would fill the memory
            nodes = self.nodes[start : start + some].reshape(-1, *[1] * size.ndim)
            u = np.sqrt(known + nodes**2 * factor)
            ratio = np.where(size == 0.0, 0.0, np.inf) + np.zeros_like(u)
            np.divide(size, u, out=ratio, where=u > 0.0)
            chances += np.tensordot(self.weights[start : start + some], rule(2.0 * ndtr(-ratio)), 1)
        return chances

    def half_width(self, known_square: ArrayLike, factor_square: ArrayLike, level: float = 0.95) -> Array:
        """Half of the interval in which a value lies with a probability; variances as for `chance`, shape (...)."""
        known, factor = np.broadcast_arrays(known_square, factor_square)
        widest = np.sqrt(known + float(self.nodes[-1]) ** 2 * factor)
        widths = np.zeros(widest.shape)
        some = widest > 0.0

        def beyond(half: Array, fixed: Array, for_one: Array) -> Array:
            return self.chance(half, fixed, for_one) - (1.0 - level)

        if some.any():
            from scipy.optimize.elementwise import find_root

            most, terms = 40.0 * widest[some], (known[some], factor[some])
            widths[some] = find_root(beyond, (np.zeros_like(most), most), args=terms, tolerances={"xrtol": 1e-8}).x
        return widths


NONE = Repeatability(0.0, 0, np.nan, np.nan, np.nan)
"""What is known without replicates."""


def indicator(labels: Sequence[str]) -> tuple[list[str], Array]:
    """Groups in the order met, and the matrix (n, groups) that tells who belongs where."""
    groups = list(dict.fromkeys(labels))
    place = {group: k for k, group in enumerate(groups)}
    matrix = np.zeros((len(labels), len(groups)))
    matrix[np.arange(len(labels)), [place[label] for label in labels]] = 1.0
    return groups, matrix


def estimator(design: Array, own: Array, scatter: float) -> Array:
    """Matrix (p, n) that takes values to the parameters of least squares, weighted by what each has of its own."""
    square = own**2 + scatter**2
    # exact values among others would take all weight: none counts as better than a thousandth of the median
    square = np.maximum(square, 1e-6 * float(np.median(square)))
    weighted = design.T / (square if np.all(square > 0.0) else 1.0)
    return np.asarray(np.linalg.solve(weighted @ design, weighted))


ENOUGH = 3
"""Degrees of freedom from which replicates keep false verdicts at 5 % by themselves, whatever the scatter is."""


def excess(value: Array, design: Array, covariance: Array, prior: Prior | None = None) -> Repeatability:
    """Scatter about a model, beyond a covariance.

    Parameters
    ----------
    value : array, (n,)
    design : array, (n, p)
        Of full rank.
    covariance : array, (n, n)
    prior : Prior, optional
        What is published of the scatter, which enters where fewer than `ENOUGH` degrees of freedom tell of it.
    """
    n, p = design.shape
    if n <= p:
        return NONE if prior is None else _by_publication(prior)
    free = np.linalg.qr(design, mode="complete")[0][:, p:]
    sizes, vectors = np.linalg.eigh(free.T @ covariance @ free)
    squares = (vectors.T @ (free.T @ value)) ** 2
    # what rounding leaves of a shared contribution that cancels is no uncertainty
    floor = 1e-13 * float(np.max(np.abs(np.diag(covariance)), initial=0.0)) + 1e-300
    sizes = np.maximum(sizes, floor)

    def chi_square(s2: float) -> float:
        return float(np.sum(squares / (sizes + s2)))

    def solve(target: float) -> float:
        from scipy.optimize import brentq

        if chi_square(0.0) <= target:
            return 0.0
        high = 1.001 * float(np.sum(squares)) / target
        return float(np.sqrt(brentq(lambda s2: chi_square(s2) - target, 0.0, high, xtol=1e-300, rtol=1e-10)))

    dof = n - p
    return Repeatability(
        solve(float(dof)),
        dof,
        solve(float(chdtri(dof, 0.16))),
        solve(float(chdtri(dof, 0.84))),
        float(chdtrc(dof, chi_square(0.0))),
        *(
            _weights(squares, sizes, float(np.median(sizes)))
            if prior is None or dof >= ENOUGH
            else _posterior(squares, sizes, prior)
        ),
    )


def _by_publication(prior: Prior) -> Repeatability:
    """Scatter where no replicates tell of it."""
    nodes, weights = prior.nodes(0)
    return replace(NONE, nodes=nodes, weights=weights, origin="published")


def _posterior(squares: Array, sizes: Array, prior: Prior) -> tuple[Array, Array]:
    """Scatters that may be and their weights, by publication and by projected squares with known variances."""
    nodes, weights = prior.nodes(len(squares))
    variance = sizes[:, None] + nodes**2
    logs = np.log(weights) - 0.5 * np.sum(np.log(variance) + squares[:, None] / variance, axis=0)
    return _likely(nodes, np.exp(logs - np.max(logs)))


def _weights(squares: Array, sizes: Array, known: float) -> tuple[Array, Array]:
    """Scatters that may be and their weights, from projected squares, known variances and a typical one of them."""
    scale = np.sqrt(known + float(np.mean(squares)))
    # in steps of an eighth, from a scatter that does not count to one that a single pair excludes
    logs = np.arange(np.log(1e-3), np.log(1e4), 0.125)
    nodes = scale * np.exp(logs)
    variance = sizes[:, None] + nodes**2
    log_density = -0.5 * np.sum(np.log(variance) + squares[:, None] / variance, axis=0)
    log_density += 2.0 * np.log(nodes) - np.log(known + nodes**2)
    return _likely(nodes, np.exp(log_density - np.max(log_density)))


def _likely(nodes: Array, weights: Array) -> tuple[Array, Array]:
    """Only nodes that count; weights add up to one."""
    keep = weights > 1e-7 * np.sum(weights)
    return nodes[keep], weights[keep] / np.sum(weights[keep])


def with_own(labels: Sequence[str]) -> list[str]:
    """Labels, and one of its own for whoever has none."""
    return [label or f"\0{k}" for k, label in enumerate(labels)]


def repeatability(values: Values, labels: Sequence[str], prior: Prior | None = None) -> Repeatability:
    """Ask replicates for their scatter: samples with the same label are held to be equal.

    Parameters
    ----------
    values : Values
    labels : sequence of str
        One a sample; samples with an empty label are nobody's replicates.
    prior : Prior, optional
        As for `excess`.

    Examples
    --------
    >>> pairs = Values("a_nm", tuple("abcd"), np.array([1.0, 1.2, 3.0, 3.2]), np.zeros((4, 0)), np.zeros((4, 0)))
    >>> found = repeatability(pairs, ["x", "x", "y", "y"])
    >>> round(found.u, 4), found.degrees_of_freedom  # 0.2 / sqrt(2)
    (0.1414, 2)
    """
    return excess(values.value, indicator(with_own(labels))[1], values.covariance(), prior)


FEW = 6
"""Degrees of freedom below which replicates alone hardly bound the scatter: with a single pair 95 % intervals are six u
wide. The scatter about a course then serves, where it has more."""


def about_course(
    values: Values, lots: Sequence[str], temperatures_c: ArrayLike, hours: ArrayLike
) -> Repeatability:
    """Scatter about a smooth course over temperature and time: a bound from above on that of equal wires.

    The course is, for each lot a level, and for all a parabola over temperature and a line over the logarithm of the
    hold. Where the true course is another, the misfit adds to the scatter: differences judged with it are judged too
    carefully, never too boldly.

    Parameters
    ----------
    values : Values
    lots : sequence of str
    temperatures_c, hours : array, (n,)
        Of the hold; samples without (NaN, or no time) are left out.

    Returns
    -------
    Repeatability
        Without degrees of freedom where there are too few samples.
    """
    place, time = np.asarray(temperatures_c, dtype=float), np.asarray(hours, dtype=float)
    given = np.isfinite(place) & np.isfinite(time) & (time > 0.0)
    if np.sum(given) < 2:
        return NONE
    some = values.select(given)
    place, logs = place[given], np.log(time[given])
    columns = [indicator([lot for lot, each in zip(lots, given, strict=True) if each])[1]]
    for labels in (place, logs):
        if np.ptp(labels) > 0.0:
            scaled = (labels - labels.mean()) / np.ptp(labels)
            columns.append(scaled[:, None])
            if labels is place:
                columns.append(scaled[:, None] ** 2)
    vectors, sizes, _ = np.linalg.svd(np.concatenate(columns, axis=1), full_matrices=False)
    scatter = excess(some.value, vectors[:, sizes > 1e-9 * sizes[0]], some.covariance(), prior_of(some))
    return replace(scatter, origin="course") if scatter.degrees_of_freedom else scatter
