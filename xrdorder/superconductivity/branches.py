"""Upper critical field near stoichiometry: which of the two published branches an estimate is on.

One published fit falls from 31 T at 24.3 at.% tin to 21 T at 25 at.%; bulk samples measured later show no such fall
(`xrdorder.relations.bc2_from_tin`). Nobody has settled the question for wires. Both are asked, and where they part the
result says how far, what an estimate that knows neither branch says (Tc with a slope of Bc2 at Tc), and on whose side
that is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from xrdorder.superconductivity.asking import RelationResult

COLLAPSE, PLATEAU = "godeke-2006-collapse", "rise-and-plateau"
"""Names of the branches in the library."""

PARTED_T = 1.5
"""Distance from which the branches count as apart: the scatter of specimens about either, T."""


@dataclass(frozen=True)
class Branches:
    """Bc2 at 0 K by both branches.

    Attributes
    ----------
    collapse, plateau : RelationResult
        With and without the fall toward stoichiometry.
    apart : float
        Plateau less collapse, medians, T.
    elsewhere : float
        Median over the relations that take Tc instead of tin, which know no branch; NaN without any, T.
    side : str
        Name of the branch that the relations by Tc are nearer to; empty where the branches agree or nothing tells.
    """

    collapse: RelationResult
    plateau: RelationResult
    apart: float
    elsewhere: float
    side: str

    @property
    def parted(self) -> bool:
        """Whether it matters which one is true."""
        return abs(self.apart) > PARTED_T

    @property
    def words(self) -> str:
        """Say it in one sentence."""
        if not self.parted:
            return f"both branches of Bc2 agree here within {PARTED_T:g} T"
        text = (
            f"near stoichiometry the published branches of Bc2(0 K) part: {self.collapse.name} "
            f"{self.collapse.median:.1f} T, {self.plateau.name} {self.plateau.median:.1f} T; both are in the estimate "
            "in equal parts"
        )
        if self.side:
            text += f", and the relations by Tc ({self.elsewhere:.1f} T) side with {self.side}"
        return text


def compare_branches(zero: Sequence[RelationResult]) -> Branches | None:
    """Compare both branches among the results for Bc2 at 0 K; None where one of them does not apply."""
    by_name = {result.name: result for result in zero if result.applies}
    if COLLAPSE not in by_name or PLATEAU not in by_name:
        return None
    collapse, plateau = by_name[COLLAPSE], by_name[PLATEAU]
    others = [result.median for result in by_name.values() if result.route != "tin"]
    elsewhere = float(np.median(others)) if others else math.nan
    apart = plateau.median - collapse.median
    side = ""
    if abs(apart) > PARTED_T and others:
        nearer_plateau = abs(elsewhere - plateau.median) < abs(elsewhere - collapse.median)
        side = PLATEAU if nearer_plateau else COLLAPSE
    return Branches(collapse, plateau, apart, elsewhere, side)
