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
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.relations import PUBLISHED, Library, Relation
from xrdorder.uncertainty import DEFAULT_LEVEL, standard_normal

Array = NDArray[np.float64]

LEAST_SHARE = 0.16
"""A relation is asked if at least this share of the draws lies inside its validity: its range then reaches
into the central 68 % of the input."""

LOT_SHARE = 0.5
"""Part of the variance of specimens about a relation that is common to a lot (judged)."""


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
    """Whose draws they are: what random numbers hang on, and which relations are asked.

    Attributes
    ----------
    n, seed : int
        Number of draws and seed.
    key : str
        Name of the sample, to which is tied what it shares with nobody.
    lot : str
        Wire lot, whose samples stray from a relation in part together. Empty: shared with nobody.
    library : Library
    wire : str
        "binary", "doped", "Ta" or "Ti": relations found on such wire, or on any. "any": all of them.
    design : str
        Design of the wire (a key of `xrdorder.superconductivity.strain.PRE_STRAINS`); empty where it is not known.
    """

    n: int
    seed: int = 0
    key: str = ""
    lot: str = ""
    library: Library = field(default=PUBLISHED, repr=False)
    wire: str = "any"
    design: str = ""

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

    def ask(self, kind: str, *inputs: ArrayLike) -> tuple[Answer, ...]:
        """Ask all relations of a kind for this sort of wire about draws of their inputs.

        Raises
        ------
        UnknownNameError
            There is no such sort of wire.
        """
        return tuple(ask(entry, *inputs, common=self) for entry in self.library.relations(kind, self.wire))


@dataclass(frozen=True)
class Answer:
    """What one relation, or a chain of them, says.

    Attributes
    ----------
    relations : tuple of Relation
        The relation; for a chain all of them, the one that gives the target last.
    draws : array, (n,)
        With the scatter of specimens about the relation; NaN outside the validity.
    share_inside : float
        Share of the draws inside the validity.
    reason : str
        Why the relation is refused; empty where it applies.
    target : str
        What is predicted, as "Tc_K".
    route : str
        What it was asked with: "tin", "order", "Tc", "slope", "resistivity", "Bc2(0)".
    value : float
        At the medians of the inputs; NaN where they lie outside the validity.
    """

    relations: tuple[Relation, ...]
    draws: Array = field(repr=False, compare=False)
    share_inside: float
    reason: str
    target: str = ""
    route: str = ""
    value: float = math.nan

    @property
    def relation(self) -> Relation:
        """The relation that gives the target."""
        return self.relations[-1]

    @property
    def name(self) -> str:
        """Names of the relations, joined."""
        return " + ".join(relation.name for relation in self.relations)

    @property
    def applies(self) -> bool:
        """Whether it gives numbers."""
        return not self.reason

    @cached_property
    def band(self) -> Band:
        """Median and 68 % interval of the draws inside the validity."""
        return Band.of(self.draws)


def ask(entry: Relation, *inputs: ArrayLike, common: Common) -> Answer:
    """Ask one relation about draws of its inputs.

    Parameters
    ----------
    entry : Relation
    *inputs : array, (n,)
        Draws of its inputs, the first of which the validity is of; usual values for those left out.
    common : Common
    """
    first = np.asarray(inputs[0], dtype=np.float64)
    inside = entry.inside(first)
    share = float(np.mean(inside))
    if share < LEAST_SHARE:
        at = float(np.nanmedian(first)) if np.any(np.isfinite(first)) else np.nan
        reason = f"{entry.inputs[0].name} = {at:.4g} with its uncertainty lies outside the validity {entry.validity}"
        return Answer((entry,), np.full(first.shape, np.nan), share, reason)
    exact = entry.evaluate(*inputs)
    normal = common.normal(f"scatter/{entry.kind}/{entry.name}")
    with np.errstate(invalid="ignore"):
        draws = np.maximum(exact + normal * entry.scatter.at(first, exact), 0.0)
    return Answer((entry,), np.where(inside, draws, np.nan), share, "")


def mix(answers: Sequence[Answer], question: str, common: Common) -> Array:
    """Put the applicable answers together in equal parts, draw by draw, (n,); NaN throughout where none applies.

    Draws outside the validity of a relation are replaced by others inside it, so that every relation keeps its part.
    """
    applicable = [answer for answer in answers if answer.applies]
    mixed = np.full(common.n, np.nan)
    choice = common.choice(question, [answer.relation for answer in applicable])
    for index, draws in enumerate(answer.draws for answer in applicable):
        slots = np.flatnonzero(choice == index)
        mine, lost = draws[slots], np.isnan(draws)
        missing = np.flatnonzero(lost[slots])
        mine[missing] = np.resize(draws[~lost], len(missing))
        mixed[slots] = mine
    return mixed


def refusals(answers: Iterable[Answer]) -> str:
    """Say which relations were refused, and why; empty where none was."""
    return "; ".join(f"{answer.name}: {answer.reason}" for answer in answers if answer.reason)
