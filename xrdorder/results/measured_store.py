"""Measured values in `results.nc`: one entry a value over the dimension ``measurement``, beside the estimates."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from xrdorder.description.sample import Sample
from xrdorder.results.conventions import udunits, units_beside

_VALUE = "value measured by the laboratory"


def measured_variables(samples: Sequence[Sample]) -> dict[str, tuple[str, NDArray[np.generic], dict[str, str]]]:
    """Give the measured values of all samples as variables of the collated dataset.

    Returns
    -------
    dict
        Dimension, numbers or texts, attributes; all empty where nothing was measured.
    """
    rows = [(sample.name, one) for sample in samples for one in sample.measured]
    texts = {
        "measured_sample": ("sample on which it was measured", [name for name, _ in rows]),
        "measured_quantity": (
            "what the laboratory measured; its unit stands in its name",
            [one.quantity for _, one in rows],
        ),
        "measured_criterion": (
            "how it was read off a transition; empty where that was not said",
            [one.criterion for _, one in rows],
        ),
        "measured_remark": ("how it was measured, in the words of the description", [one.remark for _, one in rows]),
    }
    numbers: dict[str, tuple[str, str, list[float | None]]] = {
        "measured_value": ("", _VALUE, [one.value for _, one in rows]),
        "u_measured_value": ("", f"standard uncertainty (k = 1) of: {_VALUE}", [one.u for _, one in rows]),
        "measured_temperature_k": ("K", "temperature of the measurement", [one.temperature_k for _, one in rows]),
        "measured_field_t": ("T", "field of the measurement", [one.field_t for _, one in rows]),
    }
    found: dict[str, tuple[str, NDArray[np.generic], dict[str, str]]] = {}
    for name, (meaning, words) in texts.items():
        found[name] = ("measurement", np.array(words, dtype=object), {"long_name": meaning})
    for name, (units, meaning, values) in numbers.items():
        array = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
        found[name] = ("measurement", array, {"long_name": meaning, **({"units": udunits(units)} if units else {})})
    found["measured_units"] = ("measurement", *units_beside([one.unit for _, one in rows], "measured_value and its u"))
    return found
