"""One quantity of many samples, with what each source contributes to each of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from xrdorder.estimates.stored_draws import StudyDraws
from xrdorder.exceptions import StudyError, UnknownNameError, did_you_mean
from xrdorder.quantities.formatting import DOSE_DIGITS, digits
from xrdorder.quantities.registry import ESTIMATED, columns, grows_by_factors, known, unit_of
from xrdorder.superconductivity.mixture import LEAST_SHARE
from xrdorder.uncertainty import PRIVATE

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Values:
    """One quantity of n samples.

    Attributes
    ----------
    quantity : str
        Name of the quantity, as a column of the table of results where it is one.
    samples : tuple of str, n
    value : array, (n,)
    shared : array, (n, m)
        Signed contributions of sources that samples share; a column is one source of one group.
    private : array, (n, p)
        Contributions that concern a sample alone.

    Raises
    ------
    ValueError
        Shapes do not match, or a number is not finite.
    """

    quantity: str
    samples: tuple[str, ...]
    value: Array
    shared: Array
    private: Array

    def __post_init__(self) -> None:
        n = len(self.samples)
        for name in ("value", "shared", "private"):
            array = np.asarray(getattr(self, name), dtype=float)
            if array.shape[:1] != (n,) or array.ndim != (1 if name == "value" else 2):
                raise ValueError(f"values of {self.quantity}: {name} has the shape {array.shape} for {n} samples")
            if not np.all(np.isfinite(array)):
                raise ValueError(f"values of {self.quantity}: {name} is not finite everywhere; leave such samples out")
            object.__setattr__(self, name, array)

    def __len__(self) -> int:
        return len(self.samples)

    @property
    def own(self) -> Array:
        """Standard uncertainty that a sample shares with no other, shape (n,)."""
        return np.asarray(np.sqrt(np.sum(self.private**2, axis=1)))

    @property
    def u(self) -> Array:
        """Standard uncertainty of each value, shape (n,)."""
        return np.asarray(np.sqrt(np.sum(self.private**2, axis=1) + np.sum(self.shared**2, axis=1)))

    def covariance(self, repeatability: float = 0.0) -> Array:
        """Covariance of the values, shape (n, n); a scatter between wires adds to the diagonal."""
        diagonal = np.sum(self.private**2, axis=1) + repeatability**2
        return np.asarray(self.shared @ self.shared.T + np.diag(diagonal))

    @property
    def by_logarithm(self) -> bool:
        """Whether it is compared by its logarithm."""
        return grows_by_factors(self.quantity)

    def on_scale(self) -> "Values":
        """The logarithms of what is compared by them, with relative contributions; other values as they are."""
        if not self.by_logarithm:
            return self
        if np.any(self.value <= 0.0):
            raise ValueError(f"values of {self.quantity}: a size is not above zero; leave such samples out")
        size = self.value[:, None]
        name = f"logarithm of {self.quantity}"
        return Values(name, self.samples, np.log(self.value), self.shared / size, self.private / size)

    def select(self, which: ArrayLike) -> "Values":
        """Only these samples: indices or a mask."""
        index = np.arange(len(self))[np.asarray(which)]
        samples = tuple(self.samples[k] for k in index)
        return Values(self.quantity, samples, self.value[index], self.shared[index], self.private[index])


def values_of(dataset: xr.Dataset, quantity: str) -> Values:
    """Take one quantity out of collated results.

    Parameters
    ----------
    dataset : Dataset
        As `xrdorder.results.collate.collate` gives it.
    quantity : str
        A column of the table of results (``tin_at_percent``), or a quantity of the dataset (``tin_fraction``). What is
        estimated of all samples together is taken from its joint draws, anything else with its contributions.

    Returns
    -------
    Values
        Samples without the quantity are left out.

    Raises
    ------
    UnknownNameError
        No sample can have such a quantity.
    """
    asked = known(quantity)
    if asked is not None and asked.name in ESTIMATED:
        scale = asked.of_column.factor if quantity == asked.column else 1.0
        draws = StudyDraws.of(dataset)
        return values_from_draws(quantity, draws.samples, scale * draws.of_target(asked.name))
    there = [str(name) for name in dataset["quantity"].values]
    in_table = {c.name: c for c in columns() if c.kind == "value" and c.quantity in there}
    column = in_table.get(quantity)
    name, scale = (column.quantity, column.scale) if column else (quantity, 1.0)
    if name not in there:
        every = [*in_table, *ESTIMATED, *there]
        raise UnknownNameError(
            f"the results have no quantity '{quantity}' with an uncertainty table; {did_you_mean(quantity, every)}"
        )
    k = there.index(name)
    value = scale * np.asarray(dataset["value"].values[:, k], dtype=float)
    table = scale * np.asarray(dataset["contribution"].values[:, k, :], dtype=float)
    groups = dataset["source_group"].values
    given = np.isfinite(value) & np.all(np.isfinite(table), axis=1)
    if grows_by_factors(quantity):
        given &= value > 0.0
    table, groups = table[given], groups[given]
    shared: list[Array] = []
    private: list[Array] = []
    for column, of in zip(table.T, groups.T, strict=True):
        for group in dict.fromkeys(of.tolist()):
            part = np.where(of == group, column, 0.0)
            if np.any(part):
                (private if group == PRIVATE else shared).append(part)
    parts = (np.array(some).reshape(len(some), int(np.sum(given))).T for some in (shared, private))
    return Values(quantity, tuple(str(name) for name in dataset["sample"].values[given]), value[given], *parts)


def values_from_draws(quantity: str, samples: Sequence[str], draws: ArrayLike) -> Values:
    """Values of a quantity that is known by draws, made with common numbers for common sources.

    What the draws of different samples have in common is kept as shared columns (a factor of their covariance), so it
    cancels in differences. The least eigenvalue is the variance that each sample certainly has of its own. Draws that
    are few let chance pass for common parts: correlations are known to 1/sqrt(N).

    Parameters
    ----------
    quantity : str
    samples : sequence of str, n
    draws : array, (n, N)
        NaN where a draw lies outside what a relation is valid for: it is left out for all samples, so that all are
        compared in the same state of what they share. Samples for which hardly any draw would be left go, the worst
        first.
    """
    numbers = np.asarray(draws, dtype=float)
    if numbers.ndim != 2 or len(numbers) != len(samples) or numbers.shape[1] < 2:
        raise ValueError(
            f"draws of {quantity}: shape {numbers.shape} for {len(samples)} samples; give (samples, draws)"
        )
    given, common = _common_draws(np.isfinite(numbers))
    numbers = numbers[given][:, common]
    n = len(numbers)
    size, vectors = np.linalg.eigh(np.cov(numbers).reshape(n, n))
    own = max(float(size[0]), 0.0) if n else 0.0
    size = size - own
    keep = size > 1e-12 * max(float(size[-1]) if n else 0.0, 1e-300)
    names = tuple(name for name, there in zip(samples, given, strict=True) if there)
    shared = vectors[:, keep] * np.sqrt(size[keep])
    return Values(quantity, names, np.median(numbers, axis=1), shared, np.sqrt(own) * np.eye(n))


def _common_draws(inside: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Samples and draws to compare with: every sample inside its validity in at least `LEAST_SHARE` of the draws."""
    given = np.any(inside, axis=1)
    while True:
        rows = inside[given]
        common = np.all(rows, axis=0)
        if len(rows) < 2 or np.mean(common) >= LEAST_SHARE:
            return given, common
        missing = len(rows) - np.sum(rows, axis=0)
        # what is left without a sample: draws that it alone spoils, and those that nobody does
        gain = np.sum(~rows & (missing == 1), axis=1)
        worst = np.flatnonzero(given)[np.lexsort((np.sum(rows, axis=1), -gain))[0]]
        given[worst] = False


