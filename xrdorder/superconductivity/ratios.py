"""Draws of many samples at once, for whoever compares all with all: a surface over treatments, a plan.

What samples share is in every draw the same, so that differences between rows have lost it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.superconductivity.currents import (
    SURE,
    Conditions,
    Conductor,
    LayerState,
    bc2_at,
    positive_fields,
    require_drawn_alike,
    strained,
)
from xrdorder.superconductivity.pinning import comparable_forces, peak_pinning_force

Array = NDArray[np.float64]


def bc2_draws(samples: Sequence[Conductor], conditions: Conditions | None = None) -> Array:
    """Draws of Bc2 of several samples under the conditions, T, shape (samples, n).

    All must have been made of one set of joint draws.
    """
    conditions = conditions or Conditions()
    require_drawn_alike(samples)
    return np.array(
        [bc2_at(sample, conditions.temperature_k, strained(sample, conditions))[:, 0] for sample in samples]
    )


def relative_draws(
    samples: Sequence[Conductor], field_t: float, conditions: Conditions | None = None, *, reference: str = ""
) -> Array:
    """Draws of the layer current of every sample over that of a reference, common factors cancelled.

    Every draw takes one relation of pinning force with grain size that holds for all; a sample that is normal in a draw
    carries nothing in it. `relative_current` is the same for two samples and many fields.

    Parameters
    ----------
    samples : sequence of Conductor
        Made of one set of joint draws.
    field_t : float
    conditions : Conditions, optional
    reference : str
        Name of a sample. Unless given, the mean of all samples: no ratio is then without bounds where one of them may
        be normal, and none is without doubt.

    Returns
    -------
    array, (samples, n)
        NaN where the reference is normal; for a sample whose grain size no relation holds for, throughout.

    Raises
    ------
    UnknownNameError
        No sample has the name of the reference.
    ValidityError
        The field is not positive, the samples were drawn unalike, no relation holds for all grain sizes, or the
        reference may be normal at the field.
    """
    field = float(positive_fields(field_t)[0])
    conditions = conditions or Conditions()
    require_drawn_alike(samples)
    names = [sample.name for sample in samples]
    if reference and reference not in names:
        raise UnknownNameError(f"no sample '{reference}' to refer to; known are: {', '.join(names)}")
    forces = [peak_pinning_force(sample.grain, common=sample.common, library=sample.library) for sample in samples]
    usable = [k for k, force in enumerate(forces) if any(answer.applies for answer in force.answers)]
    if not usable:
        raise ValidityError("no relation of pinning force holds for the grain size of any sample")
    peaks = comparable_forces(*(forces[k] for k in usable), common=samples[0].common)
    currents = np.full((len(samples), samples[0].common.n), np.nan)
    for k, peak in zip(usable, peaks, strict=True):
        currents[k] = LayerState(samples[k], conditions, peak).current(field)
    known = np.mean(np.isfinite(currents), axis=1)
    if reference:
        against = currents[names.index(reference)]
    else:
        against = np.mean(currents[known >= max(0.5 * float(np.max(known)), 1e-9)], axis=0)
    compared = np.isfinite(against)
    if not np.any(compared):
        raise ValidityError("the samples do not compare: hardly any draw has all inside the validity of one relation")
    if np.mean(against[compared] > 0.0) < SURE:
        who = f"'{reference}'" if reference else "every sample"
        state = conditions.words(designs=[sample.design for sample in samples])
        raise ValidityError(
            f"at {field:g} T, {state}, {who} may be normal: currents do not compare there"
        )
    ratios = np.full(currents.shape, np.nan)
    carries = compared & (against > 0.0)
    ratios[:, carries] = currents[:, carries] / against[carries]
    return ratios
