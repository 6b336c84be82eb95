"""Published relations asked draw by draw, and put together where several answer one question.

Everything runs over draws, arrays of one length n. A relation is asked only inside its validity: draws outside are left
out, and a relation that loses most of them is refused with the reason. Those that apply take equal parts, so that the
spread between them is part of the interval.

Which relation draw k takes is decided by random numbers of the relations, not of the sample: draw k of two samples
takes the same one wherever both have it. The distance of a specimen from a relation is its own; between specimens of
one lot half of its variance is taken as common (judged: nobody published how far specimens of one wire stray together,
and much of what is published as scatter is between laboratories).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.relations import Relation
from xrdorder.uncertainty import DEFAULT_LEVEL, standard_normal

Array = NDArray[np.float64]

LEAST_SHARE = 0.16
"""A relation is asked if at least this share of the draws lies inside its validity: its range then reaches
into the central 68 % of the input."""

LOT_SHARE = 0.5
"""Part of the variance of specimens about a relation that is common to a lot (judged)."""


@dataclass(frozen=True)
class RelationResult:
    """What one relation (or a chain of relations) says.

    Attributes
    ----------
    target : str
        What is predicted, as "Tc_K".
    relations : tuple of Relation
        The relation; for a chain all of them, the one that gives the target last.
    value : float
        At the medians of the inputs; NaN where they lie outside the validity.
    median, low, high : float
        Of the draws inside the validity, 68 %.
    share_inside : float
        Share of the draws inside the validity.
    reason : str
        Why it is refused; empty where it applies.
    route : str
        What it was asked with: "tin", "order", "Tc", "slope", "resistivity", "Bc2(0)".
    """

    target: str
    relations: tuple[Relation, ...]
    value: float
    median: float
    low: float
    high: float
    share_inside: float
    reason: str
    route: str = ""

    @classmethod
    def refused(
        cls, target: str, relations: tuple[Relation, ...], reason: str, route: str = "", share_inside: float = 0.0
    ) -> RelationResult:
        """Make a refusal with its reason."""
        nan = math.nan
        return cls(target, relations, nan, nan, nan, nan, share_inside, reason, route)

    @property
    def applies(self) -> bool:
        """Whether it gives a number."""
        return not self.reason

    @property
    def name(self) -> str:
        """Names of the relations, joined."""
        return " + ".join(relation.name for relation in self.relations)


@lru_cache(maxsize=64)
def _choice(n: int, seed: int, question: str, names: tuple[str, ...]) -> NDArray[np.intp]:
    """Say which of the named relations each draw takes: the one with the least of random numbers of its own.

    With one more relation among the names, draws change over to it, and none between the others.
    """
    least = np.full(n, np.inf)
    choice = np.zeros(n, dtype=np.intp)
    for index, name in enumerate(names):
        own = standard_normal(n, seed, f"choice of relation/{question}/{name}", "published")
        better = own < least
        choice[better] = index
        np.minimum(least, own, out=least)
    choice.flags.writeable = False
    return choice


class Band(NamedTuple):
    """Median and ends of the 68 % interval: numbers, or arrays of one length."""

    median: Array
    low: Array
    high: Array

    @classmethod
    def of(cls, draws: ArrayLike) -> Band:
        """Summarise draws along their first axis; draws that could not be had (NaN) are left out.

        Examples
        --------
        >>> [round(float(x), 1) for x in Band.of(np.arange(101.0))]
        [50.0, 16.0, 84.0]
        """
        numbers = np.asarray(draws, dtype=np.float64)
        if numbers.shape[0] == 0 or np.all(np.isnan(numbers)):
            nothing = np.full(numbers.shape[1:], np.nan)
            return cls(nothing, nothing, nothing)
        half = DEFAULT_LEVEL / 2.0
        probabilities = [0.5, 0.5 - half, 0.5 + half]
        if np.any(np.isnan(numbers)):
            return cls(*np.nanquantile(numbers, probabilities, axis=0))
        return cls(*np.quantile(numbers, probabilities, axis=0))


@dataclass(frozen=True)
class Common:
    """What random numbers hang on.

    Attributes
    ----------
    n, seed : int
        Number of draws and seed.
    key : str
        Name of the sample, to which is tied what it shares with nobody.
    lot : str
        Wire lot, whose samples stray from a relation in part together. Empty: shared with nobody.
    """

    n: int
    seed: int = 0
    key: str = ""
    lot: str = ""

    def own(self, source: str) -> Array:
        """Standard normal numbers of a source that is this sample's alone, shape (n,)."""
        return standard_normal(self.n, self.seed, source, "", self.key)

    def of_lot(self, source: str) -> Array:
        """Standard normal numbers of a source that samples of a lot share, shape (n,)."""
        return standard_normal(self.n, self.seed, source, f"lot {self.lot}") if self.lot else self.own(source)

    def normal(self, source: str) -> Array:
        """Standard normal numbers for how a sample strays from a relation: in part its lot's, shape (n,)."""
        if not self.lot:
            return self.own(source)
        return np.asarray(
            math.sqrt(LOT_SHARE) * self.of_lot(source) + math.sqrt(1.0 - LOT_SHARE) * self.own(source)
        )

    def choice(self, question: str, relations: Sequence[Relation]) -> NDArray[np.intp]:
        """Say which relation each draw takes, in equal parts and the same for everybody, shape (n,)."""
        return _choice(self.n, self.seed, question, tuple(entry.name for entry in relations))


