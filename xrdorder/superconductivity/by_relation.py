"""What each published relation says by itself, asked with the joint estimates of what it takes.

The estimates are those of `xrdorder.estimates`; here nothing is put together. A relation is asked only inside its
validity and refused with a reason where it loses most of the draws there; its own scatter is part of its interval.
From tin or order follow Tc and the resistivity, from the resistivity a slope of Bc2 at Tc and from that, from tin and
from Tc Bc2 at 0 K; each law of temperature carries the estimate of Bc2 at 0 K to a temperature.

All of it is for A15 free of strain. In a wire at 4.2 K the A15 is compressed by 0.2-0.4 % (A. Godeke et al.,
Supercond. Sci. Technol. 19 (2006) R100), which costs Bc2 a few per cent more (`xrdorder.superconductivity.strain`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from xrdorder.crystals.a15 import site_order_from
from xrdorder.relations import PUBLISHED, Library, Relation
from xrdorder.superconductivity.mixture import Array, Band, Common, RelationResult, ask
from xrdorder.superconductivity.targets import HELIUM_K, targets_at

COLLAPSE, PLATEAU = "godeke-2006-collapse", "rise-and-plateau"
"""Relations for Bc2 at 0 K with and without a fall near stoichiometry. One published fit falls from 31 T at 24.3 at.%
tin to 21 T at 25 at.%; bulk samples measured later show no such fall (`xrdorder.relations.bc2_from_tin`)."""

PARTED_T = 1.5
"""Distance from which the two count as apart: the scatter of specimens about either, T."""


def by_relation(
    draws: Mapping[str, Array],
    *,
    library: Library = PUBLISHED,
    wire: str = "any",
    key: str = "",
    lot: str = "",
    seed: int = 0,
    temperatures_k: Sequence[float] = (HELIUM_K,),
) -> tuple[RelationResult, ...]:
    """Ask every relation for the kind of wire.

    Parameters
    ----------
    draws : mapping of target to array, (n,)
        Joint draws of ``tin_fraction``, ``S_a``, ``Tc_K``, ``Bc2_0K_T`` and ``resistivity_uohm_cm``.
    library : Library
    wire : str
        "binary", "doped", "Ta" or "Ti": relations found on such wire, or on any. "any": all of them.
    key, lot : str
        Name of the sample, to which its distance from a relation is tied, and of its wire lot, which shares part of it.
    seed : int
    temperatures_k : sequence of float
        For Bc2, K.

    Raises
    ------
    UnknownNameError
        There is no such sort of wire.
    """
    common = Common(len(draws["Tc_K"]), seed, key, lot)

    def asked(target: str, kind: str, route: str, *inputs: Array) -> Iterator[tuple[RelationResult, Array]]:
        for entry in library.relations(kind, wire):
            yield _asked(target, entry, route, inputs, common)

    tin, s_a, tc, zero = (draws[name] for name in ("tin_fraction", "S_a", "Tc_K", "Bc2_0K_T"))
    order = site_order_from(s_a, tin)
    slopes = list(asked("Bc2_slope_T_per_K", "bc2-slope", "resistivity", draws["resistivity_uohm_cm"]))
    results = [
        *asked("Tc_K", "tc-from-tin", "tin", tin),
        *asked("Tc_K", "tc-from-order", "order", order),
        *asked("resistivity_uohm_cm", "resistivity-from-tin", "tin", tin),
        *asked("resistivity_uohm_cm", "resistivity-from-order", "order", order),
        *slopes,
        *asked("Bc2_0K_T", "bc2-0-from-tin", "tin", tin),
        *asked("Bc2_0K_T", "bc2-0-from-tc", "Tc", tc),
    ]
    for slope, its_draws in slopes:
        for phase, of_it in asked("Bc2_0K_T", "bc2-0-from-slope", "slope", its_draws, tc):
            chain = replace(phase, relations=(*slope.relations, *phase.relations))
            if slope.reason:
                chain = replace(chain, reason=slope.reason, share_inside=slope.share_inside)
            results.append((chain, of_it))
    for target, temperature in targets_at((HELIUM_K, *temperatures_k)).items():
        at = np.full(common.n, temperature)
        results += asked(target, "bc2-temperature", "Bc2(0)", at, zero, tc)
    return tuple(result for result, _ in results)


def _asked(
    target: str, entry: Relation, route: str, inputs: Sequence[Array], common: Common
) -> tuple[RelationResult, Array]:
    if not all(np.any(np.isfinite(variable)) for variable in inputs):
        return RelationResult.refused(target, (entry,), "an input is not known", route), np.full(common.n, math.nan)
    said = ask(entry, inputs[0], *inputs[1:], common=common)
    middle, low, high = (float(end) for end in Band.of(said.draws))
    value = math.nan
    if said.applies:
        value = float(entry.evaluate(*(float(np.nanmedian(variable)) for variable in inputs)))
    return RelationResult(target, (entry,), value, middle, low, high, said.share_inside, said.reason, route), said.draws


def branches_words(results: Sequence[RelationResult], estimate_t: float) -> str:
    """Say how far the published branches of Bc2 at 0 K near stoichiometry part; empty where one does not apply.

    Nobody has settled for wires whether Bc2 falls there; the estimate follows Tc and takes neither.
    """
    by_name = {result.name: result for result in results if result.applies and result.target == "Bc2_0K_T"}
    if COLLAPSE not in by_name or PLATEAU not in by_name:
        return ""
    collapse, plateau = by_name[COLLAPSE].median, by_name[PLATEAU].median
    if abs(plateau - collapse) <= PARTED_T:
        return f"both branches of Bc2 agree here within {PARTED_T:g} T"
    nearer = PLATEAU if abs(estimate_t - plateau) < abs(estimate_t - collapse) else COLLAPSE
    return (
        f"near stoichiometry the published branches of Bc2(0 K) part: {COLLAPSE} {collapse:.1f} T, {PLATEAU} "
        f"{plateau:.1f} T; the estimate ({estimate_t:.1f} T) follows Tc and lies nearer to {nearer}"
    )
