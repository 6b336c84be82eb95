"""Conductors and layers of the samples of a study, from its collated results.

What the laboratory measured goes first where it can: a grain size by microscopy takes the place of the domain size, and
tells how much larger grains are than domains in the other wires of its lot; an A15 area fraction gives currents over
the section without copper, and that of the lot stands in for samples without their own. Several values of one sample
are averaged with the weights of their uncertainties. For ratios sizes must be of one kind, see `with_like_sizes`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.estimates.hyperparameters import PUBLISHED as PUBLISHED_SIZES
from xrdorder.estimates.stored_draws import StudyDraws
from xrdorder.exceptions import Flag, UnknownNameError, ValidityError
from xrdorder.relations import PUBLISHED, Library, Relation
from xrdorder.relations.bc2_of_temperature import POWER
from xrdorder.superconductivity.currents import Conductor
from xrdorder.superconductivity.layers import (
    Layer,
    Section,
    graded,
    layer,
    symmetric,
    two_populations,
    uniform,
)
from xrdorder.superconductivity.mixture import Common
from xrdorder.superconductivity.pinning import AS_GRAIN, MICROSCOPY, GrainSize, grain_size
from xrdorder.uncertainty import Array, Contributions, from_dataset, quantity_draws

if TYPE_CHECKING:
    import xarray as xr

Quantities = tuple[Mapping[str, float], Contributions]
"""Values of the quantities of a sample and their uncertainty table."""


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
        common = _common(results, k, draws, library, designs)
        area = measured_mean(results, name, "a15_area_fraction")
        try:
            conductor_ = conductor(
                name,
                draws.values["Tc_K"][k],
                draws.values["Bc2_0K_T"][k],
                _quantities(results, k),
                grain_nm=measured_mean(results, name, "grain_size_nm") if measured_grains else None,
                as_grain=as_grain(common.lot),
                a15_area=area,
                law=draws.law,
                common=common,
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


def conductor(
    name: str,
    tc: Array,
    bc2_0: Array,
    quantities: Quantities,
    *,
    grain_nm: tuple[float, float | None] | None = None,
    as_grain: tuple[float, float] = AS_GRAIN,
    a15_area: tuple[float, float] | None = None,
    law: Relation = POWER,
    common: Common,
) -> Conductor:
    """Make a conductor of the joint draws of a sample and of what its pattern says of the size of grains.

    Parameters
    ----------
    name : str
    tc, bc2_0 : array, (n,)
        Joint draws of Tc (K) and Bc2 at 0 K (T), free of strain.
    quantities : (values, contributions)
        Of the sample, with domain size.
    grain_nm : (float, float or None), optional
        Grain size by microscopy and its standard uncertainty, which takes the place of the domain size.
    as_grain : (float, float)
        Logarithm of grain size over domain size and its standard uncertainty.
    a15_area : (float, float), optional
        A15 area over the area of the wire without its copper, and its standard uncertainty.
    law : Relation
        Temperature law of Bc2.
    common : Common

    Raises
    ------
    ValidityError
        There are no draws, no grain size can be had, or an area fraction is impossible.
    """
    if not np.all(np.isfinite(tc)) or not np.all(np.isfinite(bc2_0)):
        raise ValidityError(f"sample '{name}': no Tc and Bc2 to work with: no tin content is known")
    try:
        grain = _grain_size(quantities, common, as_grain, grain_nm)
    except ValidityError as error:
        raise ValidityError(f"sample '{name}': {error}") from error
    area = None
    if a15_area is not None:
        share, u = a15_area
        if not (0.0 < share <= 1.0 and 0.0 <= u < 1.0):
            raise ValidityError(
                f"sample '{name}': A15 area is {share:g} ± {u:g} of the section without copper; give a fraction "
                "between 0 and 1"
            )
        area = np.clip(share + u * common.own("A15 area"), 0.0, 1.0)
    flags = grain.flags
    if any(_known(quantities[0], of) and quantities[0][of] for of in ("tin_fraction_lattice_rich", "lattice_tail_nm")):
        text = "one tin content stands for a layer that is graded or of two populations: its current fades toward Bc2 "
        flags = (*flags, Flag("layer-not-uniform", f"{text}more slowly than given"))
    return Conductor(name, common, tc, bc2_0, grain, area, law, flags)


def _grain_size(
    quantities: Quantities,
    common: Common,
    as_grain: tuple[float, float],
    measured_nm: tuple[float, float | None] | None = None,
) -> GrainSize:
    values, size = quantities[0], "domain_size_nm"
    return grain_size(
        measured_nm=measured_nm,
        domains_nm=(values[size], _drawn(quantities, common, size)[size]) if _known(values, size) else None,
        domains_at_least_nm=values.get("domain_size_at_least_nm", math.nan),
        as_grain=as_grain,
        common=common,
    )


def section(quantities: Quantities, common: Common, *, bound: bool = False) -> Section:
    """How the pieces of the layer of a sample lie about their mean.

    Parameters
    ----------
    quantities : (values, contributions)
        For a graded layer ``tin_spread`` and ``lattice_tail_nm``, for two populations ``tin_fraction_lattice_lean`` and
        ``_rich`` and ``rich_share``, with ``tin_fraction_lattice`` that of the whole.
    common : Common
    bound : bool
        Take a symmetric broadening as a normal distribution of tin: an upper bound of what composition does.
    """
    values, whole = quantities[0], "tin_fraction_lattice"
    populations = (f"{whole}_lean", f"{whole}_rich", "rich_share")
    if all(_known(values, name) for name in populations):
        # both were read from one lattice scale: what the joint estimate says about its level moves both
        drawn = _drawn(quantities, common, *populations, *[whole] * _known(values, whole))
        lean, rich, share = (drawn[name] for name in populations)
        return two_populations(lean, rich, share, drawn.get(whole))
    spread, tail = "tin_spread", "lattice_tail_nm"
    if _known(values, spread) and _known(values, tail) and values[tail] != 0.0:
        return graded(_drawn(quantities, common, spread)[spread] * math.copysign(1.0, values[tail]))
    if bound and values.get(spread, math.nan) > 0.0:
        return symmetric(_drawn(quantities, common, spread)[spread])
    return uniform(common.n)


def _known(values: Mapping[str, float], name: str) -> bool:
    return math.isfinite(values.get(name, math.nan))


def _drawn(quantities: Quantities, common: Common, *names: str) -> dict[str, Array]:
    """Draws of quantities of a sample, each (n,); one number throughout for those without an uncertainty."""
    values, table = quantities
    inexact = [name for name in names if name in table.quantities]
    drawn = quantity_draws(values, table, inexact, n=common.n, seed=common.seed, key=common.key)
    return {name: drawn.get(name, np.full(common.n, float(values[name]))) for name in names}


def _common(
    results: xr.Dataset, k: int, draws: StudyDraws, library: Library, designs: Mapping[str, str] | None
) -> Common:
    name, n = draws.samples[k], draws.values["Tc_K"].shape[1]
    wire = str(results["wire"].values[k]) or "any" if "wire" in results else "any"
    return Common(n, draws.seed, name, str(results["lot"].values[k]), library, wire, (designs or {}).get(name, ""))


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
            size = _grain_size(_quantities(results, k), sample.common, as_grain)
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
        common = _common(results, k, draws, library, designs)
        tin, tc, bc2_0 = (draws.values[target][k] for target in ("tin_fraction", "Tc_K", "Bc2_0K_T"))
        offset = draws.of_lot(results, name, common.lot, "tin offset of Tc", PUBLISHED_SIZES["tin_offset"])
        try:
            pieces = section(_quantities(results, k), common, bound=bound)
            made[name] = layer(pieces, tin, tc, bc2_0, offset, common=common, law=draws.law)
        except ValidityError as error:
            if names:
                raise ValidityError(f"sample '{name}': {error}") from error
    if not made:
        raise ValidityError("no sample of the study has a tin content")
    return made


def _places(results: xr.Dataset, names: Sequence[str]) -> list[tuple[int, str]]:
    known = [str(name) for name in results["sample"].values]
    for name in names:
        if name not in known:
            raise UnknownNameError(f"no sample '{name}' in the study; known are: {', '.join(known)}")
    return [(known.index(name), name) for name in (names or known)]


def _quantities(results: xr.Dataset, k: int) -> Quantities:
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
