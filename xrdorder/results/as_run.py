"""Does the description still say what the results were made from?

A command that only looks at results can work on after the description was changed; one that mixes both would show old
fits under new treatments.
"""

import hashlib
import json
from collections.abc import Iterator

import numpy as np
import xarray as xr

from xrdorder.description.sample import Sample
from xrdorder.description.study import Study
from xrdorder.results.described_columns import told_variables
from xrdorder.results.sample_file import StoredSample

REST = "described"
"""Variable of the results that stands for what was told and is in no column of its own."""

COLUMNS = (
    "lot", "treatment", "mount", "calibration_name", "filament", "barrier", "peak_c", "highest_c", "hold_at_peak_h",
    "total_h", "dose_h", "position", "date",
)  # fmt: skip
"""Variables of the results that repeat the description, in the order in which a change of them is told."""

# where the files are, what stands in `COLUMNS`, and what no result follows from
_LEFT_OUT: dict[str, bool | set[str]] = {
    "name": True, "pattern": True, "treatment": True, "position_m": True, "date": True, "mount": True,
    "calibration": True, "measured": True,
    "lot": {"design", "route", "a15_area_fraction", "u_a15_area_fraction"},
}  # fmt: skip


def rest_of(sample: Sample) -> str:
    """SHA-256 of what is told of a sample beside its treatment: dopants, strain, choices of the fit and the like."""
    told = sample.model_dump(exclude=_LEFT_OUT)
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()


def difference_words(study: Study, results: xr.Dataset) -> str:
    """Say in one line where a description differs from what its results were made from; empty where nowhere.

    Samples that are described and have no result yet are no difference.
    """
    if REST not in results:  # not collated from a description
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
            if str(rows[REST].values[k]) != rest_of(described[name]):
                yield name, "dopants, strain or choices of the fit"
    yield from ((name, "it is no longer described") for name in names if name not in described)


def _words(value: object) -> str:
    """A value as it is told.

    >>> _words("650 °C/100 h"), _words(float("nan")), _words(640.0)
    ('650 °C/100 h', 'not told', '640')
    """
    if isinstance(value, float | np.floating):
        return f"{value:.9g}" if np.isfinite(value) else "not told"
    return str(value) or "not told"
