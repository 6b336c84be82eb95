"""Joint draws of all samples of a study: made after the last fit, stored in `results.nc`, read by whoever needs them.

Every interval, difference and probability of tin, Tc, Bc2, slope and resistivity is taken from these draws, with numpy
and nothing else: the median of a sample is the median of its draws, its 68 % interval two of their quantiles, and the
standard uncertainty of A less B the standard deviation of draws of A less draws of B.

Samples whose fit is not to be used, and patterns that stand under a second name, are estimated each by itself: they
must teach nothing about the others.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from xrdorder.estimates.from_material import on_scale, wire_of_values
from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.joint_draws import DRAWS, JointDraws, joint_draws
from xrdorder.estimates.wires import Measured, Wire
from xrdorder.exceptions import UnknownNameError
from xrdorder.material import PUBLISHED_SCALE, TinScale
from xrdorder.quantities.grades import UNFIT
from xrdorder.relations import Relation, bc2_of_temperature, relation
from xrdorder.relations.resistivity import FROM_ORDER
from xrdorder.results.columns import ESTIMATES, Column
from xrdorder.results.conventions import udunits, unit, units_beside
from xrdorder.results.fingerprint import code_hash
from xrdorder.superconductivity.targets import HELIUM_K, TARGETS as PREDICTED
from xrdorder.uncertainty import DEFAULT_LEVEL, Array, separate

SEED = 0
"""One for all studies: equal results give equal draws."""

STORED = ("tin_fraction", "S_a", "site_order", *PREDICTED)
"""Targets of the stored draws."""

_BITS = 15
"""Of the mantissa that are stored: 0.0004 at.% of tin, 0.0005 K of Tc, far below what 4000 draws resolve."""

_KINDS = {"binary": "binary", "Ta": "Ta", "Ti": "Ti", "doped": "Ti"}
"""Kinds of the model by those that relations are chosen for; any other wire is one that nothing was said of."""

_ANCHORS = {"Tc_K": ("tc_k", "Tc", "K"), "Bc2_T": ("bc2_t", "Bc2", "T"), "tin_at_percent": ("tin_at_percent", "tin", "at.%")}


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
    """

    samples: tuple[str, ...]
    values: Mapping[str, Array]
    law: Relation

    @classmethod
    def of(cls, results: xr.Dataset) -> StudyDraws:
        """Read them from collated results; empty where the study has none."""
        samples = tuple(map(str, results["sample"].values))
        law = relation(str(results.attrs.get("estimate_law", bc2_of_temperature.POWER.name)))
        if "estimate_draws" not in results:
            return cls(samples, {target: np.full((len(samples), 1), np.nan) for target in STORED}, law)
        draws = np.asarray(results["estimate_draws"].transpose("target", "sample", "draw").values, dtype=np.float64)
        return cls(samples, dict(zip(map(str, results["target"].values), draws, strict=True)), law)

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

    def field(self, temperature_k: float) -> Array:
        """Bc2 at a temperature, T, (samples, draws)."""
        return np.asarray(
            self.law.function(np.array(float(temperature_k)), self.values["Bc2_0K_T"], self.values["Tc_K"])
        )

    def known(self) -> np.ndarray:
        """Which samples have estimates, (samples,)."""
        return np.asarray(np.isfinite(self.values["Tc_K"][:, 0]))


def wires_of(results: xr.Dataset, scale: TinScale = PUBLISHED_SCALE) -> dict[str, Wire]:
    """Wires of the samples of collated results that have an A15, with what was measured on them, by name."""
    measured = _measured(results)
    numbers = {
        str(name): np.asarray(results[of].transpose("sample", what).values)[:, k]
        for what, of in (("quantity", "value"), ("plain_quantity", "plain_value"))
        for k, name in enumerate(results[what].values)
    }
    found = {}
    for k, (name, table) in enumerate(separate(results).items()):
        values = {quantity: float(column[k]) for quantity, column in numbers.items() if math.isfinite(column[k])}
        if not {"tin_fraction", "tin_lower_bound"} & values.keys():
            continue
        found[name] = wire_of_values(
            name,
            values,
            table,
            lot=str(results["lot"].values[k]),
            kind=_KINDS.get(str(results["wire"].values[k]), "any"),
            contrast_by_tin=values.get("order_contrast_by_tin", 0.0),
            scale=scale,
            treatment=str(results["treatment"].values[k]),
            **measured.get(name, {}),
        )
    return found


def _measured(results: xr.Dataset) -> dict[str, dict[str, Measured]]:
    """What anchors the estimates, by sample: the first value of each kind."""
    found: dict[str, dict[str, Measured]] = {}
    columns = ("sample", "quantity", "value", "criterion", "temperature_k")
    if "measured_sample" not in results:
        return found
    rows = zip(*(results[f"measured_{name}"].values for name in columns), results["u_measured_value"].values, strict=True)
    for sample, quantity, value, criterion, temperature, u in rows:
        if quantity in _ANCHORS:
            one = Measured(float(value), float(u), str(criterion), float(temperature))
            found.setdefault(str(sample), {}).setdefault(_ANCHORS[quantity][0], one)
    return found


def anchor_words(wires: Mapping[str, Wire]) -> dict[str, str]:
    """What the estimates of each wire are anchored to in its lot; empty where nothing was measured."""
    by_lot: dict[str, list[str]] = {}
    for wire in wires.values():
        for key, title, unit_ in _ANCHORS.values():
            one = getattr(wire, key)
            if one is not None:
                at = f" at {one.temperature_k:g} K" if key == "bc2_t" else ""
                by_lot.setdefault(wire.lot_key, []).append(
                    f"{title}{at} of {wire.name} ({one.value:g} ± {one.u:g} {unit_})"
                )
    return {name: ", ".join(by_lot.get(wire.lot_key, ())) for name, wire in wires.items()}


def estimated(
    results: xr.Dataset,
    scale: TinScale = PUBLISHED_SCALE,
    *,
    previous: xr.Dataset | None = None,
    seed: int = SEED,
    n: int = DRAWS,
) -> xr.Dataset:
    """Add joint draws to collated results, and the columns that are taken from them.

    Parameters
    ----------
    results : Dataset
        As `xrdorder.results.collate.collate` gives it.
    scale : TinScale
        Line from which tin was read.
    previous : Dataset, optional
        Results of an earlier run, whose draws are kept where nothing they depend on has changed.
    seed, n : int
        Seed and number of draws.
    """
    wires, hyper = wires_of(results, scale), on_scale(scale)
    alone = _not_to_learn_from(results)
    digest = _digest(wires, alone, hyper, seed, n)
    if previous is not None and previous.attrs.get("estimates_sha256") == digest:
        names = list(map(str, results["sample"].values))
        kept = [name for name in previous.variables if set(previous[name].dims) & {"draw", "estimate_flag"}]
        drawn = previous[[*kept]].reindex(sample=names)
        drawn.attrs = {key: value for key, value in previous.attrs.items() if str(key).startswith("estimate")}
    else:
        drawn = _drawn(results, wires, alone, hyper, seed, n)
        drawn.attrs["estimates_sha256"] = digest
    return with_draws(results, drawn, anchor_words(wires))
