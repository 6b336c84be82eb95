"""All figures of a report, in the order in which they are read."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from functools import partial

from xrdorder.reports import of_estimates, of_patterns, of_variants
from xrdorder.reports.pictures import Missing, Picture, Scene, drawn

MAKERS = (*of_variants.MAKERS, *of_patterns.MAKERS, *of_estimates.MAKERS)
NAMES = tuple(maker.name for maker in MAKERS)


def study_pictures(
    scene: Scene, only: Collection[str] = (), *, told: bool = False
) -> Iterator[Picture | Missing]:
    """Give the figures that a study has data for, or what is missing of them; of those asked for, where some are.

    Where the study has no data for a figure it is passed over, or said to be missing where that is to be told.
    """
    for maker in MAKERS:
        if maker.name in only if only else not maker.alone:
            picture = drawn(maker.name, partial(maker.draw if told else maker.make, scene))
            if picture is not None:
                yield picture
