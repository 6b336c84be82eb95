"""Random numbers of sources of uncertainty, equal for all samples that share a source."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.uncertainty.contributions import PRIVATE, Contributions

Array = NDArray[np.float64]

DEFAULT_DRAWS = 100_000
DEFAULT_LEVEL = 0.68
ONE_SIDED_95 = 1.645
"""Standard uncertainties of a normal distribution below which 95 % lie."""


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
