"""Joint draws of a study as they are stored in its results: what every other room reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.crystals.a15 import order_parameters, site_order_from
from xrdorder.estimates.model import JointDraws
from xrdorder.exceptions import UnknownNameError
from xrdorder.quantities.registry import ESTIMATED, Part
from xrdorder.relations import Relation, bc2_of_temperature, relation
from xrdorder.relations.resistivity import FROM_ORDER
from xrdorder.superconductivity.targets import HELIUM_K
from xrdorder.uncertainty import DEFAULT_LEVEL, Array

if TYPE_CHECKING:
    import xarray as xr

_NAME, BY_X_RAYS = "estimate_draws", "estimate_draws_by_x_rays"
"""Variables of the results: joint draws, and those without what was measured by other means where anything was."""


_BITS = 15
"""Of the mantissa that are stored: 0.0004 at.% of tin, 0.0005 K of Tc, far below what 4000 draws resolve."""


class _Targets(Mapping[str, Array]):
    """Stored draws by target; each becomes double when it is asked for, as those of hundreds of samples take long."""

    def __init__(self, results: xr.Dataset, name: str) -> None:
        draws = results[name].transpose("target", "sample", ...).values
        self._stored = dict(zip(map(str, results["target"].values), draws, strict=True))

    def __getitem__(self, target: str) -> Array:
        self._stored[target] = draws = np.asarray(self._stored[target], dtype=np.float64)
        return draws

    def __iter__(self) -> Iterator[str]:
        return iter(self._stored)

    def __len__(self) -> int:
        return len(self._stored)


@dataclass(frozen=True)
class StudyDraws:
    """Stored draws of a study.

    Attributes
    ----------
    samples : tuple of str
        In the order of the results; those without an estimate have NaN throughout.
    values : dict of target to array, (samples, draws)
    law : Relation
        Temperature law of Bc2.
    seed : int
        Whatever is drawn to go with them is drawn with it too.
    """

    samples: tuple[str, ...]
    values: Mapping[str, Array]
    law: Relation
    seed: int = 0

    @classmethod
    def of(cls, results: xr.Dataset) -> StudyDraws:
        """Read them from collated results; empty where the study has none."""
        samples = tuple(map(str, results["sample"].values))
        law = relation(str(results.attrs.get("estimate_law", bc2_of_temperature.POWER.name)))
        if _NAME not in results:
            return cls(samples, {target: np.full((len(samples), 2), np.nan) for target in ESTIMATED}, law)
        return cls(samples, _Targets(results, _NAME), law, int(results.attrs.get("estimate_seed", 0)))

    @classmethod
    def by_x_rays(cls, results: xr.Dataset) -> StudyDraws:
        """Read what there would be if nothing had been measured by other means: to hold measured values against."""
        draws = cls.of(results)
        return replace(draws, values=_Targets(results, BY_X_RAYS)) if BY_X_RAYS in results else draws

    def of_target(self, target: str) -> Array:
        """Draws of a target, (samples, draws).

        Raises
        ------
        UnknownNameError
            There are none of such a name.
        """
        if target not in self.values:
            raise UnknownNameError(f"no draws of '{target}'; there are those of {', '.join(self.values)}")
        return self.values[target]

    def of_lot(self, results: xr.Dataset, sample: str, lot: str, name: str, otherwise: float) -> Array:
        """Draws of what a lot shares, (draws,); one number throughout for a sample that was estimated by itself."""
        if "shared_draws" in results:
            mine = (results["shared_name"].values == name) & (results["shared_lot"].values == (lot or sample))
            if mine.any():
                return np.asarray(results["shared_draws"].values[mine][0], dtype=np.float64)
        return np.full(self.values["Tc_K"].shape[1], otherwise)

    def field(self, temperature_k: float) -> Array:
        """Bc2 at a temperature, T, (samples, draws)."""
        return np.asarray(
            self.law.function(np.array(float(temperature_k)), self.values["Bc2_0K_T"], self.values["Tc_K"])
        )

    def tin_order(self) -> Array:
        """Site order of tin alone, 4 beta S_a, (samples, draws)."""
        return site_order_from(self.values["S_a"], self.values["tin_fraction"])

    def known(self) -> np.ndarray:
        """Which samples have estimates, (samples,)."""
        return np.asarray(np.isfinite(self.values["Tc_K"][:, 0]))


def stored_targets(drawn: JointDraws) -> Array:
    """Draws of the stored targets, (samples, targets, draws), as they are stored."""
    derived = {
        "Bc2_4K2_T": drawn.field(HELIUM_K),
        "Bc2_slope_T_per_K": drawn.slope(),
        "resistivity_uohm_cm": drawn.resistivity(FROM_ORDER),
        "S_b": order_parameters(drawn.values["tin_fraction"], drawn.values["site_order"])[1],
    }
    return rounded_for_store(np.stack([{**drawn.values, **derived}[target] for target in ESTIMATED], axis=1))


def rounded_for_store(draws: Array) -> Array:
    """Draws with the bits that are stored."""
    mantissa, exponent = np.frexp(draws)
    scale = 2.0**_BITS
    return np.asarray(np.ldexp(np.round(mantissa * scale) / scale, exponent), dtype=np.float32)


def column_of(draws: Array, kind: Part) -> Array:
    """Part of a column that draws give: their median, an end of their 68 % interval, or a standard uncertainty.

    Parameters
    ----------
    draws : array, (samples, draws)
    kind : str
        As of `Column`.

    Returns
    -------
    array, (samples,)
        NaN for samples without draws.
    """
    known = np.isfinite(draws).any(axis=1)
    column = np.full(len(draws), np.nan)
    if kind == "independent":
        column[known] = left_of_each(draws[known])
    elif kind == "total":
        column[known] = np.nanstd(draws[known], axis=1, ddof=1)
    else:
        half = DEFAULT_LEVEL / 2.0
        level = {"low": 0.5 - half, "high": 0.5 + half}.get(kind, 0.5)
        column[known] = np.nanquantile(draws[known], level, axis=1)
    return column


def left_of_each(draws: Array) -> Array:
    """Standard deviation that would be left of each row if all others were known, (rows,).

    The root of one over the diagonal of the inverse covariance, allowing for as many regressors as there are other
    rows; all of it for one row.

    >>> z = np.random.default_rng(0).standard_normal((3, 4000))
    >>> [round(float(u), 1) for u in left_of_each(z[:2] + 5.0 * z[2])]
    [1.4, 1.4]
    """
    rows, n = draws.shape
    if not rows:
        return np.zeros(0)
    covariance = np.cov(draws).reshape(rows, rows)
    covariance = covariance + 1e-12 * np.trace(covariance) / rows * np.eye(rows)
    left = np.sqrt(n / max(n - rows + 1.0, 1.0) / np.diag(np.linalg.inv(covariance)))
    # where others hardly tell anything, what they cost in degrees of freedom must not make more of it than there is
    return np.asarray(np.minimum(left, np.sqrt(np.diag(covariance))))
