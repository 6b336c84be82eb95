"""High Bc2 against fine grains: where samples stand, and where the layer would carry as much as that of a reference.

Everything is relative to a reference sample: what all samples share has cancelled, draw by draw.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.superconductivity.currents import SURE, Conditions, Conductor, bc2_curve, bc2_draws
from xrdorder.superconductivity.mixture import Band
from xrdorder.superconductivity.pinning import ForceShape, comparable_forces, peak_pinning_force

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Placed:
    """A sample against the reference.

    Attributes
    ----------
    name, lot : str
    size_ratio, bc2_difference : Band
        Grain (domain) size over that of the reference, median and 68 % interval; Bc2 less that of the reference (T),
        difference of the medians and one standard uncertainty to either side.
    """

    name: str
    lot: str
    size_ratio: Band
    bc2_difference: Band


def placed(
    samples: Sequence[Conductor], reference: str, conditions: Conditions | None = None
) -> tuple[Placed, ...]:
    """Say how far samples stand from a reference in grain size and Bc2.

    Parameters
    ----------
    samples : sequence of Conductor
        Among them the reference; made with one seed and number of draws.
    reference : str
    conditions : Conditions, optional

    Returns
    -------
    tuple of Placed
        The reference among them.

    Raises
    ------
    UnknownNameError
        No sample has the name of the reference.
    ValidityError
        The samples were drawn unalike.
    """
    against = _named(samples, reference)
    bc2 = bc2_draws(samples, conditions)
    base = bc2[[sample.name for sample in samples].index(reference)]
    placements = []
    for sample, mine in zip(samples, bc2, strict=True):
        middle, u = float(np.median(mine) - np.median(base)), float(np.std(mine - base))
        difference = Band(np.array(middle), np.array(middle - u), np.array(middle + u))
        placements.append(
            Placed(sample.name, sample.lot, Band.of(sample.grain.draws / against.grain.draws), difference)
        )
    return tuple(placements)


def equal_currents(
    reference: Conductor,
    sizes_nm: ArrayLike,
    bc2_t: ArrayLike,
    field_t: float,
    conditions: Conditions | None = None,
) -> Array:
    """Give the layer current over that of the reference for other grain sizes and other Bc2.

    The median over the draws, which take one relation of pinning force and one shape for both; Tc and strain are those
    of the reference. Doubt that all share moves the reference with everything else: sizes and Bc2 are counted from its
    medians.

    Parameters
    ----------
    reference : Conductor
    sizes_nm : array, (m,)
        In the measure of the reference: domain sizes where it has one.
    bc2_t : array, (k,)
        Bc2 under the conditions, T.
    field_t : float
    conditions : Conditions, optional

    Returns
    -------
    array, (m, k)
        NaN where no relation holds.

    Raises
    ------
    ValidityError
        The field is not positive, or the reference may be normal there.
    """
    conditions = conditions or Conditions()
    if not field_t > 0.0:
        raise ValidityError(f"a field of {field_t:g} T compares nothing; give T above zero")
    bc2 = bc2_draws([reference], conditions)[0]
    middle = float(bc2_curve(reference, [conditions.temperature_k], conditions).median[0])
    known = np.isfinite(bc2)
    carries = bc2 > field_t
    if not np.any(known) or np.mean(carries[known]) < SURE:
        raise ValidityError(f"'{reference.name}' may be normal at {field_t:g} T: currents do not compare there")
    common = reference.common
    grain = reference.grain.draws / float(np.median(reference.grain.draws))
    force = peak_pinning_force(reference.grain.draws, common=common)
    shape = ForceShape(common)
    own = shape(field_t / np.where(carries, bc2, np.inf))
    by_size = []
    for size in np.atleast_1d(np.asarray(sizes_nm, dtype=float)):
        other = peak_pinning_force(size * grain, common=common)
        try:
            mine, theirs = comparable_forces(other, force, common=common)
        except ValidityError:
            by_size.append(np.full(common.n, np.nan))
            continue
        by_size.append(mine / theirs)
    stretch = np.atleast_1d(np.asarray(bc2_t, dtype=float)) / middle
    with np.errstate(divide="ignore", invalid="ignore"):
        by_field = [shape(field_t / np.where(carries, place * bc2, np.inf)) / own for place in stretch]
    sizes, fields = np.array(by_size)[:, carries], np.array(by_field)[:, carries]
    return np.array([np.median(row * fields, axis=1) for row in sizes])


def _named(samples: Sequence[Conductor], name: str) -> Conductor:
    sample = next((match for match in samples if match.name == name), None)
    if sample is None:
        raise UnknownNameError(f"no sample '{name}' to refer to; known are: {', '.join(s.name for s in samples)}")
    return sample
