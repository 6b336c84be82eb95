"""Does the description still say what the results were made from?

A command that only looks at results can work on after the description was changed; one that mixes both would show old
fits under new treatments.
"""

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import xarray as xr

from xrdorder.description.study import Study
from xrdorder.results.described_columns import TOLD, told_variables
from xrdorder.results.sample_file import StoredSample

COLUMNS = (
    "lot", "treatment", "mount", "calibration_name", "filament", "barrier", "peak_c", "highest_c", "hold_at_peak_h",
    "total_h", "dose_h", "position", "date",
)  # fmt: skip
"""Variables of the results that repeat the description, in the order in which a change of them is told."""


def difference_words(study: Study, results: xr.Dataset) -> str:
    """Say in one line where a description differs from what its results were made from; empty where nowhere.

    Samples that are described and have no result yet are no difference.
    """
    if TOLD not in results:  # not collated from a description
        return ""
    found = [f"{name}: {words}" for name, words in _differences(study, results)]
    if not found:
        return ""
    more = f", and {len(found) - 1} more" if len(found) > 1 else ""
    return f"study.toml says otherwise than the results of {found[0]}{more}; run the study again"


def _differences(study: Study, results: xr.Dataset) -> Iterator[tuple[str, str]]:
    described = {sample.name: sample for sample in study.samples}
    names = [str(name) for name in results["sample"].values]
    both = [name for name in names if name in described]
    now = told_variables(study, [StoredSample(name, "") for name in both])
    rows = results.isel(sample=[names.index(name) for name in both])
    for k, name in enumerate(both):
        for column in COLUMNS:  # some are there only where a sample tells them
            new = _words(now[column][1][k] if column in now else "")
            old = _words(rows[column].values[k] if column in rows else "")
            if new != old:
                yield name, f"{column.replace('_', ' ')} is {new}, there {old}"
                break
        else:
            for key, new, old in _told_otherwise(str(now[TOLD][1][k]), str(rows[TOLD].values[k])):
                yield name, f"{key} is {new}, there {old}"
                break
    yield from ((name, "it is no longer described") for name in names if name not in described)


def _told_otherwise(now: str, then: str) -> Iterator[tuple[str, str, str]]:
    """Keys that were told otherwise when the results were made, with both values."""
    new, old = _flat(json.loads(now)), _flat(json.loads(then))
    for key in [*new, *(key for key in old if key not in new)]:
        if new.get(key) != old.get(key):
            first, second = ("" if value is None else json.dumps(value) for value in (new.get(key), old.get(key)))
            yield key, _words(first), _words(second)


def _flat(table: dict[str, Any], before: str = "") -> dict[str, Any]:
    """Values by their keys, those of lot and fit with a point, as they stand in the file."""
    found: dict[str, Any] = {}
    for key, value in table.items():
        found |= _flat(value, f"{key}.") if not before and isinstance(value, dict) else {f"{before}{key}": value}
    return found


def _words(value: object) -> str:
    """A value as it is told.

    >>> _words("650 °C/100 h"), _words(float("nan")), _words(640.0)
    ('650 °C/100 h', 'not told', '640')
    """
    if isinstance(value, float | np.floating):
        return f"{value:.9g}" if np.isfinite(value) else "not told"
    return str(value) or "not told"
