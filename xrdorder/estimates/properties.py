"""Tc and Bc2 of wires from their tin and from how their lot lies about the published relations.

Tc follows the saturating step at tin plus an offset of the lot: 21 of 21 published samples below 24.2 at.% have more
Tc than the step at the tin that was measured. Leaving laboratories out, a prototype found the step with an offset off
by 0.40 K (root mean square), a cubic by 0.55, the straight line by 0.61; each without offset by 1.7 to 2.0. So
the step stands alone here.

Bc2(0) is Tc times a ratio of the lot. That it may change with Tc in a lot is part of the doubt: alloys that gained
0.6 K of Tc lost 0.45 T, where one ratio would have them gain 1 T.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.relations import tc_from_tin
from xrdorder.uncertainty import Array

if TYPE_CHECKING:
    from xrdorder.estimates.unknowns import Relations

_LEAST_TC_K = 1.0


@cache
def _step() -> tuple[float, float, float]:
    """Lower and upper end of the step, K, and its width, tin fraction, read off the published entry."""
    step = tc_from_tin.BOLTZMANN
    low, high = (float(step.function(np.array(far))) for far in (-1.0, 1.0))
    at = low + (high - low) / (1.0 + np.exp([0.0, -1.0]))
    middle, upper = (float(step.inverse(np.array(tc))) for tc in at) if step.inverse else (np.nan, np.nan)
    return low, high, upper - middle


def critical_temperature(tin: Array, tin_offset: Array, tc_offset: Array) -> tuple[Array, Array]:
    """Tc, K, of wires without their own scatter, and its derivative by tin (at.%)."""
    low, high, width = _step()
    value = tc_from_tin.BOLTZMANN.function(0.01 * (tin + tin_offset))
    share = (value - low) / (high - low)
    slope = 0.01 * (high - low) * share * (1.0 - share) / width
    return np.maximum(value + tc_offset, _LEAST_TC_K), slope


def field_ratio(hyper: Hyperparameters, relations: Relations, tc: Array) -> Array:
    """Bc2(0) over Tc, T/K, without the scatter of wires; `relations` spread out to the wires of `tc`."""
    reach = hyper["ratio_by_tc_range_k"]
    return np.asarray(relations.ratio + relations.ratio_by_tc * reach * np.tanh((tc - relations.level_tc) / reach))
