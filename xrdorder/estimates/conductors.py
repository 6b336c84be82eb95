"""Conductors and layers of the samples of a study, from its collated results.

What the laboratory measured goes first where it can: a grain size by microscopy takes the place of the domain size, and
tells how much larger grains are than domains in the other wires of its lot; an A15 area fraction gives currents over
the section without copper, and that of the lot stands in for samples without their own. Several values of one sample
are averaged with the weights of their uncertainties. For ratios sizes must be of one kind, see `with_like_sizes`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.estimates.hyperparameters import PUBLISHED as PUBLISHED_SIZES
from xrdorder.estimates.stored_draws import StudyDraws
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity.currents import Conductor, conductor
from xrdorder.superconductivity.layers import Layer, Level, layer
from xrdorder.superconductivity.pinning import AS_GRAIN, MICROSCOPY, grain_size
from xrdorder.uncertainty import Contributions, from_dataset

if TYPE_CHECKING:
    import xarray as xr


def conductors(
    results: xr.Dataset,
    names: Sequence[str] = (),
    *,
    library: Library = PUBLISHED,
    measured_grains: bool = True,
    designs: Mapping[str, str] | None = None,
) -> tuple[Conductor, ...]:
    """Make conductors of the samples of a study, of the stored joint draws of Tc and Bc2.

    Parameters
    ----------
    results : Dataset
        Collated results (`xrdorder.running.run.run_study`, or `open_study(...).results`).
    names : sequence of str
        Samples; all that Tc, Bc2 and a grain size are known of unless given.
    library : Library
    measured_grains : bool
        Whether grain sizes by microscopy go first. Where only some samples have one, domain sizes for all compare
        better: what a domain is to a grain cancels.
    designs : mapping of str to str, optional
        Design of the wire of each sample, for its pre-strain; not known of samples that are not in it.

    Raises
    ------
    UnknownNameError
        There is no such sample.
    ValidityError
        A sample that was asked for, or every sample, lacks tin content or grain size.
    """
    made, refused = [], []
    draws = StudyDraws.of(results)
    as_grain = cache(partial(grains_over_domains, results)) if measured_grains else lambda lot: AS_GRAIN
    for k, name in _places(results, names):
        grain = measured_mean(results, name, "grain_size_nm") if measured_grains else None
        area = measured_mean(results, name, "a15_area_fraction")
        try:
            conductor_ = conductor(
                name,
                draws.values["Tc_K"][k],
                draws.values["Bc2_0K_T"][k],
                _quantities(results, k),
                measured_grain_nm=grain[0] if grain else None,
                u_measured_grain_nm=grain[1] if grain else None,
                as_grain=as_grain(str(results["lot"].values[k])),
                a15_area_fraction=area[0] if area else None,
                u_a15_area_fraction=area[1] if area else 0.0,
                lot=str(results["lot"].values[k]),
                seed=draws.seed,
                law=draws.law,
                library=library,
                wire=_wire(results, k),
                design=(designs or {}).get(name, ""),
            )
        except ValidityError as error:
            if names:
                raise
            refused.append(str(error))
            continue
        made.append(conductor_ if area else _with_area_of_lot(conductor_, results, k))
    if not made:
        raise ValidityError(refused[0] if refused else "the study holds no sample")
    return tuple(made)


def grains_over_domains(results: xr.Dataset, lot: str) -> tuple[float, float]:
    """Logarithm of grain size over domain size of a lot, and its standard uncertainty.

    What is usual, put together with every wire of the lot that has both: grains by microscopy and domains resolved.
    """
    middle, u = AS_GRAIN
    values, weights = [middle], [u**-2]
    for k, name in _places(results, ()) if lot else ():
        seen = measured_mean(results, name, "grain_size_nm")
        if str(results["lot"].values[k]) != lot or seen is None:
            continue
        sizes, table = _quantities(results, k)
        size = sizes.get("domain_size_nm", np.nan)
        if size > 0.0:
            u_size = table.total("domain_size_nm") if "domain_size_nm" in table.quantities else 0.0
            values.append(float(np.log(seen[0] / size)))
            weights.append(
                1.0 / ((seen[1] / seen[0]) ** 2 + (u_size / size) ** 2 + PUBLISHED_SIZES["grain_scatter"] ** 2)
            )
    if len(values) == 1:
        return AS_GRAIN
    return float(np.average(values, weights=weights)), float(sum(weights) ** -0.5)


def _with_area_of_lot(conductor: Conductor, results: xr.Dataset, k: int) -> Conductor:
    """Give a conductor the A15 area of its lot, where that is known: one doubt for all samples of the lot."""
    if "lot_a15_area_fraction" not in results:
        return conductor
    value, u = (float(results[name].values[k]) for name in ("lot_a15_area_fraction", "u_lot_a15_area_fraction"))
    if not np.isfinite(value):
        return conductor
    return replace(conductor, a15_area=np.clip(value + u * conductor.common.of_lot("A15 area"), 0.0, 1.0))


def with_like_sizes(samples: Sequence[Conductor], results: xr.Dataset) -> tuple[Conductor, ...]:
    """Give conductors whose currents compare: sizes by microscopy where all have one, else domain sizes for all.

    What a domain is to a grain then cancels in ratios; with sizes of both kinds it is taken for a difference. Nothing
    is drawn anew but the size.

    Parameters
    ----------
    samples : sequence of Conductor
        Made by `conductors` of these results.
    results : Dataset

    Returns
    -------
    tuple of Conductor
        Without those that have a size by microscopy alone, where it does not compare.
    """
    kinds = [sample.grain.by == MICROSCOPY for sample in samples]
    if all(kinds) or not any(kinds):
        return tuple(samples)
    sized = []
    for sample, seen in zip(samples, kinds, strict=True):
        if not seen:
            sized.append(sample)
            continue
        ((k, _),) = _places(results, [sample.name])
        try:
            as_grain = grains_over_domains(results, sample.lot)
            size = grain_size(_quantities(results, k), as_grain=as_grain, common=sample.common)
        except ValidityError:
            continue
        sized.append(replace(sample, grain=size, flags=(*sample.flags, *size.flags)))
    return tuple(sized)


def layers(
    results: xr.Dataset,
    names: Sequence[str] = (),
    *,
    library: Library = PUBLISHED,
    bound: bool = False,
    designs: Mapping[str, str] | None = None,
) -> dict[str, Layer]:
    """Spread Tc and Bc2 over the layers of the samples of a study, by name; see `layer` and `conductors`.

    Raises
    ------
    UnknownNameError
        There is no such sample.
    ValidityError
        A sample that was asked for, or every sample, lacks a tin content.
    """
    made: dict[str, Layer] = {}
    draws = StudyDraws.of(results)
    for k, name in _places(results, names):
        lot = str(results["lot"].values[k])
        level = Level(
            draws.values["tin_fraction"][k],
            draws.values["Tc_K"][k],
            draws.values["Bc2_0K_T"][k],
            draws.of_lot(results, name, lot, "tin offset of Tc", PUBLISHED_SIZES["tin_offset"]),
            draws.law,
        )
        try:
            made[name] = layer(
                level,
                _quantities(results, k),
                seed=draws.seed,
                key=name,
                lot=lot,
                library=library,
                wire=_wire(results, k),
                bound=bound,
                design=(designs or {}).get(name, ""),
            )
        except ValidityError as error:
            if names:
                raise ValidityError(f"sample '{name}': {error}") from error
    if not made:
        raise ValidityError("no sample of the study has a tin content")
    return made


def _wire(results: xr.Dataset, k: int) -> str:
    return str(results["wire"].values[k]) or "any" if "wire" in results else "any"


def _places(results: xr.Dataset, names: Sequence[str]) -> list[tuple[int, str]]:
    known = [str(name) for name in results["sample"].values]
    for name in names:
        if name not in known:
            raise UnknownNameError(f"no sample '{name}' in the study; known are: {', '.join(known)}")
    return [(known.index(name), name) for name in (names or known)]


def _quantities(results: xr.Dataset, k: int) -> tuple[dict[str, float], Contributions]:
    sample = results.isel(sample=k)
    values: dict[str, float] = {}
    for names, numbers in (("quantity", "value"), ("plain_quantity", "plain_value")):
        if names in sample.coords and numbers in sample:
            values |= {
                str(name): float(x)
                for name, x in zip(sample[names].values, sample[numbers].values, strict=True)
            }
    table = from_dataset(sample)
    # A quantity the sample does not have is NaN in the joint table: it must not be drawn from.
    return values, table.select([name for name in table.quantities if np.isfinite(values.get(name, np.nan))])


def measured_mean(results: xr.Dataset, name: str, quantity: str) -> tuple[float, float] | None:
    """Mean of what the laboratory measured of a sample, and its standard uncertainty; None where nothing was."""
    if "measured_sample" not in results:
        return None
    mine = (results["measured_sample"].values == name) & (results["measured_quantity"].values == quantity)
    if not mine.any():
        return None
    values, u = results["measured_value"].values[mine], results["u_measured_value"].values[mine]
    weights = 1.0 / np.square(np.maximum(u, 1e-9 * np.abs(values)))
    return float(np.average(values, weights=weights)), float(1.0 / np.sqrt(weights.sum()))
