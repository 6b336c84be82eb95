"""Names of the columns of `results.csv`.

The same columns stand, as variables over the dimension `sample`, in `results.nc`. Every number in them is a view of the
tables beside them in `results.nc`: a value is ``value`` of its quantity, a standard uncertainty the root of the summed
squares of ``contribution``, and what is estimated of all samples together (tin, Tc, Bc2, slope, resistivity) is taken
from ``estimate_draws``, each times the scale of its column (`xrdorder.quantities.registry.columns`).
"""

from collections.abc import Sequence

from xrdorder.quantities.registry import columns

TOLD: dict[str, str] = {
    "lot": "lot",
    "treatment": "treatment",
    "peak_c": "peak_c",
    "hold_at_peak_h": "hold_at_peak_h",
    "dose_h": "dose_h",
    "dose_low_h": "dose_low_h",
    "dose_high_h": "dose_high_h",
    "hours_above": "hours_above",
    "position_m": "position",
    "date": "date",
    "own": "own",
}
"""Columns that repeat what the description tells, and their variables in `results.nc`."""

OF_THE_FIT = ("quality", "information_missing")
"""Grade of the fit in words, and what nobody told: the last columns."""


def column_names(phases: Sequence[str]) -> list[str]:
    """Names of all columns of `results.csv` for a study of these phases, in order.

    >>> column_names(["nb3sn"])[:4], column_names(["nb3sn"])[-3:]
    (['sample', 'status', 'a_nm', 'u_a_nm'], ['weight_fraction_limit_nb3sn', 'quality', 'information_missing'])
    """
    names = ["sample", "status", *(column.name for column in columns()), "flags"]
    for phase in phases:
        names += [f"weight_fraction_{phase}", f"u_weight_fraction_{phase}"]
    return [*names, *TOLD, *(f"weight_fraction_limit_{phase}" for phase in phases), *OF_THE_FIT]
