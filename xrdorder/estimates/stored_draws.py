"""Joint draws of a study as they are stored in its results: what every other room reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from xrdorder.crystals.a15 import site_order_from
from xrdorder.exceptions import UnknownNameError
from xrdorder.quantities.registry import ESTIMATED
from xrdorder.relations import Relation, bc2_of_temperature, relation
from xrdorder.uncertainty import Array

_NAME, BY_X_RAYS = "estimate_draws", "estimate_draws_by_x_rays"
"""Variables of the results: joint draws, and those without what was measured by other means where anything was."""


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
        draws = np.asarray(results[_NAME].transpose("target", "sample", ...).values, dtype=np.float64)
        seed = int(results.attrs.get("estimate_seed", 0))
        return cls(samples, dict(zip(map(str, results["target"].values), draws, strict=True)), law, seed)

    @classmethod
    def by_x_rays(cls, results: xr.Dataset) -> StudyDraws:
        """Read what there would be if nothing had been measured by other means: to hold measured values against."""
        draws = cls.of(results)
        if BY_X_RAYS not in results:
            return draws
        bare = np.asarray(results[BY_X_RAYS].transpose("target", "sample", ...).values, dtype=np.float64)
        return replace(draws, values=dict(zip(map(str, results["target"].values), bare, strict=True)))

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
