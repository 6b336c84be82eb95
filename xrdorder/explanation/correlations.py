"""What the free parameters of a stored fit cost each other: correlations, and what not knowing the others adds to u."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from xrdorder.forward_model.roles import TEXTURE, Kind, Role
from xrdorder.results.parameters import StoredParameters
from xrdorder.results.sample_file import StoredSample

Array = NDArray[np.float64]

NUISANCES = {
    "specimen displacement": (Kind.PLACE,),
    "offset of the angles": (Kind.OFFSET,),
    "transparency": (Kind.TRANSPARENCY,),
    "displacement parameters": (Kind.B_ISO,),
    "texture": TEXTURE,
    "spread of the lattice": (Kind.TAIL, Kind.DEPTH, Kind.ELASTIC, Kind.ANISOTROPY),
    "line widths": (Kind.WIDTH,),
    "amounts": (Kind.SCALE,),
    "background": (Kind.BACKGROUND,),
}
"""Groups of fitted parameters by their kinds."""

_GROUP_OF = {kind: group for group, kinds in NUISANCES.items() for kind in kinds}


@dataclass(frozen=True)
class Nuisance:
    """What one group of other fitted parameters costs a parameter.

    Attributes
    ----------
    name : str
        A key of `NUISANCES`.
    u : float
        By how much, in quadrature, the counting uncertainty of the parameter would shrink if the group were known.
        Groups overlap: these do not add up.
    strongest : (name, correlation)
        The member with the strongest correlation.
    """

    name: str
    u: float
    strongest: tuple[str, float]


@dataclass(frozen=True)
class FittedParameter:
    """A parameter at the beginning of a chain: value, counting uncertainty, and what it hangs together with."""

    name: str
    value: float
    u: float
    nuisances: tuple[Nuisance, ...]


@dataclass(frozen=True)
class Covariance:
    """Covariance of the free parameters of a stored fit, shape (n, n), and what each of them stands for."""

    names: tuple[str, ...]
    values: Array
    roles: Mapping[str, Role] = field(default_factory=dict)

    @classmethod
    def of(cls, sample: StoredSample) -> Covariance:
        """Read it; empty where the sample holds none."""
        table = sample.groups.get("parameters")
        if table is None or "covariance" not in table:
            return cls((), np.zeros((0, 0)))
        return cls(
            tuple(str(name) for name in table["free"].values),
            np.asarray(table["covariance"].values, dtype=float),
            StoredParameters.of(sample).roles,
        )

    def u(self, name: str) -> float:
        """Counting uncertainty of a parameter."""
        k = self.names.index(name)
        return math.sqrt(max(float(self.values[k, k]), 0.0))

    def correlation(self, first: str, second: str) -> float:
        """Coefficient between -1 and 1; NaN where one of the two is not uncertain."""
        product = self.u(first) * self.u(second)
        if product == 0.0:
            return math.nan
        return float(self.values[self.names.index(first), self.names.index(second)]) / product

    def of_order_with_displacements(self) -> tuple[tuple[str, float], ...]:
        """Displacement parameters of the A15 and the correlation of its order contrast with each."""
        roles = [(name, self.roles[name]) for name in self.names if name in self.roles]
        return tuple(
            (name, self.correlation(contrast, name))
            for contrast, (owner, of) in roles
            for name, role in roles
            if of is Kind.CONTRAST and role == (owner, Kind.B_ISO)
        )

    def nuisances(self, name: str) -> tuple[Nuisance, ...]:
        """What groups of other parameters cost this one, largest first; those below a hundredth are left out."""
        groups: dict[str, list[str]] = {}
        for other in self.names:
            if other != name and self.u(other) > 0.0:
                group = _GROUP_OF.get(self.roles[other].kind, "") if other in self.roles else ""
                groups.setdefault(group, []).append(other)
        nuisances = []
        for group, members in groups.items():
            if not group:
                continue
            r = np.array([self.correlation(name, member) for member in members])
            among = np.array([[self.correlation(a, b) for b in members] for a in members])
            # R² of the parameter on the group: the share of its variance that goes when the group is known
            share = float(np.clip(r @ np.linalg.pinv(among, hermitian=True) @ r, 0.0, 1.0))
            if share > 1e-4:
                k = int(np.argmax(np.abs(r)))
                nuisances.append(Nuisance(group, self.u(name) * math.sqrt(share), (members[k], float(r[k]))))
        return tuple(sorted(nuisances, key=lambda item: -item.u))
