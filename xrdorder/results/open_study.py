"""What was found, opened once: collated results, samples and what they were made from."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

import xarray as xr

from xrdorder.description.own_files import OwnFiles
from xrdorder.description.study import Study, read_study
from xrdorder.display import Displayed
from xrdorder.exceptions import StudyError
from xrdorder.relations import Library
from xrdorder.results.as_run import difference_words
from xrdorder.results.collate import read_results
from xrdorder.results.collated import with_collated
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
class OpenStudy(Displayed):
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
