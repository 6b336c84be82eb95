"""One table a sample: the signed standard contribution of every source to every quantity, and differences of two."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import UnknownNameError

Array = NDArray[np.float64]

PRIVATE = ""
"""Group of a source that no other sample shares."""


@dataclass(frozen=True, eq=False)
class Contributions:
    """Signed standard contributions of sources to the quantities of one sample.

    Attributes
    ----------
    quantities : tuple of str, n_quantities
        Names of the quantities, unit in the name where there is one (``a_nm``).
    sources : tuple of str, n_sources
        Names of the sources; ``family/detail`` where a family has several independent parts (``counting/3``).
    values : array, (n_quantities, n_sources)
        Change of the quantity when the source is one standard deviation off, in the unit of the quantity.
        Signed: two quantities that a source pushes in opposite directions have opposite signs.
    groups : tuple of str, n_sources
        Who shares the source: two samples with the same source and the same group share it fully.
        ``""`` means private to the sample. A pair (source, group) occurs once.

    Raises
    ------
    ValueError
        Shapes do not match, or a quantity or a pair (source, group) occurs twice.

    Examples
    --------
    >>> c = Contributions(("a_nm",), ("counting", "certificate"), np.array([[3e-6, 4e-6]]), ("", "srm"))
    >>> round(c.total("a_nm"), 9)
    5e-06
    >>> round(c.part("a_nm", shared=False), 9)
    3e-06
    """

    quantities: tuple[str, ...]
    sources: tuple[str, ...]
    values: Array
    groups: tuple[str, ...]

    def __post_init__(self) -> None:
        values = np.array(self.values, dtype=np.float64)
        shape = (len(self.quantities), len(self.sources))
        values = values.reshape(shape) if values.size == 0 and 0 in shape else values
        values.flags.writeable = False
        object.__setattr__(self, "values", values)
        for name in ("quantities", "sources", "groups"):
            object.__setattr__(self, name, tuple(str(item) for item in getattr(self, name)))
        if values.shape != shape or len(self.groups) != len(self.sources):
            raise ValueError(
                f"contributions: values of shape {values.shape}, {len(self.quantities)} quantities, "
                f"{len(self.sources)} sources and {len(self.groups)} groups; "
                "give one row a quantity and one column, one group a source"
            )
        for what, items in (("quantity", self.quantities), ("source and group", self._keys())):
            seen: set[object] = set()
            for item in items:
                if item in seen:
                    raise ValueError(
                        f"contributions: {what} {item!r} occurs twice; give every one its own name"
                    )
                seen.add(item)

    @classmethod
    def empty(cls, quantities: Iterable[str] = ()) -> Contributions:
        """Table of quantities without any source: numbers held as exact."""
        names = tuple(quantities)
        return cls(names, (), np.zeros((len(names), 0)), ())

    @classmethod
    def from_covariance(
        cls, quantities: Iterable[str], covariance: ArrayLike, source: str, group: str = PRIVATE
    ) -> Contributions:
        """Columns ``source/0``, ``source/1``... whose products give `covariance` back.

        The factor is the lower triangular one (Cholesky, zero columns dropped), in the order of
        `quantities`. Unlike eigenvectors it has no free sign or rotation, so that all samples which factor
        the covariance of one instrument get the same columns, as sharing by name requires. Factor a shared
        covariance in the parameters that are shared, then carry it to the sample's quantities with
        `extend`.

        Parameters
        ----------
        quantities : iterable of str, n
        covariance : array, (n, n)
            Symmetric and positive semi-definite.
        source, group : str
            Family name of the columns and who shares them.

        Raises
        ------
        ValueError
            The matrix is not a covariance (shape, not finite, a variance below zero, a correlation beyond
            one).
        """
        names = tuple(quantities)
        factor = _triangular_factor(np.atleast_2d(np.asarray(covariance, dtype=np.float64)), names, source)
        columns = [k for k in range(len(names)) if np.any(factor[:, k])]
        return cls(
            names,
            tuple(f"{source}/{k}" for k in columns),
            factor[:, columns],
            tuple(group for _ in columns),
        )

    def _keys(self) -> tuple[tuple[str, str], ...]:
        return tuple(zip(self.sources, self.groups, strict=True))

    def row(self, quantity: str) -> Array:
        """Give the signed contributions to one quantity, shape (n_sources,).

        Raises
        ------
        UnknownNameError
            The table has no such quantity.
        """
        if quantity not in self.quantities:
            raise UnknownNameError(
                f"no uncertainty table for the quantity {quantity!r}; "
                f"known are: {', '.join(self.quantities) or 'none'}"
            )
        return np.asarray(self.values[self.quantities.index(quantity)])

    def total(self, quantity: str) -> float:
        """Combine all sources: standard uncertainty (k = 1); NaN where the quantity cannot be given."""
        return float(np.sqrt(np.sum(self.row(quantity) ** 2)))

    def covariance(self) -> Array:
        """Covariance matrix of the quantities, shape (n_quantities, n_quantities)."""
        return np.asarray(self.values @ self.values.T)

    def part(self, quantity: str, shared: bool) -> float:
        """Give the part of the uncertainty shared with other samples, or the sample's own part."""
        row = self.row(quantity)
        chosen = np.array([(group != PRIVATE) == shared for group in self.groups], dtype=bool)
        return float(np.sqrt(np.sum(row[chosen] ** 2)))

    def budget(self, quantity: str) -> list[tuple[str, float]]:
        """Families of sources and their standard contributions, largest first; zero ones left out.

        A family is the text before ``/``; its members are added in quadrature. The squares of the
        contributions add up to the square of `total`. Empty for a quantity that cannot be given (NaN).
        """
        squares: dict[str, float] = {}
        for source, value in zip(self.sources, self.row(quantity), strict=True):
            family = source.split("/", 1)[0]
            squares[family] = squares.get(family, 0.0) + float(value) ** 2
        parts = [(family, math.sqrt(square)) for family, square in squares.items() if square > 0.0]
        return sorted(parts, key=lambda part: (-part[1], part[0]))

    def merge(self, other: Contributions) -> Contributions:
        """Table with the quantities and sources of both; the same (source, group) is one column.

        Raises
        ------
        ValueError
            A quantity stands in both tables.
        """
        columns = list(dict.fromkeys([*self._keys(), *other._keys()]))
        values = np.zeros((len(self.quantities) + len(other.quantities), len(columns)))
        values[: len(self.quantities), [columns.index(key) for key in self._keys()]] = self.values
        values[len(self.quantities) :, [columns.index(key) for key in other._keys()]] = other.values
        return Contributions(
            self.quantities + other.quantities,
            tuple(source for source, _ in columns),
            values,
            tuple(group for _, group in columns),
        )

    def extend(
        self,
        quantity: str,
        derivatives: Mapping[str, float],
        extra: Mapping[str, tuple[float, str]] | None = None,
    ) -> Contributions:
        """Table with one more quantity that depends on those already there (linear propagation, GUM 5.1).

        Parameters
        ----------
        quantity : str
            Name of the new quantity. One that exists already is replaced (its own name may be among the
            inputs, which adds sources to it or rescales it).
        derivatives : mapping of str to float
            Derivative of the new quantity with respect to each input quantity of this table.
        extra : mapping of source to (contribution, group), optional
            Sources of the new quantity alone. Where the pair (source, group) is a column already, the
            contribution is added to that column with its sign: it is the same source.
        """
        row = np.zeros(len(self.sources))
        for name, derivative in derivatives.items():
            row = row + derivative * self.row(name)
        columns = list(self._keys())
        additions = dict.fromkeys(columns, 0.0)
        for source, (value, group) in (extra or {}).items():
            additions[(source, group)] = additions.get((source, group), 0.0) + float(value)
        columns = list(additions)
        new_row = np.concatenate([row, np.zeros(len(columns) - len(row))]) + np.array(
            list(additions.values())
        )
        values = np.zeros((len(self.quantities), len(columns)))
        values[:, : len(self.sources)] = self.values
        if quantity in self.quantities:
            values[self.quantities.index(quantity)] = new_row
            quantities = self.quantities
        else:
            values = np.vstack([values, new_row])
            quantities = (*self.quantities, quantity)
        return Contributions(
            quantities, tuple(source for source, _ in columns), values, tuple(group for _, group in columns)
        )

    def select(self, quantities: Iterable[str]) -> Contributions:
        """Table of these quantities only, in this order; columns that touch none of them are dropped."""
        names = tuple(quantities)
        rows = [self.row(name) for name in names]
        values = np.array(rows).reshape(len(names), len(self.sources))
        keep = np.flatnonzero(np.any(values != 0.0, axis=0)).tolist()
        return Contributions(
            names,
            tuple(self.sources[k] for k in keep),
            values[:, keep],
            tuple(self.groups[k] for k in keep),
        )


