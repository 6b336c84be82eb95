"""What a published relation is: plain data, one vectorised function, and a check when it is defined."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain

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
    "bc2-slope": "slope of the upper critical field at Tc from the normal resistivity",
    "bc2-0-from-slope": "upper critical field at 0 K from its slope at Tc",
    "tc-from-resistivity": "critical temperature from the normal resistivity",
    "bc2-0-from-resistivity": "upper critical field at 0 K from the normal resistivity",
    "tc-from-reaction": "critical temperature of doped wire from the reaction temperature",
    "bc2-0-from-reaction": "upper critical field at 0 K of doped wire from the reaction temperature",
    "strain-function": "upper critical field under axial strain over that without",
    "tc-strain": "critical temperature under strain over that without, from the strain function",
    "peak-pinning-force": "peak of the pinning force from the grain size",
    "peak-pinning-force-from-field": "peak of the pinning force from the field where it vanishes",
    "peak-pinning-force-from-boundaries": "peak of the pinning force from the density of grain boundaries",
    "peak-pinning-force-ratio": "peaks of the pinning force of two layers from the ratio of their fields",
    "reduced-pinning-force": "pinning force over its peak against reduced field",
    "layer-current": "critical current density of the A15 layer at field, temperature and strain",
    "flux-line-spacing": "distance of flux lines from the field",
    "grain-size": "grain size from the reaction temperature",
    "layer-growth": "growth of the A15 layer with time",
    "tin-profile": "tin content across a reacted layer",
    "dopant-site": "share of a dopant on the tin site",
    "thermal-expansion": "lattice parameter at a temperature over that at 22.5 °C",
    "heat-capacity": "coefficients of the heat capacity from the tin content",
}
"""Questions that relations answer; a new kind is one line here and one module beside this one."""

WIRES = ("any", "binary", "doped", "Ta", "Ti")
"""For which A15 a relation holds: any, undoped, doped whatever with, or doped with one element."""

DOPANTS = ("Ta", "Ti")
"""Those of `WIRES` that name one dopant: what holds for doped wire holds for them."""

LABELS = {
    "read": "read in the cited source",
    "abstract": "read in the abstract of the cited source, no more of it",
    "secondary": "read in somebody else's summary of the cited source",
    "memory": "from memory, not read anywhere",
    "derived": "derived here from other published relations or data",
    "own": "of this laboratory",
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
        if len(self.steps) == 1:
            return np.asarray(np.hypot(self.steps[0][1], self.relative * np.asarray(output, dtype=np.float64)))
        starts = np.array([start for start, _ in self.steps])
        sizes = np.array([size for _, size in self.steps])
        index = np.searchsorted(starts, np.asarray(first_input, dtype=np.float64), side="right") - 1
        absolute = sizes[np.clip(index, 0, len(sizes) - 1)]
        return np.asarray(np.hypot(absolute, self.relative * np.asarray(output, dtype=np.float64)))


@dataclass(frozen=True)
class Check:
    """A point that a relation must go through.

    Attributes
    ----------
    inputs : tuple of float
        The first input, and others where they are not the usual ones.
    output, tolerance : float
        In the unit of the output; the tolerance is half the last digit that is printed, unless the source says else.
    source : str
        Where the point stands.
    """

    inputs: tuple[float, ...]
    output: float
    tolerance: float
    source: str


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
    criterion : str
        How the transition was read, for Tc and Bc2: onset, 50 %, 90 %, 99 %, extrapolated; empty where the source does
        not say or nothing was read.
    wire : str
        For which it holds, one of `WIRES`: that it was found on, or any where theory or samples of both sorts bear it.
    checks : tuple of Check
    contradicts : str
        What says otherwise.
    replaces : str
        Name of the relation in whose place it is asked, where a laboratory has adjusted one.
    samples : tuple of str
        Samples it was adjusted on: that it fits them proves nothing. Empty where it was not, or nobody said.

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
    criterion: str = ""
    wire: str = "any"
    checks: tuple[Check, ...] = ()
    contradicts: str = ""
    replaces: str = ""
    samples: tuple[str, ...] = ()

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

    def holds_for(self, wire: str) -> bool:
        """Tell whether the relation holds for a sort of wire, one of `WIRES`; of wire that nobody described, all do."""
        return wire == "any" or self.wire in ("any", wire) or (self.wire == "doped" and wire in DOPANTS)

    @property
    def citation(self) -> str:
        """Name, publication, place in it, and how it is known, in one line."""
        return f"{self.name}: {self.source}, {self.equation} ({LABELS[self.known]})"

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
    complaints = chain(_incomplete(relation), _wrong_function(relation), _wrong_scatter(relation.scatter))
    for field, value, remedy in complaints:
        raise ValueError(f"relation '{relation.name}': {field} is {value!r}; {remedy}")


Complaint = tuple[str, object, str]
"""Field of an entry, its value, and what is wanted instead."""


def _incomplete(relation: Relation) -> Iterator[Complaint]:
    """Fields that are missing or hold none of the values they may."""
    if not relation.name or set(relation.name) - set("abcdefghijklmnopqrstuvwxyz0123456789-"):
        yield "name", relation.name, "use lower case letters, digits and hyphens"
    for field, allowed, wanted in (
        ("kind", KINDS, "known kinds"),
        ("known", LABELS, "say how it is known"),
        ("wire", WIRES, "say for which it holds"),
    ):
        if getattr(relation, field) not in allowed:
            yield field, getattr(relation, field), f"{wanted}: {', '.join(allowed)}"
    for field in ("title", "formula", "source", "equation"):
        if not getattr(relation, field).strip():
            yield field, getattr(relation, field), "a relation without it cannot be checked by anybody"
    if not relation.scatter.source.strip():
        yield "scatter.source", relation.scatter.source, "say where the scatter comes from"
    if not relation.inputs:
        yield "inputs", relation.inputs, "name at least one input"
    low, high = relation.valid
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        yield "valid", relation.valid, "give the finite range it was established for, low before high"


def _wrong_function(relation: Relation) -> Iterator[Complaint]:
    """Formula, inverse and worked points that do not agree with each other."""
    probes = np.linspace(*relation.valid, 7)
    with np.errstate(all="ignore"):
        outputs = np.asarray(relation.function(probes, *relation._others(())), dtype=np.float64)
    if outputs.shape != probes.shape or not np.all(np.isfinite(outputs)):
        yield "function", outputs.tolist(), "it must be vectorised and finite over its validity"
    for point in relation.checks:
        output = float(relation.function(np.asarray(point.inputs[0]), *relation._others(point.inputs[1:])))
        if not abs(output - point.output) <= point.tolerance:
            yield "checks", point, f"the formula gives {output:.6g} there"
    if relation.inverse is not None:
        back = relation.inverse(outputs, *relation._others(()))
        # Formulas have closed inverses: only rounding, amplified at most 1e4 times, may remain.
        if not np.allclose(back, probes, rtol=1e-9, atol=1e-12):
            yield "inverse", np.asarray(back).tolist(), f"it must give {probes.tolist()} back"


def _wrong_scatter(scatter: Scatter) -> Iterator[Complaint]:
    """Standard deviations out of order or below zero."""
    steps, relative = scatter.steps, scatter.relative
    if not steps or list(steps) != sorted(steps):
        yield "scatter.steps", steps, "give (from, standard deviation) pairs, rising in the first"
    if not all(0.0 <= size < math.inf for size in (relative, *(size for _, size in steps))):
        yield "scatter", (steps, relative), "a standard deviation is zero or more"
