"""What the free parameters of a stored fit cost each other: correlations, and what not knowing the others adds to u."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

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
        return float(self._u[self.names.index(name)])

    def correlation(self, first: str, second: str) -> float:
        """Coefficient between -1 and 1; NaN where one of the two is not uncertain."""
        return float(self._correlations[self.names.index(first), self.names.index(second)])

    @cached_property
    def _u(self) -> Array:
        return np.sqrt(np.maximum(np.diag(self.values), 0.0))

    @cached_property
    def _correlations(self) -> Array:
        product = np.outer(self._u, self._u)
        return np.divide(self.values, product, out=np.full_like(product, np.nan), where=product > 0.0)

    @cached_property
    def _known(self) -> dict[str, tuple[Nuisance, ...]]:
        """What was asked before: one parameter stands behind many quantities."""
        return {}

    @cached_property
    def _groups(self) -> dict[str, list[int]]:
        """Places of the uncertain parameters of each group."""
        groups: dict[str, list[int]] = {}
        for k, name in enumerate(self.names):
            if self._u[k] > 0.0 and name in self.roles and (group := _GROUP_OF.get(self.roles[name].kind)):
                groups.setdefault(group, []).append(k)
        return groups

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
        if name in self._known:
            return self._known[name]
        at, nuisances = self.names.index(name), []
        for group, places in self._groups.items():
            members = [k for k in places if k != at]
            r = self._correlations[at, members]
            # R² of the parameter on the group: the share of its variance that goes when the group is known
            among = np.linalg.pinv(self._correlations[np.ix_(members, members)], hermitian=True)
            share = float(np.clip(r @ among @ r, 0.0, 1.0)) if members and self._u[at] > 0.0 else 0.0
            if share > 1e-4:
                k = int(np.argmax(np.abs(r)))
                strongest = self.names[members[k]], float(r[k])
                nuisances.append(Nuisance(group, self.u(name) * math.sqrt(share), strongest))
        return self._known.setdefault(name, tuple(sorted(nuisances, key=lambda item: -item.u)))