def _triangular_factor(covariance: Array, names: Sequence[str], source: str) -> Array:
    """Lower triangular L with L Lᵀ = covariance; a direction without variance left gives a zero column."""
    n = len(names)
    if covariance.shape != (n, n):
        raise ValueError(
            f"covariance of {source!r}: shape {covariance.shape} for {n} quantities; give ({n}, {n})"
        )
    if not np.all(np.isfinite(covariance)):
        raise ValueError(
            f"covariance of {source!r} holds values that are not finite; leave failed parameters out"
        )
    variance = np.diag(covariance).copy()
    if np.any(variance < 0.0):
        raise ValueError(
            f"covariance of {source!r}: variance of {names[int(np.argmin(variance))]!r} is below zero"
        )
    # denormal numbers have lost their digits, and with them their correlations: they are no variance
    scale = np.sqrt(np.where(variance > np.finfo(np.float64).tiny, variance, 1.0))
    # Work on the correlation matrix: the scales of fit parameters differ by up to 1e9.
    rest = (covariance + covariance.T) / (2.0 * np.outer(scale, scale))
    if np.any(np.abs(rest) > 1.0 + 1e-6):
        raise ValueError(
            f"covariance of {source!r} holds a correlation beyond one; it is not a covariance matrix"
        )
    factor = np.zeros((n, n))
    for k in range(n):
        # Rounding leaves about 1e-16 per step of a variance of one; below 1e-12 nothing real is left.
        if rest[k, k] <= 1e-12:
            continue
        # A small pivot has few digits left: no column takes more of a variance than there is (Cauchy and Schwarz).
        most = np.sqrt(np.maximum(np.diag(rest)[k:], 0.0))
        factor[k:, k] = np.clip(rest[k:, k] / math.sqrt(rest[k, k]), -most, most)
        rest = rest - np.outer(factor[:, k], factor[:, k])
    return factor * scale[:, None]


