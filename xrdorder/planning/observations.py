"""What a study knows of the wires of a lot, as the process sees it: patterns, and what the laboratory measured.

Each value has, beside its own uncertainty, the gap between what is read and what the process calls by that name: a
domain is no grain, the lattice knows tin by a scale of its own. What all wires of the lot share (a scale, a level) is
free in the process.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.comparison import Values, values_of
from xrdorder.comparison.published_scatter import SCATTER
from xrdorder.estimates.conductors import measured_mean
from xrdorder.exceptions import XrdorderError
from xrdorder.kinetics import Courses
from xrdorder.planning.choice import Direct, Repeatability
from xrdorder.planning.inference import Observed
from xrdorder.planning.planner import ALIKE, FIELD, TC, Objective, Wires
from xrdorder.planning.process import places_of
from xrdorder.treatments import History
from xrdorder.uncertainty import ONE_SIDED_95

Array = NDArray[np.float64]

GAPS = {
    "size": 0.10, "grains": 0.05, "niobium": 0.03, "area": 0.03, "tin": 0.25, "field": 0.2, "tc": 0.0, "rrr": 0.1,
    "resistivity": 3.0,
}  # fmt: skip
"""Standard uncertainty of one wire beyond that of the value: ln, ln, 1, ln, at.%, T, K, ln, µΩ cm (judged; the last is
an order that differs by 0.005, by 147 (1 - S^4) of R. Fluekiger et al., IEEE Trans. Magn. 23 (1987) 980)."""

OF_FIELD = 0.85
"""Correlation of the error of one wire between two fields (judged: most of it is the wire, not the field)."""

FREEDOM = 8.0
"""Degrees of freedom that a published repeatability counts as, so far as wires of other makers tell of these."""

NIOBIUM_IN_A15 = 0.701
"""Mass fraction of niobium in Nb3Sn, from atomic masses 92.906 and 118.710 (IUPAC)."""

NEAR_T, NEAR_K = 0.05, 0.05
"""What was measured this near to a field and temperature counts as measured there."""

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
    mine = results["measured_quantity"].values == "critical_current_a"
    mine &= np.abs(np.asarray(results["measured_temperature_k"].values, dtype=float) - temperature_k) <= NEAR_K
    return tuple(float(b) for b in np.unique(np.asarray(results["measured_field_t"].values, dtype=float)[mine]))


def _of(values: Values, kind: str, names: Sequence[str], *, log: bool = False) -> _Row | None:
    """Values as a row; logarithms where asked for. Nothing where no sample has them."""
    if not len(values):
        return None
    value, covariance = values.value, values.covariance()
    if log:
        covariance = covariance / np.outer(value, value)
        value = np.log(value)
    places = np.array([names.index(name) for name in values.samples], dtype=np.intp)
    return _Row(kind, places, value, covariance + GAPS[kind] ** 2 * np.eye(len(value)))


def _values(results: xr.Dataset, quantity: str) -> Values:
    try:
        return values_of(results, quantity)
    except XrdorderError:
        return Values(quantity, (), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)))


def _inverse(row: _Row | None) -> _Row | None:
    """Logarithms of one over the values."""
    return row and _Row(row.kind, row.samples, -row.value, row.covariance)


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


def _rows(results: xr.Dataset, objective: str, temperature_k: float) -> Iterator[_Row | None]:
    names = [str(name) for name in results["sample"].values]
    yield _of(niobium_reacted(results), "niobium", names)
    yield _of(measured_values(results, "a15_area_fraction"), "area", names, log=True)
    yield _inverse(_of(measured_values(results, "rrr_copper"), "rrr", names, log=True))
    yield _of(measured_values(results, "resistivity_uohm_cm"), "resistivity", names)
    if objective == TC.kind:
        yield _of(_values(results, "Tc_K"), "tc", names)
        return
    yield _of(_values(results, "domain_size_nm"), "size", names, log=True)
    yield _of(measured_values(results, "grain_size_nm"), "grains", names, log=True)
    if objective == FIELD.kind:
        yield _of(_values(results, "Bc2_4K2_T"), "field", names)
        return
    yield _of(_values(results, "tin_at_percent"), "tin", names)
    yield _of(measured_values(results, "Bc2_T", temperature_k), "field", names)


def _currents(results: xr.Dataset, temperature_k: float) -> list[_Row]:
    """Logarithms of the currents, a row for each field; their covariances by the model of one wire."""
    names, observations = [str(name) for name in results["sample"].values], []
    for at in fields_measured(results, temperature_k):
        values = measured_values(results, "critical_current_a", temperature_k, at)
        if not len(values):
            continue  # of other lots alone
        places = np.array([names.index(name) for name in values.samples], dtype=np.intp)
        reading = np.diag((values.own / values.value) ** 2)
        observations.append(_Row(Objective.current(at).kind, places, np.log(values.value), reading))
    return observations


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
    rows = [row for row in _rows(results, objective, temperature_k) if row is not None]
    currents = _currents(results, temperature_k) if objective == "current" else []
    scatter = _scatters(rows, currents, of)
    u = max((scatter[row.kind].u for row in currents), default=0.0)
    observed = (*_observed(rows, currents, of, u), *courses)
    rows += [
        _Row(
            current.kind,
            current.samples,
            current.value,
            current.covariance + u**2 * np.eye(len(current.value)),
        )
        for current in currents
    ]
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


def _scatters(rows: Sequence[_Row], currents: Sequence[_Row], of: NDArray[np.intp]) -> dict[str, Repeatability]:
    """Scatter of equal wires in what is maximised, by publication and by replicates."""
    scatters = {}
    names = {FIELD.kind: "Bc2_4K2_T", TC.kind: "Tc_K"}
    for row in [*currents, *(row for row in rows if row.kind in names)]:
        name = names.get(row.kind, "critical_current_a")
        published = Repeatability(SCATTER[name].u, FREEDOM)
        scatters[row.kind] = published.with_replicates(row.value, of[row.samples])
    return scatters


def _direct(row: _Row, of: NDArray[np.intp], scatter: Repeatability) -> Direct:
    """Means over equal treatments of what was measured of the objective."""
    mine = of[row.samples]
    places = np.unique(mine)
    weights = (mine[None, :] == places[:, None]) / np.array([np.sum(mine == k) for k in places])[:, None]
    own = weights @ row.covariance @ weights.T
    # draws of Tc and Bc2 hold the scatter of equal wires already
    least = scatter.u**2 * np.diag(np.sum(weights**2, axis=1))
    covariance = own + (0.0 if row.kind.startswith("current ") else 0.01) * least
    return Direct(places.astype(np.intp), weights @ row.value, covariance, scatter.freedom)


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
