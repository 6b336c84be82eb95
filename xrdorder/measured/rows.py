"""Predicted against measured: every value of the laboratory beside what the pattern says of the same thing.

Each row holds the measured value, the estimate from X-rays alone with its 68 % interval, and the difference with its
total standard uncertainty: that of the measurement and the half of the interval on the side of the measured value, in
quadrature. Estimates of samples of one study share most of their doubt; that many differences have one sign is
therefore weaker evidence than it looks, and `xrdorder.measured.agreement` weighs it.

What no relation predicts (the ratio of the copper, the share of A15 in the section) is listed without an estimate.
Critical currents are compared as ratios to the first sample of the lot that was measured under the same conditions:
what all have in common cancels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.description.measured_values import MeasuredValue
from xrdorder.estimates.stored_draws import StudyDraws, left_of_each
from xrdorder.exceptions import ValidityError
from xrdorder.measured.agreement import Subject
from xrdorder.relations import Library
from xrdorder.results.open_study import OpenStudy
from xrdorder.superconductivity.mixture import Band, Common
from xrdorder.superconductivity.targets import wire_of
from xrdorder.uncertainty import from_dataset

if TYPE_CHECKING:
    import xarray as xr

    from xrdorder.superconductivity.currents import Conductor

@dataclass(frozen=True)
class Row:
    """One measured value and what the pattern says of it.

    Attributes
    ----------
    sample, lot : str
    measured : MeasuredValue
    by : str
        How the estimate came about; empty where there is none.
    value, low, high : float
        Estimate and its 68 % interval, in the unit of the measured value; NaN where there is none.
    note : str
        Why there is no estimate, or how to read the row.
    comparable : bool
        Whether the two are the same thing, so that their difference means disagreement.
    """

    sample: str
    lot: str
    measured: MeasuredValue
    by: str = ""
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    note: str = ""
    comparable: bool = True

    @property
    def difference(self) -> float:
        """Measured less estimate."""
        return self.measured.value - self.value

    @property
    def u(self) -> float:
        """Total standard uncertainty of the difference."""
        side = self.high - self.value if self.difference > 0.0 else self.value - self.low
        return math.hypot(self.measured.u, side)


def subjects(opened: OpenStudy) -> list[Subject]:
    """Samples of a study that has been run, in its order, with what was measured on them."""
    results = opened.results
    stored = StudyDraws.by_x_rays(results)
    draws = {"tin_fraction": stored.values["tin_fraction"], "site_order": stored.tin_order(),
             "Tc_K": stored.values["Tc_K"]}  # fmt: skip
    estimated = stored.known()
    own = {name: np.ones(len(estimated)) for name in draws}
    for name, rows_of in draws.items():
        variance = np.var(rows_of[estimated], axis=1)
        own[name][estimated] = left_of_each(rows_of[estimated]) ** 2 / np.where(variance > 0.0, variance, 1.0)
    members = []
    for sample in opened.study.samples:
        wire = wire_of(sample.lot.dopants, undoped=sample.lot.undoped)
        subject = Subject(sample.name, sample.lot.name, measured=sample.measured, wire=wire, design=sample.lot.design)
        if sample.name in stored.samples:
            k = stored.samples.index(sample.name)
            row = results.isel(sample=k)
            values: dict[str, float] = {}
            for numbers, labels in (("value", "quantity"), ("plain_value", "plain_quantity")):
                values |= dict(zip(row[labels].values.astype(str), row[numbers].values.tolist(), strict=True))
            subject = replace(subject, values=values, contributions=from_dataset(row))
            if estimated[k]:
                subject = replace(
                    subject,
                    draws={name: of[k] for name, of in draws.items()},
                    own={name: float(of[k]) for name, of in own.items()},
                )
        members.append(subject)
    return members


def rows(samples: Sequence[Subject], results: xr.Dataset, library: Library) -> list[Row]:
    """Put every measured value beside its estimate.

    Parameters
    ----------
    samples : sequence of Subject
    results : Dataset
        Collated results of the study, with its draws.
    library : Library
        Relations of pinning and strain.

    Returns
    -------
    list of Row
        By quantity, then by sample.
    """
    draws = StudyDraws.by_x_rays(results)
    compared = [row for sample in samples for row in _of_sample(sample, draws)]
    compared += _currents(samples, results, library)
    order = list(dict.fromkeys(value.quantity for sample in samples for value in sample.measured))
    return sorted(compared, key=lambda row: order.index(row.measured.quantity))


def _of_sample(sample: Subject, draws: StudyDraws) -> list[Row]:
    rows_of_sample = []
    for value in sample.measured:
        row = Row(sample.name, sample.lot, value)
        if value.quantity == "grain_size_nm":
            rows_of_sample.append(_grain(sample, value))
        elif value.quantity in ("tin_at_percent", "resistivity_uohm_cm", "Tc_K", "Bc2_T", "irreversibility_field_T"):
            rows_of_sample.append(_estimated(sample, value, draws))
        elif value.quantity == "rrr_copper":
            rows_of_sample.append(
                _noted(row, "not estimated: it tells tin that reached the copper, which no pattern shows")
            )
        elif value.quantity == "resistivity_ratio_a15":
            rows_of_sample.append(_noted(row, "not estimated: no relation was read that takes it"))
        elif value.quantity in ("a15_area_fraction", "non_copper_area_mm2"):
            rows_of_sample.append(_noted(row, "not estimated: it turns layer currents into those of the section"))
    return rows_of_sample


def _above_bc2(sample: Subject, value: MeasuredValue) -> str:
    """Say of an irreversibility field that it exceeds the Bc2 measured at the same temperature, if it does."""
    same = [m.value for m in sample.measured if m.quantity == "Bc2_T" and m.temperature_k == value.temperature_k]
    if not same or value.value <= max(same):
        return ""
    return f"; measured above the Bc2 of {max(same):g} T of {sample.name}, within their uncertainties"


def _noted(row: Row, note: str) -> Row:
    return Row(row.sample, row.lot, row.measured, note=note, comparable=False)


def _estimated(sample: Subject, value: MeasuredValue, draws: StudyDraws) -> Row:
    """Estimate of the same quantity from X-rays alone: anchored to what was measured it would say nothing of it."""
    comparable = value.quantity != "irreversibility_field_T"
    note = "" if comparable else "the estimate is that of Bc2, below which the irreversibility field lies"
    note += "" if comparable else _above_bc2(sample, value)
    if sample.name not in draws.samples or not draws.known()[draws.samples.index(sample.name)]:
        return Row(sample.name, sample.lot, value, note="the pattern gives no estimate", comparable=comparable)
    k = draws.samples.index(sample.name)
    if value.quantity == "tin_at_percent":
        mine = 100.0 * draws.values["tin_fraction"][k]
    elif value.quantity in draws.values:
        mine = draws.values[value.quantity][k]
    else:
        mine = draws.field(float(value.temperature_k or 0.0))[k]
    middle, low, high = (float(end) for end in Band.of(mine))
    return Row(sample.name, sample.lot, value, "X-rays alone", middle, low, high, note, comparable)


def _grain(sample: Subject, measured: MeasuredValue) -> Row:
    value = sample.values.get("domain_size_nm", math.nan)
    if not math.isfinite(value):
        return Row(sample.name, sample.lot, measured, note="the pattern gives no domain size", comparable=False)
    u = sample.contributions.total("domain_size_nm") if "domain_size_nm" in sample.contributions.quantities else 0.0
    note = "domain size, which is no larger than the grains; the measured size is used for pinning"
    if value - measured.value > 2.0 * math.hypot(u, measured.u):
        note = "the domain size is larger than the grains, which cannot be: one of the two is wrong"
    return Row(sample.name, sample.lot, measured, "domain size", value, value - u, value + u, note, comparable=False)


def _currents(samples: Sequence[Subject], results: xr.Dataset, library: Library) -> list[Row]:
    """Ratios of critical currents to the first of a lot under the same conditions."""
    rows_of_currents = []
    groups: dict[tuple[str, float, float], list[tuple[Subject, MeasuredValue]]] = {}
    for sample in samples:
        for value in sample.measured:
            if value.quantity == "critical_current_a":
                key = (sample.lot, float(value.temperature_k or 0.0), float(value.field_t or 0.0))
                groups.setdefault(key, []).append((sample, value))
    for (lot, temperature, field), members in groups.items():
        (reference, base), rest = members[0], members[1:]
        what = "the first of its lot under these conditions: the others are compared with it"
        rows_of_currents.append(
            Row(reference.name, lot, base, note=what if rest else "nothing to compare with", comparable=False)
        )
        for sample, value in rest:
            rows_of_currents.append(_current(sample, value, reference, base, temperature, field, results, library))
    return rows_of_currents


def _current(
    sample: Subject, value: MeasuredValue, reference: Subject, base: MeasuredValue,
    temperature: float, field: float, results: xr.Dataset, library: Library,
) -> Row:  # fmt: skip
    """Current that the reference's measured one and the ratio of the estimates lead to."""
    from xrdorder.superconductivity.currents import Conditions, relative_current

    try:
        # one kind of size for both: what a domain is to a grain then cancels
        seen = all(member.first("grain_size_nm") is not None for member in (sample, reference))
        draws = StudyDraws.of(results)
        pair = [_conductor(member, draws, library, by_microscopy=seen) for member in (sample, reference)]
        ratio = relative_current(pair[0], pair[1], [field], Conditions(temperature)).ratio
    except ValidityError as error:
        return Row(sample.name, sample.lot, value, note=f"no ratio: {error}", comparable=False)
    median, low, high = (float(np.asarray(getattr(ratio, name))[0]) for name in ("median", "low", "high"))
    if not math.isfinite(median):
        note = f"no ratio: by the estimates {reference.name} may be normal under these conditions"
        return Row(sample.name, sample.lot, value, note=note, comparable=False)
    share, u_share, known = _area_ratio(sample, reference)
    median, low, high = (share * base.value * number for number in (median, low, high))
    more = median * math.hypot(base.u / base.value, u_share)
    low, high = median - math.hypot(median - low, more), median + math.hypot(high - median, more)
    note = f"as {reference.name} carries {base.value:g} A, by the ratio of the layers"
    note += " and of the A15 areas" if known else "; A15 areas taken as equal"
    return Row(sample.name, sample.lot, value, f"ratio to {reference.name}", median, low, high, note)


def _area_ratio(sample: Subject, reference: Subject) -> tuple[float, float, bool]:
    """Ratio of the A15 areas and its relative standard uncertainty; one where either is not known."""
    area, other = sample.first("a15_area_fraction"), reference.first("a15_area_fraction")
    if area is None or other is None:
        return 1.0, 0.0, False
    return area.value / other.value, math.hypot(area.u / area.value, other.u / other.value), True


def _conductor(sample: Subject, draws: StudyDraws, library: Library, *, by_microscopy: bool) -> Conductor:
    from xrdorder.estimates.conductors import conductor

    grain, k = sample.first("grain_size_nm") if by_microscopy else None, draws.samples.index(sample.name)
    tc, bc2_0 = draws.values["Tc_K"][k], draws.values["Bc2_0K_T"][k]
    return conductor(
        sample.name, tc, bc2_0, (sample.values, sample.contributions),
        grain_nm=None if grain is None else (grain.value, grain.u), law=draws.law,
        common=Common(len(tc), draws.seed, sample.name, sample.lot, library, sample.wire, sample.design),
    )  # fmt: skip
