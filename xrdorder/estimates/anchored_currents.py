"""Critical currents of all wires of a lot, in ampere, from those that were measured on some.

What a layer carries is known to a factor only, as wires differ in area, cracks and broken filaments; most of it is
common to a lot. Each measured current gives the factor between it and what grain size, Tc and Bc2 let the layer of
that wire carry at its field and temperature; the factor of the lot is their mean by weight, and its doubt, that of the
measurements and of how far wires of a lot differ, is in every current predicted. A current says next to nothing of
Tc and Bc2 beside that factor, so it changes neither. Measured currents stand beside those predicted, never replaced.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from xrdorder.estimates.conductors import measured_mean
from xrdorder.estimates.hyperparameters import PUBLISHED
from xrdorder.estimates.remarks import BEYOND_CHANCE
from xrdorder.exceptions import ValidityError
from xrdorder.quantities.formatting import as_given
from xrdorder.superconductivity.currents import (
    SURE,
    Conditions,
    Conductor,
    LayerState,
    positive_fields,
    require_drawn_alike,
)
from xrdorder.superconductivity.mixture import Band
from xrdorder.superconductivity.pinning import comparable_forces, peak_pinning_force
from xrdorder.uncertainty import Array

if TYPE_CHECKING:
    import xarray as xr

SECTION = "non_copper_area_mm2"


class MeasuredCurrent(NamedTuple):
    """A critical current that was measured: sample, A, its standard uncertainty, K, T."""

    sample: str
    value: float
    u: float
    temperature_k: float
    field_t: float

    @property
    def words(self) -> str:
        """All of it, as it is named on screens."""
        current = as_given(self.value, self.u)
        return f"{current} A measured on {self.sample} at {self.temperature_k:g} K, {self.field_t:g} T"


@dataclass(frozen=True)
class LotCurrents:
    """Critical currents of the wires of a lot.

    Attributes
    ----------
    lot : str
    anchors : tuple of MeasuredCurrent
        To which they are anchored.
    field_t : array, (k,)
    current : dict of sample to Band of arrays, (k,)
        A; zero where the layer is normal.
    non_copper : dict of sample to Band of arrays, (k,)
        A/mm² over the section without copper; empty where no section of the lot was measured.
    remarks : tuple of str
        What the reader must know.
    """

    lot: str
    anchors: tuple[MeasuredCurrent, ...]
    field_t: Array
    current: Mapping[str, Band]
    non_copper: Mapping[str, Band]
    remarks: tuple[str, ...]

    @property
    def words(self) -> str:
        """To what the currents are anchored."""
        whose = f"of lot {self.lot} " if self.lot else ""
        return f"Critical currents {whose}anchored to {'; '.join(anchor.words for anchor in self.anchors)}"


def anchored_currents(
    samples: Sequence[Conductor], results: xr.Dataset, fields_t: Sequence[float], conditions: Conditions
) -> tuple[LotCurrents, ...]:
    """Predict critical currents of the wires of every lot of which one was measured.

    Parameters
    ----------
    samples : sequence of Conductor
        With sizes of one kind (`xrdorder.estimates.conductors.with_like_sizes`).
    results : Dataset
        Collated results of their study.
    fields_t : sequence of float, (k,)
    conditions : Conditions
        Temperature and strain of the currents that are wanted; measured ones were taken under the same strain.

    Raises
    ------
    ValidityError
        A field is not positive.
    """
    fields = positive_fields(fields_t)
    by_lot: dict[str, list[Conductor]] = {}
    for sample in samples:
        by_lot.setdefault(sample.lot or f"\x00{sample.name}", []).append(sample)
    currents = []
    for members in by_lot.values():
        names = [member.name for member in members]
        if anchors := [current for current in measured_currents(results) if current.sample in names]:
            currents.append(_of_lot(members, anchors, results, fields, conditions))
    return tuple(lot_currents for lot_currents in currents if lot_currents is not None)


def measured_currents(results: xr.Dataset) -> list[MeasuredCurrent]:
    """Critical currents measured on samples of a study."""
    if "measured_sample" not in results:
        return []
    mine = results["measured_quantity"].values == "critical_current_a"
    if not mine.any():
        return []
    columns = ("measured_value", "u_measured_value", "measured_temperature_k", "measured_field_t")
    names = results["measured_sample"].values[mine]
    numbers = np.array([results[name].values[mine] for name in columns], dtype=float).T
    return [MeasuredCurrent(str(name), *map(float, row)) for name, row in zip(names, numbers, strict=True)]


def _of_lot(
    members: Sequence[Conductor],
    anchors: Sequence[MeasuredCurrent],
    results: xr.Dataset,
    fields: Array,
    conditions: Conditions,
) -> LotCurrents | None:
    require_drawn_alike(members)
    common = members[0].common
    peaks = [peak_pinning_force(member.grain.draws, common=member.common) for member in members]
    try:
        forces = dict(zip((member.name for member in members), comparable_forces(*peaks, common=common), strict=True))
    except ValidityError:
        return None
    with_areas = all(member.a15_area is not None for member in members)
    of = {member.name: member for member in members}

    def relative(name: str, at: Conditions, field_t: float) -> Array:
        current = LayerState(of[name], at, forces[name]).current(field_t)
        area = of[name].a15_area
        return current * area if with_areas and area is not None else current

    scatter, usable, factors, weights, remarks = PUBLISHED["current_scatter"], [], [], [], []
    for anchor in anchors:
        carried = relative(anchor.sample, replace(conditions, temperature_k=anchor.temperature_k), anchor.field_t)
        if np.mean(carried > 0.0) < SURE:
            remarks.append(f"{anchor.words} anchors nothing: by the estimates the layer may be normal there")
            continue
        usable.append(anchor)
        with np.errstate(divide="ignore"):
            factors.append(np.where(carried > 0.0, math.log(anchor.value) - np.log(carried), np.nan))
        # several on one wire share what that wire differs by
        same = sum(other.sample == anchor.sample for other in anchors)
        weights.append(1.0 / (same * scatter**2 + (anchor.u / anchor.value) ** 2))
    if not usable:
        return None
    remarks += _contradictions(usable, factors, weights)
    if not with_areas and len(members) > 1:
        remarks.append("A15 areas are taken as equal, as not every wire has one")
    lot_factor = np.average(factors, axis=0, weights=weights)
    lot_factor = lot_factor + common.of_lot("factor of critical currents") / math.sqrt(sum(weights))
    currents = {}
    for member in members:
        own = np.exp(lot_factor + scatter * member.common.own("factor of critical currents"))
        draws = [own * relative(member.name, conditions, field) for field in fields]
        currents[member.name] = Band(*np.array([Band.of(column) for column in draws]).T)
    return LotCurrents(
        members[0].lot, tuple(usable), fields, currents, _over_section(currents, results), tuple(remarks)
    )


def _contradictions(
    anchors: Sequence[MeasuredCurrent], factors: Sequence[Array], weights: Sequence[float]
) -> list[str]:
    """Name the two currents that are farthest from what one factor makes of both, where that is beyond chance."""
    middle = [float(np.nanmean(factor)) for factor in factors]
    low, high = int(np.argmin(middle)), int(np.argmax(middle))
    away = factors[high] - factors[low]
    apart = float(np.nanmean(away)) / math.hypot(float(np.nanstd(away)), *(weights[k] ** -0.5 for k in (low, high)))
    if low == high or apart <= BEYOND_CHANCE:
        return []
    return [
        f"{anchors[high].words} and {anchors[low].words} contradict each other: by one factor for the lot they are "
        f"{math.exp(middle[high] - middle[low]):.2g} times apart, {apart:.1f} standard uncertainties; both are kept"
    ]


def _over_section(currents: Mapping[str, Band], results: xr.Dataset) -> dict[str, Band]:
    """Currents over the section without copper; where it was measured on some wires of the lot, theirs for all."""
    known = {name: area for name in currents if (area := measured_mean(results, name, SECTION)) is not None}
    if not known:
        return {}
    usual = float(np.mean([value for value, _ in known.values()]))
    return {
        name: Band(*(part / known.get(name, (usual, 0.0))[0] for part in band)) for name, band in currents.items()
    }
