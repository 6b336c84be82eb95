"""What a published relation is: plain data, one vectorised function, and a check when it is defined."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import ValidityError

Array = NDArray[np.float64]

KINDS = {
    "tin-from-lattice": "tin content from the lattice parameter",
    "tin-from-order": "tin content from the site order",
    "resistivity-from-order": "normal resistivity from the long-range order",
    "resistivity-from-tin": "normal resistivity from the tin content",
    "tc-from-tin": "critical temperature from the tin content",
    "tc-from-order": "critical temperature from the site order",
    "bc2-0-from-tin": "upper critical field at 0 K from the tin content",
    "bc2-0-from-tc": "upper critical field at 0 K from the critical temperature",
    "bc2-temperature": "upper critical field at a temperature from its value at 0 K",
}
"""Questions that relations answer; a new kind is one line here and one module beside this one."""

LABELS = {
    "read": "read in the cited source",
    "secondary": "read in somebody else's summary of the cited source",
    "memory": "from memory, not read anywhere",
    "derived": "derived here from other published relations or data",
}
"""How a formula is known."""


@dataclass(frozen=True)
class Symbol:
    """One input or the output of a relation.

    Attributes
    ----------
    name, meaning, unit : str
        Symbol in the formula, what it is, and its unit (``"1"`` for a plain number, fractions as fractions).
    usual : float
        A usual value, taken where an input after the first is not given.
    """

    name: str
    meaning: str
    unit: str
    usual: float


@dataclass(frozen=True)
class Scatter:
    """How far single specimens stray from a relation, as a standard deviation in the unit of the output.

    Attributes
    ----------
    source : str
        Where the figure comes from.
    steps : tuple of (from, standard deviation)
        Absolute part: valid from this value of the first input upwards; the first one also below.
    relative : float
        Part proportional to the output, added in quadrature.
    """

    source: str
    steps: tuple[tuple[float, float], ...] = ((0.0, 0.0),)
    relative: float = 0.0

    def at(self, first_input: ArrayLike, output: ArrayLike) -> Array:
        """Give the standard deviation for values of the first input and the output they lead to."""
        starts = np.array([start for start, _ in self.steps])
        sizes = np.array([size for _, size in self.steps])
        index = np.searchsorted(starts, np.asarray(first_input, dtype=np.float64), side="right") - 1
        absolute = sizes[np.clip(index, 0, len(sizes) - 1)]
        return np.asarray(np.hypot(absolute, self.relative * np.asarray(output, dtype=np.float64)))


@dataclass(frozen=True)
class Relation:
    """A published relation between quantities.

    Attributes
    ----------
    name : str
        Short name, lower case with hyphens.
    kind : str
        Question it answers, a key of `KINDS`.
    title, formula : str
        One line for tables, and the formula in text.
    function : callable
        Vectorised: takes the inputs in their order, gives the output. Takes any number; validity is not its
        business.
    inputs, output : Symbol
        Units and meanings. Inputs after the first have a usual value.
    source, equation : str
        Publication, and the place in it.
    valid : (low, high)
        Range of the first input in which the relation was established.
    scatter : Scatter
    known : str
        A key of `LABELS`.
    inverse : callable, optional
        Takes the output (and inputs after the first), gives the first input.
    notes : str

    Raises
    ------
    ValueError
        Something is missing or contradicts itself; the message names the entry, the field and the value.
    """

    name: str
    kind: str
    title: str
    formula: str
    function: Callable[..., Array]
    inputs: tuple[Symbol, ...]
    output: Symbol
    source: str
    equation: str
    valid: tuple[float, float]
    scatter: Scatter
    known: str
    inverse: Callable[..., Array] | None = None
    notes: str = ""

    def __post_init__(self) -> None:
        _check(self)

    def evaluate(self, first: ArrayLike, *others: ArrayLike) -> Array:
        """Give the output, NaN where the first input lies outside the validity; usual values fill in."""
        x = np.asarray(first, dtype=np.float64)
        with np.errstate(all="ignore"):
            y = self.function(x, *self._others(others))
        return np.where(self.inside(x), y, np.nan)

    def __call__(self, first: ArrayLike, *others: ArrayLike) -> Array:
        """Give the output, and refuse inputs outside the validity.

        Raises
        ------
        ValidityError
            The first input lies outside the range the relation was established for.
        """
        reason = self.refusal(first)
        if reason:
            raise ValidityError(reason)
        return self.evaluate(first, *others)

    def inside(self, first: ArrayLike) -> NDArray[np.bool_]:
        """Tell where the first input lies inside the validity (both ends belong to it)."""
        x = np.asarray(first, dtype=np.float64)
        # 1e-12: an end of the range must not be lost to the rounding of a decimal number.
        low, high = self.valid
        return np.asarray((x >= low - 1e-12) & (x <= high + 1e-12))

    def refusal(self, first: ArrayLike) -> str:
        """Say in one line why the relation does not apply to an input; empty where it applies."""
        x = np.atleast_1d(np.asarray(first, dtype=np.float64))
        outside = x[~self.inside(x)]
        if outside.size == 0:
            return ""
        symbol = self.inputs[0]
        unit = "" if symbol.unit == "1" else f" {symbol.unit}"
        return (
            f"relation '{self.name}': {symbol.name} = {outside[0]:.5g}{unit} lies outside its validity "
            f"{self.validity}; take another relation or give no value"
        )

    @property
    def validity(self) -> str:
        """Range of validity as text."""
        symbol = self.inputs[0]
        low, high = self.valid
        unit = "" if symbol.unit == "1" else f" {symbol.unit}"
        return f"{low:g} to {high:g}{unit}"

    def _others(self, others: tuple[ArrayLike, ...]) -> list[Array]:
        if len(others) > len(self.inputs) - 1:
            names = ", ".join(symbol.name for symbol in self.inputs)
            raise TypeError(f"relation '{self.name}' takes {len(self.inputs)} inputs ({names})")
        missing = [symbol.usual for symbol in self.inputs[1 + len(others) :]]
        return [np.asarray(value, dtype=np.float64) for value in (*others, *missing)]


def _check(relation: Relation) -> None:
    """Refuse a definition that is incomplete or contradicts itself."""

    def refuse(field: str, value: object, remedy: str) -> None:
        raise ValueError(f"relation '{relation.name}': {field} is {value!r}; {remedy}")

    allowed = set("abcdefghijklmnopqrstuvwxyz0123456789-")
    if not relation.name or set(relation.name) - allowed:
        refuse("name", relation.name, "use lower case letters, digits and hyphens")
    if relation.kind not in KINDS:
        refuse("kind", relation.kind, f"known kinds: {', '.join(KINDS)}")
    if relation.known not in LABELS:
        refuse("known", relation.known, f"say how it is known: {', '.join(LABELS)}")
    for field in ("title", "formula", "source", "equation"):
        if not getattr(relation, field).strip():
            refuse(field, getattr(relation, field), "a relation without it cannot be checked by anybody")
    if not relation.scatter.source.strip():
        refuse("scatter.source", relation.scatter.source, "say where the scatter comes from")
    if not relation.inputs:
        refuse("inputs", relation.inputs, "name at least one input")
    low, high = relation.valid
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        refuse("valid", relation.valid, "give the finite range it was established for, low before high")
    probes = np.linspace(low, high, 7)
    with np.errstate(all="ignore"):
        outputs = np.asarray(relation.function(probes, *relation._others(())), dtype=np.float64)
    if outputs.shape != probes.shape or not np.all(np.isfinite(outputs)):
        refuse("function", outputs.tolist(), "it must be vectorised and finite over its validity")
    steps, relative = relation.scatter.steps, relation.scatter.relative
    if not steps or list(steps) != sorted(steps):
        refuse("scatter.steps", steps, "give (from, standard deviation) pairs, rising in the first")
    if not all(0.0 <= size < math.inf for size in (relative, *(size for _, size in steps))):
        refuse("scatter", (steps, relative), "a standard deviation is zero or more")
    if relation.inverse is not None:
        back = relation.inverse(outputs, *relation._others(()))
        # Formulas have closed inverses: only rounding, amplified at most 1e4 times, may remain.
        if not np.allclose(back, probes, rtol=1e-9, atol=1e-12):
            refuse("inverse", np.asarray(back).tolist(), f"it must give {probes.tolist()} back")