@dataclass(frozen=True)
class Difference:
    """Difference of one quantity between two samples (first minus second).

    Attributes
    ----------
    value, u : float
        Difference and its standard uncertainty after shared sources have cancelled, in the unit of the
        quantity.
    probability_positive : float
        Probability that the first sample truly has the larger value (normal distribution); 0.5 where
        neither is known to be larger.
    """

    value: float
    u: float
    probability_positive: float


def difference(
    c1: Contributions, c2: Contributions, quantity: str, value1: float, value2: float
) -> Difference:
    """Difference value1 - value2 of a quantity, with the uncertainty left once shared sources cancel.

    Columns with the same source and the same group subtract with their signs; private columns add in
    quadrature.

    Examples
    --------
    >>> one = Contributions(("a",), ("counting", "certificate"), np.array([[3.0, 100.0]]), ("", "srm"))
    >>> two = Contributions(("a",), ("counting", "certificate"), np.array([[4.0, 100.0]]), ("", "srm"))
    >>> d = difference(one, two, "a", 10.0, 0.0)
    >>> d.value, d.u, round(d.probability_positive, 3)
    (10.0, 5.0, 0.977)
    """
    shared: dict[tuple[str, str], float] = {}
    square = 0.0
    for sign, table in ((1.0, c1), (-1.0, c2)):
        for source, group, contribution in zip(table.sources, table.groups, table.row(quantity), strict=True):
            if group == PRIVATE:
                square += float(contribution) ** 2
            else:
                shared[(source, group)] = shared.get((source, group), 0.0) + sign * float(contribution)
    u = math.sqrt(square + sum(value**2 for value in shared.values()))
    value = float(value1) - float(value2)
    if math.isnan(value) or math.isnan(u):
        return Difference(math.nan, math.nan, 0.5)
    if u == 0.0:
        return Difference(value, 0.0, 0.5 if value == 0.0 else float(value > 0.0))
    return Difference(value, u, 0.5 * math.erfc(-value / (u * math.sqrt(2.0))))
