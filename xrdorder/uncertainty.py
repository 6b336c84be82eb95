"""How sure a number is, and with which other samples it shares its doubt.

One table answers both. `Contributions` holds, for the quantities of one sample, the *signed* standard
contribution of every source of uncertainty (columns), and for every source the group that shares it. Two
samples calibrated with the same instrument scan carry the column ``calibration/0`` under the same group, so
that their common error cancels in a difference; a column with the group ``""`` is private to its sample and
never cancels. Everything else is a view of that table:

* `Contributions.total`, `Contributions.covariance` and `Contributions.part` (independent and common part,
  GUM F.1.2);
* `Contributions.budget`, what the uncertainty is made of;
* `difference`, how sure the difference of two samples is;
* `common_draws` and `quantity_draws`, random numbers that are equal where the doubt is shared;
* `to_dataset`, `from_dataset` and `collate`, the table as it is stored.

Columns are independent of each other by construction. Correlated quantities (the parameters of a fit) share
columns: `Contributions.from_covariance` turns a covariance matrix into such columns.

GUM: JCGM 100:2008, *Guide to the expression of uncertainty in measurement*; Monte Carlo as in JCGM 101:2008.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import UnknownNameError

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]

DEFAULT_DRAWS = 100_000
DEFAULT_LEVEL = 0.68
PRIVATE = ""


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
            contribution is added to that column with its sign: it is the same doubt.
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
        nothing can be told.
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


def _generator(seed: int, source: str, group: str, key: str) -> np.random.Generator:
    """Random generator of one source, fixed by seed, source and group (and key, if private)."""
    text = "\x1f".join((str(int(seed)), source, group, key if group == PRIVATE else ""))
    return np.random.Generator(
        np.random.PCG64(int.from_bytes(hashlib.sha256(text.encode()).digest()[:16], "big"))
    )


def standard_normal(n: int, seed: int, source: str, group: str = PRIVATE, key: str = "") -> Array:
    """Draw n standard normal numbers of one source, equal for all who name the same seed, source, group.

    A private source (group ``""``) depends on `key` as well: the name of the sample it belongs to. Numbers of a shared
    one cannot be written to.
    """
    if group != PRIVATE:
        return _shared_normal(n, seed, source, group)
    return _generator(seed, source, group, key).standard_normal(n)


@lru_cache(maxsize=64)  # sources of a study, which every one of its samples asks for
def _shared_normal(n: int, seed: int, source: str, group: str) -> Array:
    draws = _generator(seed, source, group, "").standard_normal(n)
    draws.flags.writeable = False
    return draws


def common_draws(
    contributions: Sequence[Contributions],
    n: int = DEFAULT_DRAWS,
    seed: int = 0,
    keys: Sequence[str] | None = None,
) -> list[Array]:
    """Draw standard normal numbers for the sources of several samples, equal where a source is shared.

    Parameters
    ----------
    contributions : sequence of Contributions
        One table a sample.
    n : int
        Number of draws.
    seed : int
        The numbers of a source depend on the seed, its name and its group, not on the order of samples or
        sources, nor on what else is drawn.
    keys : sequence of str, optional
        Names of the samples, to which private sources are tied. Without them the place in the sequence
        serves.

    Returns
    -------
    list of array, (n_sources, n) each
        ``value + contributions.row(quantity) @ draws`` are draws of a quantity.
    """
    names = [str(k) for k in range(len(contributions))] if keys is None else list(keys)
    if len(names) != len(contributions):
        raise ValueError(
            f"common draws: {len(names)} keys for {len(contributions)} samples; give one a sample"
        )
    return [
        np.array(
            [standard_normal(n, seed, s, g, key) for s, g in zip(table.sources, table.groups, strict=True)]
        ).reshape(len(table.sources), n)
        for key, table in zip(names, contributions, strict=True)
    ]


def quantity_draws(
    values: Mapping[str, float],
    contributions: Contributions,
    quantities: Iterable[str] | None = None,
    *,
    n: int = DEFAULT_DRAWS,
    seed: int = 0,
    key: str = "",
) -> dict[str, Array]:
    """Draw quantities: value plus contributions times the common draws of the sources, each shape (n,).

    Needs memory for the quantities only, not for all sources at once. `key` is the name of the sample.
    """
    names = contributions.quantities if quantities is None else tuple(quantities)
    rows = np.array([contributions.row(name) for name in names]).reshape(
        len(names), len(contributions.sources)
    )
    draws = np.empty((len(names), n))
    draws[:] = np.array([float(values[name]) for name in names]).reshape(-1, 1)
    for k, (source, group) in enumerate(zip(contributions.sources, contributions.groups, strict=True)):
        if np.any(rows[:, k] != 0.0):
            draws += np.outer(rows[:, k], standard_normal(n, seed, source, group, key))
    return dict(zip(names, draws, strict=True))


def interval(draws: ArrayLike, level: float = DEFAULT_LEVEL) -> tuple[float, float]:
    """Probabilistically symmetric interval of draws (JCGM 101, 7.7): as much lies below as above.

    Returns (NaN, NaN) when there are no draws or one of them is NaN: what could not be drawn is not left
    out in silence.

    Raises
    ------
    ValueError
        `level` is not between 0 and 1.

    Examples
    --------
    >>> [round(x, 2) for x in interval(np.arange(101.0), 0.68)]
    [16.0, 84.0]
    """
    if not 0.0 < level < 1.0:
        raise ValueError(
            f"level of an interval is {level}; give a probability between 0 and 1, for example 0.68"
        )
    numbers = np.asarray(draws, dtype=np.float64)
    if numbers.size == 0 or np.any(np.isnan(numbers)):
        return math.nan, math.nan
    low, high = np.quantile(numbers, [0.5 - level / 2.0, 0.5 + level / 2.0])
    return float(low), float(high)


def to_dataset(contributions: Contributions) -> xr.Dataset:
    """Table of one sample as a dataset: ``contribution`` (quantity, source) and ``source_group`` (source)."""
    import xarray as xr

    return xr.Dataset(
        {
            "contribution": (
                ("quantity", "source"),
                contributions.values.copy(),
                {"long_name": "signed standard contribution, in the unit of the quantity"},
            ),
            "source_group": (
                ("source",),
                np.array(contributions.groups, dtype=object),
                {"long_name": "who shares the source; empty: private to the sample"},
            ),
        },
        coords={
            "quantity": ("quantity", np.array(contributions.quantities, dtype=object)),
            "source": ("source", np.array(contributions.sources, dtype=object)),
        },
    )


def from_dataset(dataset: xr.Dataset) -> Contributions:
    """Table of one sample from a dataset written by `to_dataset`, or from one sample of `collate`.

    Columns that are zero for every quantity are dropped; a quantity that was not given comes back as NaN.
    """
    return _table(
        [str(name) for name in dataset["quantity"].values],
        [str(name) for name in dataset["source"].values],
        np.array(dataset["contribution"].transpose("quantity", "source").values, dtype=np.float64),
        [str(name) for name in dataset["source_group"].values],
    )


def separate(dataset: xr.Dataset) -> dict[str, Contributions]:
    """Tables of all samples from a dataset of `collate`, each as `from_dataset` gives it."""
    quantities = [str(name) for name in dataset["quantity"].values]
    sources = [str(name) for name in dataset["source"].values]
    values = np.array(dataset["contribution"].transpose("sample", "quantity", "source").values, dtype=np.float64)
    groups = dataset["source_group"].transpose("sample", "source").values
    return {
        str(sample): _table(quantities, sources, values[k], [str(name) for name in groups[k]])
        for k, sample in enumerate(dataset["sample"].values)
    }


def _table(quantities: Sequence[str], sources: Sequence[str], values: Array, groups: Sequence[str]) -> Contributions:
    # A quantity that a sample of a collated table does not have, or that could not be given, is NaN.
    values[np.any(np.isnan(values), axis=1)] = np.nan
    keep = np.flatnonzero(np.any(values != 0.0, axis=0)).tolist()
    return Contributions(
        tuple(quantities), tuple(sources[k] for k in keep), values[:, keep], tuple(groups[k] for k in keep)
    )


def collate(tables: Mapping[str, Contributions]) -> xr.Dataset:
    """Join the tables of many samples: ``contribution`` (sample, quantity, source) and ``source_group``.

    ``source_group`` has the dimensions (sample, source).

    A source a sample does not have contributes 0 and has the group ``""``; a quantity it does not have is
    NaN.

    Raises
    ------
    ValueError
        A source stands under two groups in one sample, which the stored form cannot hold.
    """
    import xarray as xr

    quantities = list(dict.fromkeys(name for table in tables.values() for name in table.quantities))
    sources = list(dict.fromkeys(name for table in tables.values() for name in table.sources))
    values = np.full((len(tables), len(quantities), len(sources)), np.nan)
    groups = np.full((len(tables), len(sources)), "", dtype=object)
    for i, (sample, table) in enumerate(tables.items()):
        if len(set(table.sources)) != len(table.sources):
            twice = next(name for name in table.sources if table.sources.count(name) > 1)
            raise ValueError(
                f"sample {sample!r}: source {twice!r} stands under two groups; "
                f"name them {twice}/1 and {twice}/2"
            )
        columns = [sources.index(name) for name in table.sources]
        rows = [quantities.index(name) for name in table.quantities]
        values[i, rows, :] = 0.0
        values[i, np.array(rows, dtype=int)[:, None], columns] = table.values
        groups[i, columns] = np.array(table.groups, dtype=object)
    return xr.Dataset(
        {
            "contribution": (
                ("sample", "quantity", "source"),
                values,
                {"long_name": "signed standard contribution, in the unit of the quantity"},
            ),
            "source_group": (
                ("sample", "source"),
                groups,
                {"long_name": "who shares the source; empty: private to the sample"},
            ),
        },
        coords={
            "sample": ("sample", np.array(list(tables), dtype=object)),
            "quantity": ("quantity", np.array(quantities, dtype=object)),
            "source": ("source", np.array(sources, dtype=object)),
        },
    )
