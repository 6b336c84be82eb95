"""What the samples of one lot say of the quantities that a treatment is chosen by.

Tc and Bc2 come by the stored joint draws of all samples, which currents go on from; sizes come with their uncertainty
tables, and what the laboratory measured as it was given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.comparison import Repeatability, Values, repeatability, values_from_draws, values_of
from xrdorder.comparison.replicates import FEW
from xrdorder.estimates.conductors import conductors, measured_mean
from xrdorder.exceptions import StudyError, ValidityError, XrdorderError
from xrdorder.planning.furnace import Space
from xrdorder.quantities.registry import quantity
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity.currents import SURE, Conditions, Conductor
from xrdorder.superconductivity.ratios import bc2_draws, relative_draws
from xrdorder.treatments import History

Array = NDArray[np.float64]

TC, BC2, DOMAINS, GRAINS = "Tc_K", "Bc2_T", "domain_size_nm", "grain_size_nm"
NIOBIUM = "weight_fraction_nb"

OF_LIMIT = 1.645
"""Standard uncertainties in a limit that is exceeded with a probability of 5 %."""

NEAR_T, NEAR_K = 0.05, 0.05
"""What was measured this near to the field and temperature asked for counts as measured there."""


@dataclass(frozen=True, eq=False)
class Response:
    """One quantity over the samples of a lot.

    Attributes
    ----------
    key : str
        "Tc_K", "Bc2_T", "domain_size_nm", "grain_size_nm", or "current_12T".
    noun, unit : str
        As people say it.
    values : Values or None
    origin : str
        "estimate", "pattern" or "measured".
    maximise : bool
        Whether large is good.
    reason : str
        Why there are no values.
    field_t : float
        Of a current.
    carries : mapping of str to float
        Share of the draws in which a sample is superconducting at temperature and field; empty unless estimated.
    """

    key: str
    noun: str
    unit: str
    values: Values | None
    origin: str
    maximise: bool = True
    reason: str = ""
    field_t: float = np.nan
    carries: Mapping[str, float] = field(default_factory=dict)

    def normal(self, samples: Sequence[str]) -> bool:
        """Whether all these samples are above their Tc or Bc2, as far as can be told."""
        shares = [self.carries.get(name, 1.0) for name in samples]
        return bool(shares) and max(shares) <= 1.0 - SURE

    def surely_carries(self, samples: Sequence[str]) -> bool:
        """Whether all these samples are superconducting, as far as can be told."""
        return all(self.carries.get(name, 1.0) >= SURE for name in samples)


def responses(
    results: xr.Dataset,
    conditions: Conditions,
    fields_t: Sequence[float],
    *,
    library: Library = PUBLISHED,
    measured: bool = False,
) -> tuple[Response, ...]:
    """Take all quantities out of the results: currents at the fields in their order, Bc2, Tc, grains.

    Parameters
    ----------
    results : Dataset
        Collated results of the samples of one lot.
    conditions : Conditions
        Temperature and strain in service. Tc is that free of strain.
    fields_t : sequence of float
    library : Library
    measured : bool
        Take critical currents that the laboratory measured at field and temperature instead of estimates, and Bc2 at
        the temperature and Tc where any were measured; the strain is then that of the measurement.
    """
    everybody = len(results["sample"])
    grains = measured_values(results, GRAINS)
    by_microscopy = len(grains) == everybody
    try:
        samples: tuple[Conductor, ...] = conductors(results, library=library, measured_grains=by_microscopy)
        without = ""
    except ValidityError as error:
        samples, without = (), str(error)
    bc2 = _bc2(samples, conditions)
    found = []
    values: Values | None
    for b in fields_t:
        key, noun = f"current_{b:g}T", f"layer current density at {b:g} T"
        if measured:
            values = _shares(measured_values(results, "critical_current_a", conditions.temperature_k, b), key)
            noun = f"critical current at {b:g} T"
            found.append(_measured(key, noun, MEAN, values, conditions.temperature_k, b))
            continue
        carries = _carrying(samples, bc2, b)
        try:
            values = _currents(samples, b, conditions, key) if samples else None
            found.append(Response(key, noun, MEAN, values, "estimate", True, without, b, carries))
        except ValidityError as error:
            found.append(Response(key, noun, MEAN, None, "estimate", True, str(error), b, carries))
    for key, draws in ((BC2, bc2), (TC, np.array([one.tc for one in samples]) if samples else None)):
        found.append(_critical(results, samples, conditions, key, draws, without, measured))
    found.append(_sizes(results, grains if by_microscopy else None))
    return tuple(found)


MEAN = "of the mean"
"""Unit of a current: that of the samples together is one."""


def _bc2(samples: Sequence[Conductor], conditions: Conditions) -> Array | ValidityError | None:
    """Draws of Bc2, or why there are none."""
    try:
        return bc2_draws(samples, conditions) if samples else None
    except ValidityError as error:
        return error


def _carrying(samples: Sequence[Conductor], bc2: Array | ValidityError | None, field_t: float) -> dict[str, float]:
    """Share of the draws in which each sample is superconducting at a field."""
    if not isinstance(bc2, np.ndarray):
        return {}
    known = [row[np.isfinite(row)] for row in bc2]
    return {one.name: float(np.mean(row > field_t)) for one, row in zip(samples, known, strict=True) if row.size}


def _critical(
    results: xr.Dataset,
    samples: Sequence[Conductor],
    conditions: Conditions,
    key: str,
    draws: Array | ValidityError | None,
    without: str,
    measured: bool,
) -> Response:
    # under strain it is not the one that other tables show
    strained = "" if conditions.strain == 0.0 or measured else ", strained"
    noun, unit = ("Tc", "K") if key == TC else (f"Bc2 at {conditions.temperature_k:g} K{strained}", "T")
    if measured:
        values = measured_values(results, key, conditions.temperature_k if key == BC2 else None)
        if len(values):
            return _measured(key, noun, unit, values, conditions.temperature_k)
    if not isinstance(draws, np.ndarray):
        return Response(key, noun, unit, None, "estimate", True, without if draws is None else str(draws))
    carries = _carrying(samples, draws, 0.0) if key == BC2 else {}
    values = values_from_draws(key, [one.name for one in samples], draws)
    return Response(key, noun, unit, values, "estimate", carries=carries)


def _measured(
    key: str, noun: str, unit: str, values: Values, temperature_k: float, field: float = np.nan
) -> Response:
    noun = f"measured {noun}"
    if not len(values):
        reason = f"{noun}: none of this lot at {temperature_k:g} K; give critical_current_a in study.toml"
        return Response(key, noun, unit, None, "measured", True, reason, field)
    return Response(key, noun, unit, values, "measured", True, "", field)


def _sizes(results: xr.Dataset, grains: Values | None) -> Response:
    about = quantity(DOMAINS if grains is None else GRAINS)
    if grains is not None:
        return Response(GRAINS, about.noun, about.unit, grains, "measured", False)
    values, reason = None, ""
    try:
        values = values_of(results, DOMAINS)
    except XrdorderError as error:
        reason = str(error)
    if values is not None and not len(values):
        values, reason = None, f"{about.noun}: no pattern of this lot resolves it"
    return Response(DOMAINS, about.noun, about.unit, values, "pattern", False, reason)


def _currents(samples: Sequence[Conductor], field: float, conditions: Conditions, key: str) -> Values:
    values = values_from_draws(key, [one.name for one in samples], relative_draws(samples, field, conditions))
    if not len(values):
        raise ValidityError(f"at {field:g} T the samples do not compare: hardly any draw has all by the same relations")
    return _with_own(values)


def _with_own(values: Values) -> Values:
    """Give back what each sample has of its own, which shares of a mean hide: one combination of them is always one.

    Differences stay what they are. All get the least variance that any other combination has; what is added to all
    alike cancels.
    """
    n = len(values)
    if n < 2:
        return values
    left = np.eye(n) - 1.0 / n
    size, vectors = np.linalg.eigh(left @ values.covariance() @ left)
    own = max(float(size[1]), 0.0)
    # the first is the mean, of no variance until now
    rest = np.append(0.0, np.maximum(size[1:] - own, 0.0))
    keep = rest > 1e-12 * max(float(rest[-1]), 1e-300)
    return Values(
        values.quantity,
        values.samples,
        values.value,
        vectors[:, keep] * np.sqrt(rest[keep]),
        np.sqrt(own) * np.eye(n),
        left_out=values.left_out,
    )


def _shares(values: Values, key: str) -> Values:
    """Currents over their mean."""
    scale = float(np.mean(values.value)) if len(values) else 1.0
    return Values(key, values.samples, values.value / scale, values.shared, values.private / scale)


def measured_values(
    results: xr.Dataset, quantity: str, temperature_k: float | None = None, field_t: float | None = None
) -> Values:
    """Take what the laboratory measured; several values of one sample are averaged, samples without are left out.

    Parameters
    ----------
    results : Dataset
    quantity : str
        As in study.toml, or "Bc2_T".
    temperature_k, field_t : float, optional
        Only what was measured there.
    """
    if "measured_sample" in results:
        here = np.ones(results.sizes["measurement"], dtype=bool)
        for name, at, near in (
            ("measured_temperature_k", temperature_k, NEAR_K),
            ("measured_field_t", field_t, NEAR_T),
        ):
            if at is not None:
                here &= np.abs(np.asarray(results[name].values, dtype=float) - at) <= near
        results = results.isel(measurement=here)
    names = [str(name) for name in results["sample"].values]
    means = {name: measured_mean(results, name, quantity) for name in names}
    given = [name for name in names if means[name] is not None]
    numbers = np.array([means[name] for name in given], dtype=float).reshape(len(given), 2)
    return Values(
        quantity,
        tuple(given),
        numbers[:, 0],
        np.zeros((len(given), 0)),
        numbers[:, 1:],
        left_out=tuple(name for name in names if means[name] is None),
    )


def leftover_niobium(results: xr.Dataset) -> Values:
    """Weight fraction of niobium; where none was found zero, with what the limit for it leaves open.

    Raises
    ------
    StudyError
        No sample tells it.
    """
    names = [str(name) for name in results["sample"].values]
    try:
        found = values_of(results, NIOBIUM)
    except XrdorderError:
        found = Values(NIOBIUM, (), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)), left_out=tuple(names))
    limits = {}
    if "nb" in results["phase"].values:
        limits = dict(zip(names, results["weight_fraction_limit"].sel(phase="nb").values, strict=True))
    none = [name for name in found.left_out if np.isfinite(limits.get(name, np.nan))]
    n, k = len(found), len(none)
    if not n + k:
        raise StudyError("leftover niobium: no sample tells it; ask for the phase nb in study.toml")
    private = np.zeros((n + k, found.private.shape[1] + 1))
    private[:n, :-1] = found.private
    private[n:, -1] = [limits[name] / OF_LIMIT for name in none]
    return Values(
        NIOBIUM,
        (*found.samples, *none),
        np.append(found.value, np.zeros(k)),
        np.concatenate([found.shared, np.zeros((k, found.shared.shape[1]))]),
        private,
        left_out=tuple(name for name in found.left_out if name not in none),
    )


def scatter(
    values: Values, treatments: Sequence[History], space: Space, alike: Mapping[str, str] | None = None
) -> Repeatability:
    """How far equal wires scatter beyond their known uncertainties, by replicates.

    `alike` says by sample with which others it may be pooled (`xrdorder.comparison.variants.alike`); all with
    all unless given, as where the wires themselves were measured.

    With fewer than `FEW` degrees of freedom the scatter they have is taken for certain: averaged over all that it may
    be, a single pair would let nothing ever differ by more than chance. The scatter about a smooth course, which stands
    in for replicates in comparisons, is no help here: it takes the summit that is sought for scatter.
    """
    x = space.coordinates(treatments)
    places = [" ".join(f"{one:.6f}" for one in row) for row in x]
    if alike is not None:
        kinds = [alike.get(name) for name in values.samples]
        places = ["" if kind is None else f"{place} {kind}" for place, kind in zip(places, kinds, strict=True)]
    found = repeatability(values, places)
    if not 0 < found.degrees_of_freedom < FEW:
        return found
    return replace(found, nodes=np.array([found.u]), weights=np.ones(1))
