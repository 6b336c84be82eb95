"""Effects that the residual indicates and the fit does not include: reported, not fitted.

These effects are nearly the same as others that are fitted (displacement parameters, displacement, scale), so fitting
them unasked would cost more than it brings. Where they are there, though, the counts tell, and so must the result.
The score test comes first, at no cost. A parameter it points to is fitted before a value is reported: along a direction
that others nearly share a linear step is long, and its uncertainty is that of counting and of lines that scatter.
"""

from collections.abc import Iterator
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from xrdorder.exceptions import Flag
from xrdorder.fitting.line_scatter import LineScatter
from xrdorder.fitting.procedure import Procedure
from xrdorder.forward_model.geometry import Geometry
from xrdorder.least_squares.score_test import ScoreTest
from xrdorder.profiles import Instrument
from xrdorder.quantities.formatting import with_sign

Array = NDArray[np.float64]

_CHANCE = 1e-4  # of each diagnostic where there is nothing
_FULL_BEAM_TWO_THETA = 45.0  # below it the trial beam is longer than the specimen; between (211) and (220) of the A15
_TRIAL_DIVERGENCE_DEG = 1.0
_SMALL_LOSS = 0.02  # of the trial: one per cent of the order
# A beam longer than the specimen up to 180 degrees instead of 45 takes 0.79 of the light at (110) and copper radiation
# instead of 0.46, and less at higher angles in proportion.
_LARGEST_LOSS = 2.0
_CHECK = "check slit and specimen length"
_CALIBRATED = 4.0  # standard uncertainties of its calibration that an offset must have moved


class _Direction(NamedTuple):
    """A direction in which the counts may deviate, and what it would mean.

    A step below `least` is not reported; one beyond `most` has another cause, named by `beyond`. A direction that is
    a parameter of the fit is named, and fitted. A step the other way is told by `backward`, where it has a text of its
    own. `percent` is what a step of one changes, in per cent; `form` how a step is written.
    """

    name: str
    text: str
    columns: Array
    parameter: str = ""
    least: float = 0.0
    most: float = np.inf
    beyond: str = ""
    backward: str = ""
    percent: float = 0.0
    form: str = "g"

    def said(self, step: float) -> str:
        """What a step means."""
        if step > self.most:
            return self.beyond
        text = self.backward if step < 0.0 and self.backward else self.text
        return text.format(step=with_sign(step, self.form), percent=abs(step) * self.percent)


def diagnostics(job: Procedure, instrument: Instrument, scatter: LineScatter) -> list[Flag]:
    """Flags of effects that the residual asks for.

    Parameters
    ----------
    job
        At its minimum.
    instrument
        Whose offset was held.
    scatter
        Of the lines about the fit.
    """
    if job.main not in job.present():
        return []
    score_test = ScoreTest(job.fit, job.enlargement())
    limit = float(chdtri(1, _CHANCE))
    flags = []
    directions = chain(
        _lattice(job, score_test), _angles(job, score_test, instrument), _illumination(job, score_test)
    )
    for direction in directions:
        if not np.any(direction.columns):
            continue
        drop, (step, *_) = score_test.drop(direction.columns)
        if drop <= limit:
            continue
        if direction.parameter:
            step, u = _fitted(job, scatter, direction.parameter)
            if step**2 <= limit * u**2:
                continue
        if abs(step) > direction.least:
            flags.append(Flag(direction.name, direction.said(float(step))))
    return flags


def _fitted(job: Procedure, scatter: LineScatter, name: str) -> tuple[float, float]:
    """Change of a held parameter in a fit that frees it, and its standard uncertainty; the fit is put back."""
    held = job.fit.values()[name]
    values, solution, _ = job.fit.trial([*job.decidable(), name])
    if name not in solution.free:  # at its bound, as far as it goes
        return values[name] - held, 0.0
    counting = solution.u(name) * job.enlargement()
    (by_lines,) = scatter.uncertainty([name], also_free=[name])
    return values[name] - held, float(np.hypot(counting, by_lines))


def _lattice(job: Procedure, score_test: ScoreTest) -> Iterator[_Direction]:
    main = job.main
    shift, slope = main.elastic_name, main.depth_name
    if shift and shift not in job.taken:
        yield _Direction(
            "lines-shifted-by-strain",
            "lines of the A15 are shifted against each other as by elastic strain ((h00) by {step}): strained "
            "grains in a composite? Ask for elastic shifts, or free the grains from it",
            score_test.derivatives([shift]),
            shift,
            form=".1e",
        )
    if slope and slope not in job.taken and main.tail_name not in job.taken and job.second_population() is None:
        yield _Direction(
            "lattice-changes-with-depth",
            "the lattice of the A15 seems to change with depth ({step} nm for each nm): a layer seen from one "
            "side? Ask for a depth gradient, or grind the specimen",
            score_test.derivatives([slope]),
            slope,
            form=".1e",
        )


def _angles(job: Procedure, score_test: ScoreTest, instrument: Instrument) -> Iterator[_Direction]:
    offset = "two_theta_offset"
    if offset not in job.decidable():
        u = instrument.total(offset)
        if u > 0.0:
            yield _Direction(
                "goniometer-moved",
                "the zero of the goniometer seems to be {step} degrees from that of the calibration: calibrate "
                "again, or mix a standard into the specimen",
                score_test.derivatives([offset]),
                offset,
                form=".4f",
                least=_CALIBRATED * u,
            )


def _illumination(job: Procedure, score_test: ScoreTest) -> Iterator[_Direction]:
    """More or less of the beam on the specimen below some angle than slit and length say."""
    geometry = job.optics.geometry
    if geometry.kind != "reflection":
        return
    full = np.radians(_FULL_BEAM_TWO_THETA / 2.0)
    foot = geometry.detector_distance_mm * np.radians(_TRIAL_DIVERGENCE_DEG) / np.sin(full)
    trial = Geometry(geometry.detector_distance_mm, _TRIAL_DIVERGENCE_DEG, foot)
    lost = 1.0 - trial.lit_fraction(np.radians(0.5 * job.two_theta))
    values = job.fit.values()
    net = job.fit.counts() - job.model.background(values)
    weakened = float(np.sum(net * lost)) / max(float(np.sum(net[lost > 0.0])), 1.0)
    lines = f"lines below {_FULL_BEAM_TWO_THETA:.0f} degrees are {{percent:.2g}} %"
    ordered = job.main.contrast_name is not None
    yield _Direction(
        "intensities-at-low-angle",
        f"{lines} weaker than the others let expect: {_CHECK}" + ("; the order reads too low" if ordered else ""),
        score_test.weighted(-net * lost),
        least=_SMALL_LOSS,
        most=_LARGEST_LOSS,
        beyond="lines at low angle are weaker than the others let expect, by more than slit and specimen length can "
        "explain: are strong lines cut off by the detector?" + (" The order is wrong" if ordered else ""),
        backward=f"{lines} stronger than the others let expect: {_CHECK}"
        + ("; the order reads too high" if ordered else ""),
        percent=100.0 * weakened,
    )