def mounts_of(dataset: xr.Dataset) -> list[str]:
    """How each sample was mounted; empty where nobody told it.

    >>> mounts_of(xr.Dataset(coords={"sample": ["a"]}))
    ['']
    """
    return [str(x) for x in dataset["mount"].values] if "mount" in dataset else [""] * dataset.sizes["sample"]


_BY = {
    "reaction-temperature": ("peak_c", "g"),
    "hold-time": ("hold_at_peak_h", ".4g"),
    "dose": ("dose_h", ".4g"),
    "position": ("position", "g"),
    "date": ("date", ""),
    "lot": ("lot", ""),
}
"""Variables by what people call them, and how a number of them is written."""


def grouping(dataset: xr.Dataset, by: str = "treatment") -> tuple[list[str], Array | None]:
    """Put the samples of a study into variants.

    Parameters
    ----------
    dataset : Dataset
    by : str
        ``treatment`` (wire lot, treatment and, where there are several, mount: what replicates share), ``lot``,
        ``reaction-temperature``, ``hold-time``, ``dose``, ``position``, ``date``, or any variable over samples.

    Returns
    -------
    labels : list of str
        One a sample of the dataset; empty where it is not known.
    numbers : array or None
        The variable where it is a number.

    Raises
    ------
    StudyError
        The results do not have it.
    """
    if by == "treatment":
        lots, treatments = ([str(x) for x in dataset[name].values] for name in ("lot", "treatment"))
        many = len(set(lots)) > 1
        # strain left in a composite, texture and the share of its core that is seen are others in another mount
        mounts = mounts_of(dataset)
        triples = zip(lots, treatments, mounts if len(set(mounts)) > 1 else [""] * len(lots), strict=True)
        return [
            " ".join(x for x in (lot * many, treatment, f"({mount})" * bool(mount)) if x) if treatment else ""
            for lot, treatment, mount in triples
        ], None
    name, form = _BY.get(by, (by, ".4g"))
    if name not in dataset.variables or dataset[name].dims != ("sample",):
        known = [word for word, (variable, _) in _BY.items() if variable in dataset.variables]
        raise StudyError(
            f"results cannot be ordered by '{by}': no sample tells it; known are {', '.join(['treatment', *known])}"
        )
    values = dataset[name].values
    if values.dtype.kind not in "fiu":
        return [str(value) for value in values], None
    numbers = np.asarray(values, dtype=float)
    unit = f" {unit_of(name)}" if by in _BY else ""
    texts = [digits(number, DOSE_DIGITS) if by == "dose" else f"{number:{form}}" for number in numbers]
    return ["" if np.isnan(number) else text + unit for number, text in zip(numbers, texts, strict=True)], numbers


def in_order(values: Iterable[object]) -> Array:
    """Numbers as they are, dates (``2026-11-25``) as days, NaN for what is neither.

    >>> in_order(["2026-11-27", "", 3]).tolist()
    [739947.0, nan, 3.0]
    """
    numbers = []
    for value in values:
        try:
            numbers.append(float(str(value)))
        except ValueError:
            try:
                numbers.append(float(date.fromisoformat(str(value)[:10]).toordinal()))
            except ValueError:
                numbers.append(float("nan"))
    return np.array(numbers)
