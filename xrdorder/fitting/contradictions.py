"""Do the counts contradict the description of the measurement? Reported, never corrected: the file is wrong.

Programs take K-alpha2 off, draw square roots and correct angles, detectors lose counts, and a file keeps silent about
it. What a wrong description does to the pattern is asked of the residual at the minimum of the fit.
"""

from scipy.special import chdtri

from xrdorder.exceptions import Flag
from xrdorder.fitting.procedure import Procedure
from xrdorder.least_squares.score_test import ScoreTest
from xrdorder.quantities.formatting import with_sign

_CHANCE = 1e-4  # of each flag where there is nothing
ALPHA2_FAR = 0.1
"""K-alpha2 over K-alpha1 this far from that of the tube is no longer that of a tube.

Monochromators and filters change the ratio by some hundredths (judged); K-alpha2 that was removed is 0.5 off, and
roots of counts turn 0.52 into 0.72.
"""
_LEAST_LOSS = 0.01  # of the highest point: below it dead time moves no result
_LARGEST_LOSS = 0.5  # beyond it a detector is blind; the values themselves are bent
_PLACE = "specimen_displacement_mm"
_FARTHEST_MM = 0.5  # beyond any usual error of mounting; a quarter of a degree at low angle (judged)


def contradictions(job: Procedure) -> list[Flag]:
    """Flags of what the file or its description does not say.

    Parameters
    ----------
    job
        At its minimum.
    """
    if job.main not in job.present():
        return []
    score_test = ScoreTest(job.fit, job.enlargement())
    return [*_alpha2(job, score_test), *_lost_counts(job, score_test), *_place(job)]


def why_alpha2(share: float, tube: float) -> str:
    """Say what makes K-alpha2 over K-alpha1 another one than that of the tube, and what to do."""
    if share > tube:
        return (
            "strong lines are weaker than they were counted, as in roots or another compression of the counts, or by "
            "dead time of the detector; take the scan as it was counted, or measure with a weaker beam"
        )
    return (
        "it was removed by a program, or the beam is K-alpha1 alone; take the scan as it was counted, or name the "
        "radiation that it was"
    )


def _clear(drop: float) -> bool:
    return drop > float(chdtri(1, _CHANCE))


def _alpha2(job: Procedure, score_test: ScoreTest) -> list[Flag]:
    """K-alpha2 that is not as it should be: the fit would add a second population and shift the lattice for it."""
    light, name = job.optics.radiation, "alpha2_ratio"
    if not light.alpha2_ratio > 0.0 or name in job.decidable():
        return []
    drop, step = score_test.drop(score_test.derivatives([name]))
    held = job.fit.values()[name]
    if not (_clear(drop) and abs(step[0]) > ALPHA2_FAR):
        return []
    asked = max(held + float(step[0]), 0.0)
    text = (
        f"the pattern asks for K-alpha2 of {asked:.2f} of K-alpha1, the tube has {held:.2f}: "
        f"{why_alpha2(asked, held)}. Lattice, widths and populations are wrong"
    )
    return [Flag("alpha2-not-of-the-tube", text)]


def _lost_counts(job: Procedure, score_test: ScoreTest) -> list[Flag]:
    """Counts lost in proportion to their rate, as in the dead time of a detector."""
    counts = job.fit.counts()
    rate = counts / job.model.time_factor
    drop, step = score_test.drop(score_test.weighted(-counts * rate / float(rate.max())))
    if not (_clear(drop) and step[0] > _LEAST_LOSS):
        return []
    if step[0] > _LARGEST_LOSS:
        text = (
            "strong lines are weaker against weak ones than any detector makes them: are the values roots or "
            "logarithms of counts? Amounts, order and widths are wrong; take the scan as it was counted"
        )
        return [Flag("intensities-bent", text)]
    text = (
        f"the strongest lines lack {100.0 * float(step[0]):.0f} % of their counts, as by dead time of the detector: "
        "domain size and amounts are off by as much; measure with a weaker beam"
    )
    return [Flag("dead-time", text)]


def _place(job: Procedure) -> list[Flag]:
    """A specimen farther from its place than anyone mounts it: the angles themselves are off."""
    if "two_theta_offset" in job.decidable() or _PLACE not in job.model.displacement_names:
        return []
    displacement = job.fit.values()[_PLACE]
    if abs(displacement) < _FARTHEST_MM:
        return []
    text = (
        f"the specimen seems to lie {with_sign(displacement, '.2f')} mm off its place: rather the zero of the angles "
        "is off. The lattice parameter is wrong; calibrate with a scan of the same day, or mix a standard into the "
        "specimen"
    )
    return [Flag("angles-off", text)]
