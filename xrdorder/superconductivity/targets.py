"""What is predicted: names, units, words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from xrdorder.exceptions import ValidityError
from xrdorder.relations import DOPANTS

HELIUM_K = 4.2

TARGETS = {
    "Tc_K": "K",
    "resistivity_uohm_cm": "microohm cm",
    "Bc2_slope_T_per_K": "T/K",
    "Bc2_0K_T": "T",
    "Bc2_4K2_T": "T",
}
"""What is always predicted, with units; Bc2 at further temperatures on request."""

_TITLES = {
    "Tc_K": "Tc",
    "resistivity_uohm_cm": "resistivity just above Tc",
    "Bc2_slope_T_per_K": "|dBc2/dT| at Tc",
    "Bc2_0K_T": "Bc2(0 K)",
}


def temperature_target(temperature_k: float) -> str:
    """Name Bc2 at a temperature.

    Raises
    ------
    ValidityError
        The temperature is negative or not finite.

    Examples
    --------
    >>> temperature_target(4.2), temperature_target(12.0)
    ('Bc2_4K2_T', 'Bc2_12K_T')
    """
    if not 0.0 <= temperature_k < math.inf:
        raise ValidityError(f"temperature for Bc2 is {temperature_k:g} K; give zero or more")
    whole, _, part = f"{temperature_k:.6f}".rstrip("0").partition(".")
    return f"Bc2_{whole}K{part}_T"


def targets_at(temperatures_k: Sequence[float]) -> dict[str, float]:
    """Temperatures by the names of their targets, without 0 K (a target of its own) and doublets.

    >>> targets_at((4.2, 12.0, 0.0, 4.2))
    {'Bc2_4K2_T': 4.2, 'Bc2_12K_T': 12.0}
    """
    named = {temperature_target(t): float(t) for t in temperatures_k}
    return {name: t for name, t in named.items() if name not in _TITLES}


def unit_of(target: str) -> str:
    """Unit of a target.

    >>> unit_of("Tc_K"), unit_of("Bc2_12K_T")
    ('K', 'T')
    """
    return TARGETS.get(target, "T")


def title_of(target: str) -> str:
    """Words for a target.

    >>> title_of("Tc_K"), title_of("Bc2_4K2_T"), title_of("Bc2_12K_T")
    ('Tc', 'Bc2(4.2 K)', 'Bc2(12 K)')
    """
    if target in _TITLES:
        return _TITLES[target]
    whole, _, part = target.removeprefix("Bc2_").removesuffix("_T").partition("K")
    return f"Bc2({whole}{'.' if part else ''}{part} K)"


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
