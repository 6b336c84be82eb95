"""Files of a laboratory: its own scale of tin, its own relations."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from xrdorder.description.study import Study
from xrdorder.exceptions import StudyError
from xrdorder.files.atomic import file_hash
from xrdorder.material import PUBLISHED_SCALE, TinScale, read_tin_scale
from xrdorder.relations import PUBLISHED, Library, read_relations


@dataclass(frozen=True)
class OwnFiles:
    """Files in which a laboratory keeps its own scale of tin and its own relations; None takes what is published.

    Paths are kept, not what they hold: relations hold functions, which do not travel between processes.
    """

    tin_scale: Path | None = None
    relations: Path | None = None

    @classmethod
    def of(cls, study: Study) -> OwnFiles:
        """Those that a study names."""
        return cls(study.tin_scale, study.relations)

    def scale(self) -> TinScale:
        """Read the scale of tin.

        Raises
        ------
        ValidityError
            The file is none.
        """
        return PUBLISHED_SCALE if self.tin_scale is None else read_tin_scale(self.tin_scale)

    def library(self) -> Library:
        """Read the relations: the published ones, and those of the laboratory.

        Raises
        ------
        ValidityError
            The file holds none, or a name that is taken.
        """
        return PUBLISHED if self.relations is None else PUBLISHED.with_entries(read_relations(self.relations))

    def names(self) -> tuple[str, ...]:
        """Names of the laboratory's own relations."""
        return () if self.relations is None else tuple(entry.name for entry in read_relations(self.relations))

    def check(self) -> None:
        """Refuse files that cannot be used before any work is done.

        Raises
        ------
        ValidityError
            What is wrong with them.
        """
        self.scale()
        self.library()

    def hashes(self) -> dict[str, str]:
        """SHA-256 of what the files hold, empty where there is none.

        Raises
        ------
        StudyError
            A file cannot be read.
        """
        digests = {}
        for key, path in vars(self).items():
            try:
                digests[key] = "" if path is None else file_hash(path)
            except OSError as error:
                raise StudyError(f"{path}: cannot be read ({error.strerror}); check {key} in study.toml") from error
        return digests
