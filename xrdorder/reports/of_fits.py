"""Figures of single fits: the pattern of a sample and what explains it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from xrdorder.exceptions import StudyError
from xrdorder.figures import fit_figure
from xrdorder.figures.fit import SMOOTHING_DEG
from xrdorder.reports.pictures import Missing, Picture, Scene, drawn
from xrdorder.results.sample_file import FAILED, StoredSample
from xrdorder.results.study_table import in_short

NAME, ALONE = "fit", "pattern"
"""With its close-ups, and without."""


def fit_pictures(scene: Scene, *, alone: bool = False) -> Iterator[Picture | Missing]:
    """Draw the fits of the chosen samples, with close-ups or alone; one of the variant ahead unless some are chosen.

    Raises
    ------
    StudyError
        No pattern of a sample was fitted.
    """
    for name in scene.chosen or _first(scene):
        sample = _sample(scene, name)
        picture = drawn(f"{ALONE if alone else NAME}-{name}", partial(_picture, scene, sample, alone=alone))
        if picture is not None:
            yield picture


def _first(scene: Scene) -> list[str]:
    if ahead := scene.look.ahead_and_reference:
        return ahead[:1]
    results = scene.opened.results
    states = zip(results["sample"].values, results["status"].values, strict=True)
    return [str(name) for name, status in states if not str(status).startswith(FAILED)][:1]


def _sample(scene: Scene, name: str) -> StoredSample:
    sample = scene.samples(name)
    if "curves" not in sample.groups:
        raise StudyError(f"no pattern of sample '{name}' was fitted, so there is no fit to draw")
    return sample


def _picture(scene: Scene, sample: StoredSample, *, alone: bool) -> Picture:
    name, row = sample.name, scene.opened.results.sel(sample=sample.name)
    told = [str(row[key].item()) for key in ("lot", "treatment", "mount")]
    radiation = sample.provenance.options.get("radiation", "")
    about = " · ".join(filter(None, (*told, str(radiation or ""))))
    close, last = "", ""
    if not alone:
        close = ", and close-ups"
        last = (
            "; last, with their residuals, the lines that carry the order and the overlap region of A15, niobium and "
            "bronze"
        )
    quality = f"R_wp {100.0 * sample.r_wp:.1f} %, reduced χ² {sample.chi2_reduced:.2f}"
    return Picture(
        f"{ALONE if alone else NAME}-{name}",
        fit_figure(
            sample.curves, sample.lines, sample.groups.get("phases"),
            title=f"Pattern and fit: {name}", remark=" · ".join(filter(None, (about, quality))),
            results=in_short(row), close_ups=() if alone else None, size=scene.size,
        ),
        f"Counts of sample {name} over the angle 2θ with the fitted pattern, the residual below{close}",
        f"Pattern of sample {name} ({about}): counts as points over background and phases, which make the calculated "
        "pattern, by the square root; above, a mark for each line, its height by the root of its area; below, the "
        f"residual in standard uncertainties (filled: each point; line: mean over {SMOOTHING_DEG:g}°){last}. "
        f"{quality}. Data: {name}.nc of '{scene.title}'.",
    )  # fmt: skip
