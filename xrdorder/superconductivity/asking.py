"""Asking published relations, and putting together what they say.

Everything runs over draws, arrays of one length n. A relation is asked only inside its validity: draws outside are left
out, and a relation that loses most of them is refused with the reason. Those that apply take equal parts in the
mixture, so that the spread between them is part of the interval.

Which relation draw k takes is decided by random numbers of the relations, not of the sample: draw k of two samples
takes the same one wherever both have it. The distance of a specimen from a relation is its own; between specimens of
one lot half of its variance is taken as common (judged: nobody published how far specimens of one wire stray together,
and much of what is published as scatter is between laboratories).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from xrdorder.relations import Relation
from xrdorder.uncertainty import DEFAULT_LEVEL, standard_normal

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

LEAST_SHARE = 0.16
"""A relation is asked if at least this share of the draws lies inside its validity: its range then reaches
into the central 68 % of the input."""

LOT_SHARE = 0.5
"""Part of the variance of specimens about a relation that is common to a lot (judged)."""

REPLACED = -1
"""Code of a draw that lay outside the validity and was replaced by another: no good for comparison draw by draw."""


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

    @property
    def applies(self) -> bool:
        """Whether it gives a number."""
        return not self.reason

    @property
    def name(self) -> str:
        """Names of the relations, joined."""
        return " + ".join(relation.name for relation in self.relations)


@dataclass(frozen=True)
class Combined:
    """What the applicable relations say together, in equal parts.

    Attributes
    ----------
    target : str
    median, low, high : float
        Median and 68 % interval; NaN where no relation applies.
    spread : float
        Largest minus smallest median of the relations.
    count : int
        How many relations apply.
    """

    target: str
    median: float
    low: float
    high: float
    spread: float
    count: int


class Input(NamedTuple):
    """Central value and draws of an input.

    Attributes
    ----------
    value : float
    draws : array, (n,), or None
    reason : str
        Why there is none to use; empty where there is.
    codes : array, (n,), or None
        By which relations the draws came about; None where they were given.
    """

    value: float
    draws: Array | None
    reason: str
    codes: Codes | None = None


class Asked(NamedTuple):
    """Answer of one relation: summary, draws (NaN outside the validity) and how the inputs came about."""

    result: RelationResult
    draws: Array
    codes: Codes | None = None


class Mixed(NamedTuple):
    """Answer of all relations: summary, draws (empty where none applies), and which relations each draw took."""

    combined: Combined
    draws: Array
    codes: Codes

    def as_input(self, words: str) -> Input:
        """Take it as the input of the next relation."""
        if not self.combined.count:
            return Input(math.nan, None, f"no relation gives {words}")
        return Input(self.combined.median, self.draws, "", self.codes)


def three(draws: Array) -> tuple[float, float, float]:
    """Median and ends of the 68 % interval of draws without NaN; one sort serves all three.

    >>> [round(x, 2) for x in three(np.arange(101.0))]
    [50.0, 16.0, 84.0]
    """
    if not draws.size:
        return math.nan, math.nan, math.nan
    ordered = np.sort(draws)
    places = (draws.size - 1) * np.array([0.5, 0.5 - DEFAULT_LEVEL / 2.0, 0.5 + DEFAULT_LEVEL / 2.0])
    low = np.floor(places).astype(int)
    part = places - low
    found = ordered[low] * (1.0 - part) + ordered[np.minimum(low + 1, draws.size - 1)] * part
    return float(found[0]), float(found[1]), float(found[2])


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


class Asking:
    """Asks relations with one set of common draws.

    Parameters
    ----------
    seed, n : int
    key : str
        Name of the sample, to which is tied what it shares with nobody.
    lot : str
        Wire lot; empty: shares nothing.
    """

    def __init__(self, seed: int, n: int, key: str, lot: str = "") -> None:
        self.seed, self.n, self.key, self.lot = seed, n, key, lot
        self._normal: dict[str, Array] = {}

    def ask(self, target: str, entry: Relation, given: Input, *others: Input, route: str) -> Asked:
        """Ask a relation; `others` are further inputs, usual values where left out."""
        inputs = [given, *others]
        draws = [one.draws for one in inputs if one.draws is not None]
        if len(draws) < len(inputs) or any(one.reason for one in inputs):
            reason = next((one.reason for one in inputs if one.reason), "an input is not known")
            return self.refused(target, (entry,), reason, 0.0, route)
        share = float(np.mean(entry.inside(draws[0])))
        if share < LEAST_SHARE:
            symbol = entry.inputs[0]
            reason = (
                f"{symbol.name} = {given.value:.4g} with its uncertainty lies outside the validity {entry.validity}"
            )
            return self.refused(target, (entry,), reason, share, route)
        value = float(entry.evaluate(*(one.value for one in inputs)))
        strayed = self.strayed(entry, draws[0], entry.evaluate(*draws))
        return self.answer(target, (entry,), value, strayed, route, joined_codes(*(one.codes for one in inputs)))

    def strayed(self, entry: Relation, first: Array, exact: Array) -> Array:
        """Add to draws how specimens stray from a relation; nothing falls below zero."""
        return self.strayed_by(entry, exact, entry.scatter.at(first, exact))

    def strayed_by(self, entry: Relation, exact: Array, scatter: Array) -> Array:
        """Add a scatter of given size to draws with a relation's random numbers; nothing falls below zero."""
        draws = scatter * self._normal_of(f"scatter/{entry.kind}/{entry.name}")[: exact.size]
        draws += exact
        return np.asarray(np.maximum(draws, 0.0, out=draws))

    def answer(
        self,
        target: str,
        entries: tuple[Relation, ...],
        value: float,
        draws: Array,
        route: str,
        codes: Codes | None,
    ) -> Asked:
        """Summarise draws; without any inside the validity it is a refusal."""
        missing = np.isnan(draws)
        inside = draws[~missing] if missing.any() else draws
        share = inside.size / draws.size
        if share < LEAST_SHARE:
            return self.refused(target, entries, "its inputs lie outside the validity in most draws", share, route)
        median, low, high = three(inside)
        return Asked(RelationResult(target, entries, value, median, low, high, share, "", route), draws, codes)

    def refused(
        self, target: str, entries: tuple[Relation, ...], reason: str, share: float, route: str
    ) -> Asked:
        """Make a refusal with its reason."""
        nan = math.nan
        result = RelationResult(target, entries, nan, nan, nan, nan, share, reason, route)
        return Asked(result, np.empty(0))

    def mix(self, target: str, asked: Sequence[Asked], question: str = "") -> Mixed:
        """Put the applicable relations together in equal parts, draw by draw."""
        applicable = [one for one in asked if one.result.applies]
        if not applicable:
            nan = math.nan
            return Mixed(Combined(target, nan, nan, nan, nan, 0), np.empty(0), np.empty(0, dtype=np.int64))
        names = tuple(one.result.name for one in applicable)
        choice = _choice(self.n, self.seed, question or target, names)
        mixed, codes = np.empty(self.n), np.empty(self.n, dtype=np.int64)
        for index, one in enumerate(applicable):
            slots = np.flatnonzero(choice == index)
            mine = one.draws[slots]
            code = np.full(slots.size, crc32(names[index].encode()), dtype=np.int64)
            codes[slots] = code if one.codes is None else _joined(code, one.codes[slots])
            missing = np.isnan(mine)
            if missing.any():
                # Draws outside the validity are replaced by others inside it: every relation keeps its part.
                mine[missing] = np.resize(one.draws[~np.isnan(one.draws)], int(missing.sum()))
                codes[slots[missing]] = REPLACED
            mixed[slots] = mine
        medians = [one.result.median for one in applicable]
        median, low, high = three(mixed)
        combined = Combined(target, median, low, high, max(medians) - min(medians), len(applicable))
        return Mixed(combined, mixed, codes)

    def _normal_of(self, source: str) -> Array:
        """Random numbers of a source, one sample's own or in part its lot's."""
        if source not in self._normal:
            own = standard_normal(self.n, self.seed, source, "", self.key)
            if self.lot:
                common = standard_normal(self.n, self.seed, source, f"lot {self.lot}")
                own = math.sqrt(LOT_SHARE) * common + math.sqrt(1.0 - LOT_SHARE) * own
            self._normal[source] = own
        return self._normal[source]


def joined_codes(*parts: Codes | None) -> Codes | None:
    """Join what draws came about by; replaced anywhere is replaced."""
    known = [part for part in parts if part is not None]
    if not known:
        return None
    joined = known[0]
    for part in known[1:]:
        joined = _joined(joined, part)
    return joined


def _joined(one: Codes, other: Codes) -> Codes:
    # a product beyond 63 bits wraps, alike for all; the mask keeps what is left above zero
    both = (one * np.int64(1_000_003) + other) & np.int64(0x7FFF_FFFF_FFFF)
    return np.where((one == REPLACED) | (other == REPLACED), np.int64(REPLACED), both)
