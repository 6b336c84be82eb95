"""What a study knows of the wires of a lot, as the process sees it: patterns, and what the laboratory measured.

Each value has, beside its own uncertainty, the gap between what is read and what the process calls by that name: a
domain is no grain, the lattice knows tin by a scale of its own. What all wires of the lot share (a scale, a level) is
free in the process.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.comparison import Values, values_of
from xrdorder.comparison.published_scatter import SCATTER
from xrdorder.estimates.conductors import measured_mean
from xrdorder.exceptions import XrdorderError
from xrdorder.kinetics import Courses
from xrdorder.planning.choice import Direct, with_replicates
from xrdorder.planning.inference import Observed
from xrdorder.planning.kinds import KINDS
from xrdorder.planning.planner import ALIKE, FIELD, TC, Objective, Wires
from xrdorder.planning.process import places_of
from xrdorder.treatments import History
from xrdorder.uncertainty import ONE_SIDED_95

Array = NDArray[np.float64]

OF_FIELD = 0.85
"""Correlation of the error of one wire between two fields (judged: most of it is the wire, not the field)."""

FREEDOM = 8.0
"""Degrees of freedom that a published repeatability counts as, so far as wires of other makers tell of these."""

NIOBIUM_IN_A15 = 0.701
"""Mass fraction of niobium in Nb3Sn, from atomic masses 92.906 and 118.710 (IUPAC)."""

NEAR_T, NEAR_K = 0.05, 0.05
"""What was measured this near to a field and temperature counts as measured there."""

_CURRENT = "critical_current_a"
_MOST = 0.5  # share of the wires with a measurement from which it will be made of the next one as well


@dataclass(frozen=True, eq=False)
class _Row:
    """Values of one kind: samples by place, values, covariance."""

    kind: str
    samples: NDArray[np.intp]
    value: Array
    covariance: Array


def measured_values(
    results: xr.Dataset, quantity: str, temperature_k: float | None = None, field_t: float | None = None
) -> Values:
    """Take what the laboratory measured; several values of one sample are averaged, samples without are left out.

    Parameters
    ----------
    results : Dataset
    quantity : str
        As in study.toml.
    temperature_k, field_t : float, optional
        Only what was measured there.
    """
    if "measured_sample" in results:
        here = np.ones(results.sizes["measurement"], dtype=bool)
        for name, at, near in (
            ("measured_temperature_k", temperature_k, NEAR_K), ("measured_field_t", field_t, NEAR_T)
        ):  # fmt: skip
            if at is not None:
                here &= np.abs(np.asarray(results[name].values, dtype=float) - at) <= near
        results = results.isel(measurement=here)
    names = [str(name) for name in results["sample"].values]
    means = {name: measured_mean(results, name, quantity) for name in names}
    given = [name for name in names if means[name] is not None]
    numbers = np.array([means[name] for name in given], dtype=float).reshape(len(given), 2)
    return Values(quantity, tuple(given), numbers[:, 0], np.zeros((len(given), 0)), numbers[:, 1:])


def fields_measured(results: xr.Dataset, temperature_k: float) -> tuple[float, ...]:
    """Fields at which currents were measured at a temperature, T."""
    if "measured_sample" not in results:
        return ()
    mine = results["measured_quantity"].values == _CURRENT
    mine &= np.abs(np.asarray(results["measured_temperature_k"].values, dtype=float) - temperature_k) <= NEAR_K
    return tuple(float(b) for b in np.unique(np.asarray(results["measured_field_t"].values, dtype=float)[mine]))


def _of(kind: str, values: Values, names: Sequence[str]) -> _Row:
    """Values as a row, on the scale of the process."""
    places = np.array([names.index(name) for name in values.samples], dtype=np.intp)
    covariance = values.covariance()
    if KINDS[kind].logarithm:
        covariance = covariance / np.outer(values.value, values.value)
    gaps = KINDS[kind].gap ** 2 * np.eye(len(values))
    return _Row(kind, places, KINDS[kind].on_scale(values.value), covariance + gaps)


def _values(results: xr.Dataset, quantity: str) -> Values:
    try:
        return values_of(results, quantity)
    except XrdorderError:
        return Values(quantity, (), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)))


def niobium_reacted(results: xr.Dataset) -> Values:
    """Share of the niobium that has become A15, by weight fractions; where none is left all, within the limit."""
    names = [str(name) for name in results["sample"].values]
    left, a15 = _values(results, "weight_fraction_nb"), _values(results, "a15_fraction")
    limits: dict[str, float] = {}
    if "phase" in results and "nb" in results["phase"].values and "weight_fraction_limit" in results:
        limits = dict(zip(names, results["weight_fraction_limit"].sel(phase="nb").values.tolist(), strict=True))
    reacted: list[str] = []
    value, u = [], []
    for name in names:
        a15_share = a15.value[a15.samples.index(name)] if name in a15.samples else np.nan
        if name in left.samples:
            k = left.samples.index(name)
            w, u_w = float(left.value[k]), float(left.own[k])
        elif np.isfinite(limits.get(name, np.nan)):
            w, u_w = 0.0, limits[name] / ONE_SIDED_95
        else:
            continue
        bound = NIOBIUM_IN_A15 * (a15_share if np.isfinite(a15_share) else 1.0 - w)
        if bound > 0.0:
            reacted.append(name)
            value.append(bound / (bound + w))
            u.append(u_w * bound / (bound + w) ** 2)
    n = len(reacted)
    own = np.array(u).reshape(n, 1)
    return Values("weight_fraction_nb", tuple(reacted), np.array(value), np.zeros((n, 0)), own)


def _rows(results: xr.Dataset, objective: str, temperature_k: float) -> list[_Row]:
    known = {
        "niobium": niobium_reacted(results),
        "area": measured_values(results, "a15_area_fraction"),
        "rrr": measured_values(results, "rrr_copper"),
        "resistivity": measured_values(results, "resistivity_uohm_cm"),
    }
    if objective == TC.kind:
        known["tc"] = _values(results, "Tc_K")
    else:
        known |= {"size": _values(results, "domain_size_nm"), "grains": measured_values(results, "grain_size_nm")}
        if objective == FIELD.kind:
            known["field"] = _values(results, "Bc2_4K2_T")
        else:
            known |= {"tin": _values(results, "tin_at_percent"),
                      "field": measured_values(results, "Bc2_T", temperature_k)}  # fmt: skip
    names = [str(name) for name in results["sample"].values]
    return [_of(kind, values, names) for kind, values in known.items() if len(values)]


def _currents(results: xr.Dataset, temperature_k: float) -> list[_Row]:
    """Logarithms of the currents, a row for each field; their covariances by the model of one wire."""
    names, rows = [str(name) for name in results["sample"].values], []
    for at in fields_measured(results, temperature_k):
        values = measured_values(results, _CURRENT, temperature_k, at)
        if len(values):  # else of other lots alone
            rows.append(replace(_of("current", values, names), kind=Objective.current(at).kind))
    return rows


def wires_of(
    results: xr.Dataset, treatments: Mapping[str, History], objective: str, temperature_k: float,
    courses: Sequence[Observed] = (),
) -> Wires:  # fmt: skip
    """Take the wires of a lot out of collated results.

    Parameters
    ----------
    results : Dataset
        Of the samples of one lot, all of which have a treatment.
    treatments : mapping of str to History
        By sample.
    objective : str
        "current", "field" or "tc": what is maximised decides what of the estimates may enter beside it.
    temperature_k : float
        Of service: only currents and fields measured there enter.
    courses : sequence of Observed
        Conversion against time of specimens of the lot.
    """
    names = [str(name) for name in results["sample"].values]
    distinct, of = _distinct([treatments[name] for name in names])
    rows = _rows(results, objective, temperature_k)
    currents = _currents(results, temperature_k) if objective == "current" else []
    scatter = _scatters(rows, currents, of)
    u = max((scatter[row.kind][0] for row in currents), default=0.0)
    observed = (*_observed(rows, currents, of, u), *courses)
    rows += [replace(row, covariance=row.covariance + u**2 * np.eye(len(row.value))) for row in currents]
    direct = {row.kind: _direct(row, of, scatter[row.kind]) for row in rows if row.kind in scatter}
    coming = [row for row in rows if len(row.samples) >= _MOST * len(names) or row.kind.startswith("current ")]
    kinds = tuple(row.kind for row in coming)
    return Wires(distinct, observed, direct, kinds, _noise(coming))


def _observed(rows: Sequence[_Row], currents: Sequence[_Row], of: NDArray[np.intp], u: float) -> Iterator[Observed]:
    """Rows as the process takes them; currents of one wire at several fields share most of their error."""
    for row in rows:
        yield Observed(((row.kind, of[row.samples]),), row.value, row.covariance)
    if currents:
        wire = np.concatenate([row.samples for row in currents])
        field = np.repeat(np.arange(len(currents)), [len(row.samples) for row in currents])
        tied = np.where(field[:, None] == field[None, :], 1.0, OF_FIELD)
        covariance = u**2 * (wire[:, None] == wire[None, :]) * tied
        reading = np.concatenate([np.diag(row.covariance) for row in currents])
        parts = tuple((row.kind, of[row.samples]) for row in currents)
        yield Observed(parts, np.concatenate([row.value for row in currents]), covariance + np.diag(reading))


def _distinct(every: Sequence[History]) -> tuple[tuple[History, ...], NDArray[np.intp]]:
    """Treatments that differ, and who has which."""
    places = places_of(Courses(every))
    first: list[int] = []
    of = []
    for k, place in enumerate(places):
        same = [n for n, j in enumerate(first) if np.all(np.abs(places[j] - place) < np.array(ALIKE))]
        if not same:
            first.append(k)
        of.append(same[0] if same else len(first) - 1)
    return tuple(every[k] for k in first), np.array(of, dtype=np.intp)


def _scatters(rows: Sequence[_Row], currents: Sequence[_Row], of: NDArray[np.intp]) -> dict[str, tuple[float, float]]:
    """Scatter of equal wires in what is maximised with its degrees of freedom, by publication and by replicates."""
    names = {FIELD.kind: "Bc2_4K2_T", TC.kind: "Tc_K"} | dict.fromkeys((row.kind for row in currents), _CURRENT)
    return {
        row.kind: with_replicates(SCATTER[names[row.kind]].u, FREEDOM, row.value, of[row.samples])
        for row in [*currents, *rows] if row.kind in names
    }  # fmt: skip


def _direct(row: _Row, of: NDArray[np.intp], scatter: tuple[float, float]) -> Direct:
    """Means over equal treatments of what was measured of the objective."""
    mine = of[row.samples]
    places = np.unique(mine)
    weights = (mine[None, :] == places[:, None]) / np.array([np.sum(mine == k) for k in places])[:, None]
    own = weights @ row.covariance @ weights.T
    # draws of Tc and Bc2 hold the scatter of equal wires already
    least = scatter[0] ** 2 * np.diag(np.sum(weights**2, axis=1))
    covariance = own + (0.0 if row.kind.startswith("current ") else 0.01) * least
    return Direct(places.astype(np.intp), weights @ row.value, covariance, scatter[1])


def _noise(coming: Sequence[_Row]) -> Array:
    """Covariance of what will be measured of one wire: its own part, currents tied by the wire."""
    own = np.array([_own(row) for row in coming])
    noise = np.diag(own**2)
    for i, a in enumerate(coming):
        for k, b in enumerate(coming):
            if i != k and a.kind.startswith("current ") and b.kind.startswith("current "):
                noise[i, k] = OF_FIELD * own[i] * own[k]
    return noise


def _own(row: _Row) -> float:
    """Median standard uncertainty of a wire by itself: half of the variance of differences."""
    c = row.covariance
    if len(c) < 2:
        return float(np.sqrt(c[0, 0]))
    d = np.diag(c)
    pairs = (d[:, None] + d[None, :] - 2.0 * c)[np.triu_indices(len(c), 1)]
    return float(np.sqrt(max(np.median(pairs) / 2.0, 1e-12)))
