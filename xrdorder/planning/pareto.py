"""Between two quantities that cannot both be had: the treatments that nothing beats in both."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import StudyError
from xrdorder.planning.planner import Plan
from xrdorder.treatments import History

Array = NDArray[np.float64]

DRAWS = 1000


@dataclass(frozen=True, eq=False)
class Front:
    """Two quantities over treatments, and which treatments no other beats in both.

    Attributes
    ----------
    first, second : str
        The quantities.
    treatments : tuple of History
    values, u : array, (n, 2)
        Predicted, and standard uncertainties.
    on_front : array of bool, (n,)
        By predicted values.
    probability : array, (n,)
        That the treatment is truly on the front; the two quantities are taken as independent.
    distinguishable : bool
        Whether both quantities differ by more than chance; if not, there is no trade to speak of.
    """

    first: str
    second: str
    treatments: tuple[History, ...]
    values: Array
    u: Array
    on_front: NDArray[np.bool_]
    probability: Array
    distinguishable: bool


def unbeaten(first: ArrayLike, second: ArrayLike) -> NDArray[np.bool_]:
    """Mark points that no other beats: at least as large in both and larger in one.

    >>> unbeaten([1.0, 2.0, 3.0, 2.0], [3.0, 2.0, 1.0, 1.5]).tolist()
    [True, True, True, False]
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    order = np.lexsort((-b, -a))
    sorted_b = b[order]
    best_before = np.concatenate([[-np.inf], np.maximum.accumulate(sorted_b)[:-1]])
    keep = sorted_b > best_before
    # equal points stand or fall together
    same = np.concatenate([[False], (np.diff(a[order]) == 0.0) & (np.diff(sorted_b) == 0.0)])
    for k in np.flatnonzero(same):
        keep[k] = keep[k - 1]
    found = np.empty(a.size, dtype=bool)
    found[order] = keep
    return found


def front(first: Plan, second: Plan, treatments: Sequence[History] | None = None, seed: int = 0) -> Front:
    """Find the front between two quantities.

    Parameters
    ----------
    first, second : Plan
        Of the two quantities; whether large is good stands in them.
    treatments : sequence of History, optional
        Those to compare; otherwise all that were reacted. ``plan.space.candidates`` gives the front inside the
        limits.
    seed : int

    Raises
    ------
    StudyError
        One of the two has no response surface.
    """
    compared = tuple(treatments) if treatments is not None else _reacted(first, second)
    if not compared:
        raise StudyError("a front needs treatments; there are none")
    columns, us, drawn = [], [], []
    random = np.random.default_rng(seed)
    for one in (first, second):
        value, u = one.surface(compared)
        columns.append(value)
        us.append(u)
        assert one.process is not None  # surface has refused otherwise
        mean, covariance = one.process.predict(one.space.coordinates(compared))
        size, vectors = np.linalg.eigh(covariance)
        root = vectors * np.sqrt(np.maximum(size, 0.0))
        drawn.append(mean + random.standard_normal((DRAWS, len(compared))) @ root.T)
    signs = [1.0 if one.maximise else -1.0 for one in (first, second)]
    probability = np.mean([unbeaten(a, b) for a, b in zip(*drawn, strict=True)], axis=0)
    return Front(
        first.quantity,
        second.quantity,
        compared,
        np.stack(columns, axis=1),
        np.stack(us, axis=1),
        unbeaten(signs[0] * columns[0], signs[1] * columns[1]),
        probability,
        first.distinguishable and second.distinguishable,
    )


def _reacted(first: Plan, second: Plan) -> tuple[History, ...]:
    """Treatments of both, each once."""
    seen: dict[tuple[float, ...], History] = {}
    for one in (*first.treatments, *second.treatments):
        key = tuple(np.round(first.space.coordinates([one])[0], 9))
        seen.setdefault(key, one)
    return tuple(seen.values())