@dataclass(frozen=True)
class Answer:
    """What one relation says.

    Attributes
    ----------
    relation : Relation
    draws : array, (n,) or (n, m)
        With the scatter of specimens about the relation; NaN outside the validity.
    share_inside : float
        Share of the draws inside the validity.
    reason : str
        Why the relation is refused; empty where it applies.
    """

    relation: Relation
    draws: Array = field(repr=False)
    share_inside: float
    reason: str

    @property
    def applies(self) -> bool:
        """Whether it takes part in the mixture."""
        return not self.reason

    @property
    def band(self) -> Band:
        """Median and 68 % interval of the draws inside the validity."""
        return Band.of(self.draws)


def ask(
    entry: Relation, first: Array, *others: ArrayLike, common: Common, centre: Array | None = None
) -> Answer:
    """Ask one relation about draws of its inputs.

    Parameters
    ----------
    entry : Relation
    first : array, (n,) or (n, m)
        Draws of the first input; m pieces of one layer in a row.
    *others : array, optional
        Further inputs, usual values where left out.
    common : Common
    centre : array, (n,), optional
        For a row of pieces: the value by which the row counts as inside the validity. A piece that lies outside is
        then taken at the nearer end of the validity.
    """
    if centre is None:
        inside, x = entry.inside(first), first
    else:
        inside, x = entry.inside(centre), np.clip(first, *entry.valid)
    share = float(np.mean(inside))
    if share < LEAST_SHARE:
        at = float(np.nanmedian(first)) if np.any(np.isfinite(first)) else np.nan
        symbol = entry.inputs[0]
        reason = f"{symbol.name} = {at:.4g} with its uncertainty lies outside the validity {entry.validity}"
        return Answer(entry, np.full(np.shape(first), np.nan), share, reason)
    exact = entry.evaluate(x, *others)
    rows = (common.n,) + (1,) * (exact.ndim - 1)
    normal = common.normal(f"scatter/{entry.kind}/{entry.name}").reshape(rows)
    with np.errstate(invalid="ignore"):
        draws = np.maximum(exact + normal * entry.scatter.at(x, exact), 0.0)
        draws = np.where(inside.reshape(rows) if inside.ndim == 1 else inside, draws, np.nan)
    return Answer(entry, draws, share, "")


def ask_all(
    entries: Iterable[Relation],
    first: Array,
    *others: ArrayLike,
    common: Common,
    centre: Array | None = None,
) -> tuple[Answer, ...]:
    """Ask several relations the same."""
    return tuple(ask(entry, first, *others, common=common, centre=centre) for entry in entries)


def mix(answers: Sequence[Answer], question: str, common: Common) -> Array:
    """Put the applicable answers together in equal parts, draw by draw; NaN throughout where none applies.

    Draws outside the validity of a relation are replaced by others inside it, so that every relation keeps its part.
    """
    applicable = [answer for answer in answers if answer.applies]
    if not applicable:
        return np.full(answers[0].draws.shape if answers else (common.n,), np.nan)
    choice = common.choice(question, [answer.relation for answer in applicable])
    mixed = np.empty(applicable[0].draws.shape)
    for index, draws in enumerate(answer.draws for answer in applicable):
        slots = np.flatnonzero(choice == index)
        mine = draws[slots]
        lost = np.asarray(np.any(np.isnan(draws).reshape(len(draws), -1), axis=1))
        missing = np.flatnonzero(lost[slots])
        mine[missing] = np.resize(draws[~lost], (len(missing), *draws.shape[1:]))
        mixed[slots] = mine
    return mixed


def spread_of(answers: Sequence[Answer]) -> float:
    """Largest less smallest median of the relations that apply; NaN where none does."""
    medians = [float(np.nanmedian(answer.draws)) for answer in answers if answer.applies]
    return max(medians) - min(medians) if medians else float("nan")
