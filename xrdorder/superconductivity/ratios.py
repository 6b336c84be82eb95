"""Draws of many samples at once, for whoever compares all with all: a surface over treatments, a plan.

What samples share is in every draw the same, so that differences between rows have lost it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.superconductivity.asking import REPLACED
from xrdorder.superconductivity.currents import (
    SURE,
    Conditions,
    Conductor,
    _alike,
    _bc2,
    _drawn_alike,
    _fields,
    _State,
    _strained,
)
from xrdorder.superconductivity.mixture import Band
from xrdorder.superconductivity.pinning import comparable_forces, peak_pinning_force

Array = NDArray[np.float64]


def bc2_draws(samples: Sequence[Conductor], conditions: Conditions | None = None) -> Array:
    """Draws of Bc2 of several samples under the conditions, T, shape (samples, n).

    For comparison: NaN where the draw of a sample lay outside a validity and was replaced by another, which has nothing
    in common with those of other samples. All must have been made with one seed and number of draws.
    """
    conditions = conditions or Conditions()
    _drawn_alike(samples)
    rows = [_bc2(one, conditions.temperature_k, _strained(one, conditions))[:, 0] for one in samples]
    return np.where([one.codes == REPLACED for one in samples], np.nan, rows)


class RelativeDraws(NamedTuple):
    """Draws of the layer currents of several samples over that of a reference.

    Attributes
    ----------
    reference : str
        Name of the reference.
    ratios : array, (samples, n)
        NaN where the reference is normal, or where Tc and Bc2 of a sample do not come from the relations of the
        reference; for a sample that does not compare, or has a grain size no relation holds for, throughout.
    """

    reference: str
    ratios: Array


def relative_draws(
    samples: Sequence[Conductor], field_t: float, conditions: Conditions | None = None, *, reference: str = ""
) -> RelativeDraws:
    """Draws of the layer current of every sample over that of one of them, common factors cancelled.

    Every draw takes one relation of pinning force with grain size that holds for all; a sample that is normal in a draw
    carries nothing in it. `relative_current` is the same for two samples and many fields.

    Parameters
    ----------
    samples : sequence of Conductor
        Made with one seed and number of draws.
    field_t : float
    conditions : Conditions, optional
    reference : str
        Name; unless given the sample that most surely carries much: the largest lower end of a 68 % interval.

    Raises
    ------
    UnknownNameError
        No sample has the name of the reference.
    ValidityError
        The field is not positive, the samples were drawn unalike, no relation holds for all, or even the reference
        may be normal at the field.
    """
    field = float(_fields(field_t)[0])
    conditions = conditions or Conditions()
    _drawn_alike(samples)
    names = [one.name for one in samples]
    if reference and reference not in names:
        raise UnknownNameError(f"no sample '{reference}' to refer to; known are: {', '.join(names)}")
    forces = [peak_pinning_force(one.grain, common=one.common, library=one.library) for one in samples]
    usable = [k for k, force in enumerate(forces) if any(answer.applies for answer in force.answers)]
    if not usable:
        raise ValidityError("no relation of pinning force holds for the grain size of any sample")
    peaks = comparable_forces(*(forces[k] for k in usable), common=samples[0].common)
    currents = np.full((len(samples), samples[0].common.n), np.nan)
    for k, peak in zip(usable, peaks, strict=True):
        currents[k] = _State(samples[k], conditions, peak).current(field)
    lows = np.array([float(Band.of(row).low) for row in currents])
    at = names.index(reference) if reference else int(np.nanargmax(lows))
    carries = currents[at] > 0.0
    if np.mean(carries) < SURE:
        raise ValidityError(
            f"at {field:g} T, {conditions.words()}, even '{names[at]}' may be normal: currents do not compare there"
        )
    ratios = np.full(currents.shape, np.nan)
    ratios[:, carries] = currents[:, carries] / currents[at, carries]
    for k, one in enumerate(samples):
        try:
            ratios[k, ~_alike(one, samples[at])] = np.nan
        except ValidityError:
            ratios[k] = np.nan
    return RelativeDraws(names[at], ratios)
