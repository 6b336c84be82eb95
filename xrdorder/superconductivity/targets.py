"""What is predicted beside that which always is, and for which kind of wire."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from xrdorder.quantities.registry import bc2_name
from xrdorder.relations import DOPANTS

HELIUM_K = 4.2


def targets_at(temperatures_k: Sequence[float]) -> dict[str, float]:
    """Temperatures by the names of their targets, without 0 K (a target of its own) and doublets.

    >>> targets_at((4.2, 12.0, 0.0, 4.2))
    {'Bc2_4K2_T': 4.2, 'Bc2_12K_T': 12.0}
    """
    named = {bc2_name(t): float(t) for t in temperatures_k}
    return {name: t for name, t in named.items() if name != bc2_name(0.0)}


def wire_of(dopants: Mapping[str, float], *, undoped: bool = False) -> str:
    """Say by its dopants for which kind of wire relations are to be chosen.

    Titanium and tantalum rule it; with both the greater content, as nothing was published on mixtures. With other
    dopants only, what holds for doped wire holds; without a word about dopants any relation may hold.

    Parameters
    ----------
    dopants : mapping of str to float
        Content of each dopant, atomic fraction.
    undoped : bool
        The wire is known to hold none.

    Examples
    --------
    >>> wire_of({"Ta": 0.024}), wire_of({"Hf": 0.01}), wire_of({}, undoped=True), wire_of({})
    ('Ta', 'doped', 'binary', 'any')
    """
    there = {element: content for element, content in dopants.items() if content > 0.0}
    known = {element: there[element] for element in DOPANTS if element in there}
    if known:
        return max(known, key=lambda element: known[element])
    if there:
        return "doped"
    return "binary" if undoped else "any"
