"""What was found, opened once: collated results, samples and what they were made from.

A command that only looks at results can work on after the description was changed; one that mixes both would show old
fits under new treatments.
"""

import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import xarray as xr

from xrdorder.description.own_files import OwnFiles
from xrdorder.description.study import Study, read_study
from xrdorder.display import Displayed
from xrdorder.exceptions import StudyError
from xrdorder.quantities.registry import known
from xrdorder.relations import Library
from xrdorder.results.collate import read_results
from xrdorder.results.collated import told_text, with_collated
from xrdorder.results.described_columns import TOLD, told_variables
from xrdorder.results.sample_file import (
    FAILED,
    GROUPS,
    Provenance,
    StoredSample,
    failure,
    read_sample,
)

RESULTS = "results"
SAMPLES = "samples"


def sample_file(folder: Path, name: str) -> Path:
    """Path of the result of a sample in the folder of sample results."""
    return folder / f"{name}.nc"


@dataclass(frozen=True)
class OpenStudy(Displayed, view="study"):
    """A study that has been run: its description and its results.

    Attributes
    ----------
    study : Study
        The description.
    results : Dataset
        The collated results.
    """

    study: Study
    results: xr.Dataset

    @property
    def difference(self) -> str:
        """Where the description differs from what the results were made from, in one line; empty where nowhere."""
        return difference_words(self.study, self.results)

    def require_as_run(self) -> None:
        """Refuse to show results under a description that they were not made from.

        Raises
        ------
        StudyError
            The description was changed since.
        """
        if words := self.difference:
            raise StudyError(words)

    def library(self) -> Library:
        """Published relations, and those of the laboratory where the study names a file of them.

        Raises
        ------
        ValidityError
            The file holds none, or a name that is taken.
        """
        return OwnFiles.of(self.study).library()

    def sample(self, name: str, groups: Collection[str] = GROUPS) -> StoredSample:
        """Read what is stored of one sample, fitted curves included.

        Parameters
        ----------
        name : str
        groups : collection of str
            As of `xrdorder.results.sample_file.read_sample`; all unless given.

        Raises
        ------
        StudyError
            The study has no such sample, or it has not been run.
        """
        described = self.study.sample(name)
        if name not in self.results["sample"].values:
            raise StudyError(f"sample '{name}': has no result yet; run the study")
        status = str(self.results["status"].sel(sample=name).item())
        file = sample_file(self.study.folder / RESULTS / SAMPLES, described.name)
        if status.startswith(FAILED) and not file.exists():
            return failure(name, status.removeprefix(FAILED), Provenance())
        return replace(with_collated(read_sample(file, groups=groups), self.results), status=status)


def open_study(folder: str | Path) -> OpenStudy:
    """Open a study that has been run, to look at its results.

    Raises
    ------
    StudyError
        The description is wrong, or there are no results yet.
    """
    study = read_study(folder)
    return OpenStudy(study, read_results(study.folder / RESULTS))


_COMPARED = (
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
        for column in _COMPARED:  # some are there only where a sample tells them
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
