"""Does the description still say what the results were made from?

A command that only looks at results can work on after the description was changed; one that mixes both would show old
fits under new treatments.
"""

import json
from collections.abc import Iterator
from typing import Any

import xarray as xr

from xrdorder.description.study import Study
from xrdorder.quantities.registry import known
from xrdorder.results.collated import told_text
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
    words_by_name = [f"{name}: {words}" for name, words in _differences(study, results)]
    if not words_by_name:
        return ""
    more = f", and {len(words_by_name) - 1} more" if len(words_by_name) > 1 else ""
    return f"study.toml says otherwise than the results of {words_by_name[0]}{more}; run the study again"


def _differences(study: Study, results: xr.Dataset) -> Iterator[tuple[str, str]]:
    described = {sample.name: sample for sample in study.samples}
    names = [str(name) for name in results["sample"].values]
    both = [name for name in names if name in described]
    now = told_variables(study, [StoredSample(name, "") for name in both])
    rows = results.isel(sample=[names.index(name) for name in both])
    for k, name in enumerate(both):
        for column in COLUMNS:  # some are there only where a sample tells them
            _, values, attrs = now.get(column, ("", ["" for _ in both], {}))
            here = values[k], attrs
            there = (rows[column].values[k], rows[column].attrs) if column in rows else ("", {})
            exact = [told_text(column, *side, exactly=True) for side in (here, there)]
            if exact[0] != exact[1]:
                said = [told_text(column, *side) for side in (here, there)]
                new, old = map(_words, exact if said[0] == said[1] else said)
                yield name, f"{_noun(column)} is {new}, there {old}"
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
    flat: dict[str, Any] = {}
    for key, value in table.items():
        flat |= _flat(value, f"{key}.") if not before and isinstance(value, dict) else {f"{before}{key}": value}
    return flat


def _noun(column: str) -> str:
    """What a column holds, as sentences call it.

    >>> _noun("total_h"), _noun("calibration_name"), _noun("mount")
    ('length of the treatment', 'calibration', 'mount')
    """
    quantity = known(column)
    return quantity.noun if quantity else column.removesuffix("_name")


def _words(text: str) -> str:
    return text or "not told"
