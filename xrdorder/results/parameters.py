"""Parameters of a stored fit: value, whose each is, what it stands for, and which were free."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from xrdorder.forward_model.roles import Kind, Role, role_of
from xrdorder.results.sample_file import StoredSample

if TYPE_CHECKING:
    from xrdorder.fitting import PatternFit


@dataclass(frozen=True)
class StoredParameters:
    """Parameters of a stored fit; empty where the sample holds none.

    Attributes
    ----------
    values : mapping of str to float
        All parameters by name.
    roles : mapping of str to Role
        Whose each is and what it stands for.
    free : set of str
        Those that were decided by the pattern.
    """

    values: Mapping[str, float] = field(default_factory=dict)
    roles: Mapping[str, Role] = field(default_factory=dict)
    free: frozenset[str] = frozenset()

    @classmethod
    def of(cls, sample: StoredSample) -> StoredParameters:
        """Read them."""
        table = sample.groups.get("parameters")
        if table is None or "parameter" not in table.coords:
            return cls()
        names = [str(name) for name in table["parameter"].values]
        roles: dict[str, Role] = {}
        if "kind" in table:
            pairs = zip(names, table["owner"].values, table["kind"].values, strict=True)
            roles = {name: Role(str(owner), Kind(str(kind))) for name, owner, kind in pairs}
        free = {str(name) for name in table["free"].values} if "free" in table.coords else set()
        if "vary" in table:
            free |= {name for name, so in zip(names, table["vary"].values, strict=True) if so}
        return cls(dict(zip(names, map(float, table["value"].values), strict=True)), roles, frozenset(free))

    @property
    def a15(self) -> str:
        """Name of the phase whose order was asked for; empty where there was none."""
        return next((role.owner for role in self.roles.values() if role.kind is Kind.CONTRAST), "")

    def decided(self, *kinds: Kind, owner: str) -> list[str]:
        """Free parameters of these kinds that belong to a phase (empty: that all share)."""
        return [n for n, role in self.roles.items() if n in self.free and role.kind in kinds and role.owner == owner]


def parameter_group(fit: PatternFit) -> xr.Dataset:
    """Parameters of a fit as they are stored."""
    names, parameters = list(fit.parameters), list(fit.parameters.values())
    roles = [role_of(fit.parameters, name) for name in names]
    free = np.array(fit.free_names, dtype=object)
    texts = {
        "owner": ([role.owner for role in roles], "phase that the parameter belongs to; empty: all share it"),
        "kind": ([role.kind.value for role in roles], "what the parameter stands for"),
    }
    stderr = [np.nan if parameter.stderr is None else float(parameter.stderr) for parameter in parameters]
    return xr.Dataset(
        {
            "value": ("parameter", [float(parameter.value) for parameter in parameters]),
            "stderr": ("parameter", stderr),
            "vary": ("parameter", np.array([int(bool(parameter.vary)) for parameter in parameters], np.int8)),
            "min": ("parameter", [float(parameter.min) for parameter in parameters]),
            "max": ("parameter", [float(parameter.max) for parameter in parameters]),
            **{
                name: ("parameter", np.array(words, dtype=object), {"long_name": meaning})
                for name, (words, meaning) in texts.items()
            },
            "covariance": (("free", "free_too"), fit.covariance, {"long_name": "covariance of what was free"}),
        },
        coords={"parameter": np.array(names, dtype=object), "free": free, "free_too": free},
    )
