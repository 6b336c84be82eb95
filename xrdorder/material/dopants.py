"""Where tantalum sits, by reaction temperature, and what a wire may hold of which nobody told the dopants.

C. Tarantini et al., Supercond. Sci. Technol. 32 (2019) 124003 found by EXAFS 43 % of it on the tin site after a
reaction at 634 °C, 11 % at 666 °C and 8 % at 711 °C (read; their conclusions name the opposite direction for what that
does to the disorder, their discussion and their fields the one used here: the share falls). S. M. Heald et al., Sci.
Rep. 8 (2018) 4798 found 30 % at 640 °C and 21 % at 665 °C in other wires. The line through the former misses the latter
by 7 % and 9 %, and this is how well a temperature tells the share.

Titanium does not follow the temperature: all of it is on the niobium site in every wire of both papers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from xrdorder.relations.growth import SHARES
from xrdorder.relations.published_samples import published_samples

_TEMPERATURES_C, _SHARES = ([pair[k] for pair in SHARES] for k in (0, 1))

OTHER_WIRES = ((640.0, 0.30), (665.0, 0.21))
"""Reaction temperature and share of tantalum on the tin site: S. M. Heald et al. (2018), read."""

U_SHARE = 0.08
"""Root mean square by which `OTHER_WIRES` miss the line (see the module)."""

UNDECLARED = "undeclared"
"""Stands for the element in the contributions of a wire of which nothing was said about dopants."""

LARGEST_U_SHARE = 0.20
"""Far from all temperatures that were tried nothing is known but the range of what was found, 8 to 43 %, and some."""


def tantalum_share(reaction_temperature_c: float) -> tuple[float, float]:
    """Share of tantalum on the tin site after a reaction at this temperature, and its standard uncertainty.

    Straight between the published temperatures, held at the ends; beyond them the uncertainty grows with the slope of
    the segment that ends there.

    Parameters
    ----------
    reaction_temperature_c : float
        °C.

    Examples
    --------
    >>> [round(x, 3) for x in tantalum_share(650.0)]
    [0.27, 0.08]
    >>> [round(x, 3) for x in tantalum_share(625.0)]
    [0.43, 0.12]
    """
    share = float(np.interp(reaction_temperature_c, _TEMPERATURES_C, _SHARES))
    slopes = np.abs(np.diff(_SHARES) / np.diff(_TEMPERATURES_C))
    below = max(_TEMPERATURES_C[0] - reaction_temperature_c, 0.0) * float(slopes[0])
    above = max(reaction_temperature_c - _TEMPERATURES_C[-1], 0.0) * float(slopes[-1])
    return share, min(math.hypot(U_SHARE, below + above), LARGEST_U_SHARE)


def usual_contents() -> tuple[tuple[float, Mapping[str, float]], ...]:
    """What wires usually hold: weight of each published wire, and its dopant contents as atomic fractions.

    Undoped wires weigh as much as their number among all published wires that are doped or not (8 of 83; most of them
    read). The rest of the weight is shared equally by the wires of which contents were measured: five with 1.3 to
    1.7 at.% Ti, 2.4 to 3.5 at.% Ta or both, S. M. Heald et al., Sci. Rep. 8 (2018) 4798 (read).

    Returns
    -------
    tuple of (weight, contents)
        Weights add up to one.
    """
    wires = [sample for sample in published_samples() if sample.form == "wire"]
    undoped = sum(wire.undoped for wire in wires) / len(wires)
    measured = [wire.dopant_at_percent for wire in wires if wire.dopant_at_percent]
    weight = (1.0 - undoped) / len(measured)
    contents = ({element: x / 100.0 for element, x in of.items()} for of in measured)
    return ((undoped, {}), *((weight, of) for of in contents))


def usual_effect(of: Callable[[Mapping[str, float]], float]) -> float:
    """Root mean square of what dopants do, over what wires usually hold; `of` gives it for contents."""
    return math.sqrt(sum(weight * of(contents) ** 2 for weight, contents in usual_contents()))
