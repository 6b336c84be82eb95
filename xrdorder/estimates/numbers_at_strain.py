"""Tc and Bc2 of an estimate from numbers at an intrinsic axial strain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from xrdorder.exceptions import Flag
from xrdorder.relations import Library, Relation
from xrdorder.superconductivity.asking import RelationResult
from xrdorder.superconductivity.strain import at_strain
from xrdorder.uncertainty import Array, standard_normal


@dataclass(frozen=True)
class Strained:
    """Tc and Bc2 at a strain.

    Attributes
    ----------
    strain : float
        Intrinsic axial strain.
    draws : dict of target to array, (draws,)
        Joint draws times strain functions; Bc2 at temperatures by the temperature law of the joint draws.
    relations : tuple of RelationResult
        By each strain function alone.
    flags : tuple of Flag
    """

    strain: float
    draws: Mapping[str, Array]
    relations: tuple[RelationResult, ...]
    flags: tuple[Flag, ...]


def strained(
    draws: Mapping[str, Array],
    temperatures: Mapping[str, float],
    law: Relation,
    *,
    strain: float,
    u_strain: float,
    seed: int,
    library: Library,
    wire: str,
) -> Strained:
    """Multiply joint draws by the published strain functions.

    Parameters
    ----------
    draws : mapping of target to array, (draws,)
        Free of strain.
    temperatures : mapping of target to float
        For Bc2, K.
    law : Relation
        Of Bc2 at a temperature.
    strain, u_strain : float
    seed : int
    library : Library
    wire : str
        Kind of wire that relations are chosen for.

    Raises
    ------
    ValidityError
        The strain is no fraction.
    """
    tc, zero = draws["Tc_K"], draws["Bc2_0K_T"]
    at = strain + u_strain * standard_normal(len(tc), seed, "strain")
    found = at_strain(tc, zero, at, seed=seed, library=library, wire=wire)
    tc, zero = found.draws["Tc_K"], found.draws["Bc2_0K_T"]
    fields = {name: np.asarray(law.function(np.array(t), zero, tc)) for name, t in temperatures.items()}
    return Strained(strain, {"Tc_K": tc, "Bc2_0K_T": zero, **fields}, found.results, found.flags)
