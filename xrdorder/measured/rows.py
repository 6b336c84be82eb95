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
from collections.abc import Iterator, Sequence
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
        """MeasuredValue less estimate."""
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


_NOT_ESTIMATED = {
    "rrr_copper": "it tells tin that reached the copper, which no pattern shows",
    "resistivity_ratio_a15": "no relation was read that takes it",
    "a15_area_fraction": "it turns layer currents into those of the section",
    "non_copper_area_mm2": "it turns layer currents into those of the section",
}


def _of_sample(sample: Subject, draws: StudyDraws) -> Iterator[Row]:
    for value in sample.measured:
        row = Row(sample.name, sample.lot, value)
        if value.quantity in _NOT_ESTIMATED:
            yield replace(row, note=f"not estimated: {_NOT_ESTIMATED[value.quantity]}", comparable=False)
        elif value.quantity == "grain_size_nm":
            yield _grain(row, sample)
        elif value.quantity != "critical_current_a":
            yield _estimated(row, sample, draws)


def _above_bc2(sample: Subject, value: MeasuredValue) -> str:
    """Say of an irreversibility field that it exceeds the Bc2 measured at the same temperature, if it does."""
    same = [m.value for m in sample.measured if m.quantity == "Bc2_T" and m.temperature_k == value.temperature_k]
    if not same or value.value <= max(same):
        return ""
    return f"; measured above the Bc2 of {max(same):g} T of {sample.name}, within their uncertainties"


def _estimated(row: Row, sample: Subject, draws: StudyDraws) -> Row:
    """Estimate of the same quantity from X-rays alone: anchored to what was measured it would say nothing of it."""
    quantity, note = row.measured.quantity, ""
    if quantity == "irreversibility_field_T":
        note = "the estimate is that of Bc2, below which the irreversibility field lies" + _above_bc2(
            sample, row.measured
        )
    if sample.name not in draws.samples or not draws.known()[draws.samples.index(sample.name)]:
        return replace(row, note="the pattern gives no estimate", comparable=not note)
    k = draws.samples.index(sample.name)
    if quantity == "tin_at_percent":
        mine = 100.0 * draws.values["tin_fraction"][k]
    elif quantity in draws.values:
        mine = draws.values[quantity][k]
    else:
        mine = draws.field(float(row.measured.temperature_k or 0.0))[k]
    middle, low, high = (float(end) for end in Band.of(mine))
    return replace(row, by="X-rays alone", value=middle, low=low, high=high, note=note, comparable=not note)


def _grain(row: Row, sample: Subject) -> Row:
    value, measured = sample.values.get("domain_size_nm", math.nan), row.measured
    if not math.isfinite(value):
        return replace(row, note="the pattern gives no domain size", comparable=False)
    u = sample.contributions.total("domain_size_nm") if "domain_size_nm" in sample.contributions.quantities else 0.0
    note = "domain size, which is no larger than the grains; the measured size is used for pinning"
    if value - measured.value > 2.0 * math.hypot(u, measured.u):
        note = "the domain size is larger than the grains, which cannot be: one of the two is wrong"
    return replace(row, by="domain size", value=value, low=value - u, high=value + u, note=note, comparable=False)


def _currents(samples: Sequence[Subject], results: xr.Dataset, library: Library) -> Iterator[Row]:
    """Ratios of critical currents to the first of a lot under the same conditions."""
    groups: dict[tuple[str, float, float], list[tuple[Subject, MeasuredValue]]] = {}
    for sample in samples:
        for value in sample.measured:
            if value.quantity == "critical_current_a":
                key = (sample.lot, float(value.temperature_k or 0.0), float(value.field_t or 0.0))
                groups.setdefault(key, []).append((sample, value))
    draws = StudyDraws.of(results)
    for (lot, _, _), ((reference, base), *rest) in groups.items():
        what = "the first of its lot under these conditions: the others are compared with it"
        yield Row(reference.name, lot, base, note=what if rest else "nothing to compare with", comparable=False)
        for sample, value in rest:
            yield _current(Row(sample.name, lot, value), sample, reference, base, draws, library)


def _current(
    row: Row, sample: Subject, reference: Subject, base: MeasuredValue, draws: StudyDraws, library: Library
) -> Row:
    """Current that the reference's measured one and the ratio of the estimates lead to."""
    from xrdorder.superconductivity.currents import Conditions, relative_current

    try:
        # one kind of size for both: what a domain is to a grain then cancels
        seen = all(member.first("grain_size_nm") is not None for member in (sample, reference))
        pair = [_conductor(member, draws, library, by_microscopy=seen) for member in (sample, reference)]
        conditions = Conditions(float(base.temperature_k or 0.0))
        ratio = relative_current(pair[0], pair[1], [float(base.field_t or 0.0)], conditions).ratio
    except ValidityError as error:
        return replace(row, note=f"no ratio: {error}", comparable=False)
    median, low, high = (float(end[0]) for end in ratio)
    if not math.isfinite(median):
        note = f"no ratio: by the estimates {reference.name} may be normal under these conditions"
        return replace(row, note=note, comparable=False)
    share, u_share, known = _area_ratio(sample, reference)
    median, low, high = (share * base.value * number for number in (median, low, high))
    more = median * math.hypot(base.u / base.value, u_share)
    low, high = median - math.hypot(median - low, more), median + math.hypot(high - median, more)
    note = f"as {reference.name} carries {base.value:g} A, by the ratio of the layers"
    note += " and of the A15 areas" if known else "; A15 areas taken as equal"
    return replace(row, by=f"ratio to {reference.name}", value=median, low=low, high=high, note=note)


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
