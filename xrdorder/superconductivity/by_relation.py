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
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from xrdorder.crystals.a15 import site_order_from
from xrdorder.superconductivity.mixture import Answer, Array, Common
from xrdorder.superconductivity.targets import HELIUM_K, targets_at

COLLAPSE, PLATEAU = "godeke-2006-collapse", "rise-and-plateau"
"""Relations for Bc2 at 0 K with and without a fall near stoichiometry. One published fit falls from 31 T at 24.3 at.%
tin to 21 T at 25 at.%; bulk samples measured later show no such fall (`xrdorder.relations.bc2_from_tin`)."""

PARTED_T = 1.5
"""Distance from which the two count as apart: the scatter of specimens about either, T."""


def by_relation(
    draws: Mapping[str, Array], common: Common, temperatures_k: Sequence[float] = (HELIUM_K,)
) -> tuple[Answer, ...]:
    """Ask every relation for the kind of wire.

    Parameters
    ----------
    draws : mapping of target to array, (n,)
        Joint draws of ``tin_fraction``, ``S_a``, ``Tc_K``, ``Bc2_0K_T`` and ``resistivity_uohm_cm``.
    common : Common
        Of the sample, to which its distance from a relation is tied.
    temperatures_k : sequence of float
        For Bc2, K.

    Raises
    ------
    UnknownNameError
        There is no such sort of wire.
    """
    tin, s_a, tc, bc2_0 = (draws[name] for name in ("tin_fraction", "S_a", "Tc_K", "Bc2_0K_T"))
    order = site_order_from(s_a, tin)
    slopes = _asked(common, "Bc2_slope_T_per_K", "bc2-slope", "resistivity", draws["resistivity_uohm_cm"])
    answers = [
        *_asked(common, "Tc_K", "tc-from-tin", "tin", tin),
        *_asked(common, "Tc_K", "tc-from-order", "order", order),
        *_asked(common, "resistivity_uohm_cm", "resistivity-from-tin", "tin", tin),
        *_asked(common, "resistivity_uohm_cm", "resistivity-from-order", "order", order),
        *slopes,
        *_asked(common, "Bc2_0K_T", "bc2-0-from-tin", "tin", tin),
        *_asked(common, "Bc2_0K_T", "bc2-0-from-tc", "Tc", tc),
    ]
    for slope in slopes:
        for zero in _asked(common, "Bc2_0K_T", "bc2-0-from-slope", "slope", slope.draws, tc):
            chain = replace(zero, relations=(*slope.relations, *zero.relations))
            if slope.reason:
                chain = replace(chain, reason=slope.reason, share_inside=slope.share_inside)
            answers.append(chain)
    for target, temperature in targets_at((HELIUM_K, *temperatures_k)).items():
        at = np.full(common.n, temperature)
        answers += _asked(common, target, "bc2-temperature", "Bc2(0)", at, bc2_0, tc)
    return tuple(answers)


def _asked(common: Common, target: str, kind: str, route: str, *inputs: Array) -> list[Answer]:
    if not all(np.any(np.isfinite(variable)) for variable in inputs):
        nothing, why = np.full(common.n, math.nan), "an input is not known"
        return [Answer((r,), nothing, 0.0, why, target, route) for r in common.library.relations(kind, common.wire)]
    medians = [float(np.nanmedian(variable)) for variable in inputs]
    return [
        replace(answer, target=target, route=route,
                value=float(answer.relation.evaluate(*medians)) if answer.applies else math.nan)
        for answer in common.ask(kind, *inputs)
    ]  # fmt: skip


def branches_words(answers: Sequence[Answer], estimate_t: float) -> str:
    """Say how far the published branches of Bc2 at 0 K near stoichiometry part; empty where one does not apply.

    Nobody has settled for wires whether Bc2 falls there; the estimate follows Tc and takes neither.
    """
    by_name = {answer.name: answer for answer in answers if answer.applies and answer.target == "Bc2_0K_T"}
    if COLLAPSE not in by_name or PLATEAU not in by_name:
        return ""
    collapse, plateau = (float(by_name[name].band.median) for name in (COLLAPSE, PLATEAU))
    if abs(plateau - collapse) <= PARTED_T:
        return f"both branches of Bc2 agree here within {PARTED_T:g} T"
    nearer = PLATEAU if abs(estimate_t - plateau) < abs(estimate_t - collapse) else COLLAPSE
    return (
        f"near stoichiometry the published branches of Bc2(0 K) part: {COLLAPSE} {collapse:.1f} T, {PLATEAU} "
        f"{plateau:.1f} T; the estimate ({estimate_t:.1f} T) follows Tc and lies nearer to {nearer}"
    )
