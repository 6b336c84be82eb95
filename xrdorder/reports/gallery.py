"""All figures of a report, in the order in which they are read."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from xrdorder.reports import of_estimates, of_patterns, of_variants
from xrdorder.reports.pictures import Picture, Scene

MAKERS = (*of_variants.MAKERS, *of_patterns.MAKERS, *of_estimates.MAKERS)
NAMES = tuple(one.name for one in MAKERS)


def study_pictures(scene: Scene, only: Collection[str] = ()) -> Iterator[Picture]:
    """Give the figures that a study has data for; of those asked for, where some are."""
    for one in MAKERS:
        if not only or one.name in only:
            picture = one.make(scene)
            if picture is not None:
                yield picture
