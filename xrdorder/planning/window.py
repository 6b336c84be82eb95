"""Where may the next treatment lie? Candidates, the makers' window, what was reacted, the furnace, the copper.

Each limit is a mask over the candidates with a name of its own, so that a proposal can say what limits it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import StudyError
from xrdorder.kinetics import Courses, Route
from xrdorder.treatments import History, Schedule, Step
from xrdorder.treatments.history import ZERO_CELSIUS_K
from xrdorder.treatments.schedule import written_out

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BEYOND_K, BEYOND_FACTOR = 25.0, 2.1
"""How far beyond what was reacted a treatment may be proposed once wires differ: K, and a factor of hours (judged; in
simulated campaigns farther steps find the optimum no sooner)."""

FURNACE_C = (560.0, 760.0)
"""Temperatures that are looked at where the furnace has no limits: below 540 °C no A15 forms (arXiv:1801.02195)."""

HOURS = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 100.0, 120.0, 150.0, 200.0, 250.0, 300.0,
         400.0, 500.0)  # fmt: skip
"""Round hours that people set."""

LEAST_RRR = 100.0
"""Copper below this protects a conductor badly (common practice, no source); nothing below is proposed unasked."""

MOST_CANDIDATES = 2500
USUAL_RAMP = 50.0
"""K/h, where no treatment tells its ramp (common practice, no source)."""


@dataclass(frozen=True)
class HoldBound:
    """No longer than so many hours at or above a temperature (copper takes up tin through the barrier).

    >>> bound = HoldBound(680, 50)
    >>> [bound.keeps(Schedule((Step(*hold),))) for hold in ((675, 100), (700, 60))]
    [True, False]
    """

    temperature_c: float
    hours: float

    def keeps(self, history: History) -> bool:
        """Whether a treatment keeps it; ramps above the temperature count."""
        return history.time_above_h(self.temperature_c) <= self.hours

    @property
    def words(self) -> str:
        """The bound in a few words."""
        return f"{self.hours:g} h at or above {self.temperature_c:g} °C"


@dataclass(frozen=True)
class Limits:
    """What the furnace and the wire allow; None where nothing is told.

    Attributes
    ----------
    least_c, most_c, least_hours, most_hours : float, optional
        Of the last hold.
    ramp_k_per_h : float, optional
        Of the ramp to it; as with most treatments reacted unless given.
    total_h : float
        Longest treatment, ramps and earlier holds included.
    step_c : float
        Temperatures are proposed in steps of this.
    holds : tuple of HoldBound
    rrr_above : float, optional
        Least RRR of the copper; `LEAST_RRR` unless given.
    niobium_below : float, optional
        Largest share of the niobium that may be left unreacted, beside what cannot react.

    Raises
    ------
    StudyError
        Limits that contradict each other, or that no furnace has.
    """

    least_c: float | None = None
    most_c: float | None = None
    least_hours: float | None = None
    most_hours: float | None = None
    ramp_k_per_h: float | None = None
    total_h: float = np.inf
    step_c: float = 5.0
    holds: tuple[HoldBound, ...] = ()
    rrr_above: float | None = None
    niobium_below: float | None = None

    def __post_init__(self) -> None:
        for what, unit, low, high in (
            ("temperatures", "°C", self.least_c, self.most_c), ("hours", "h", self.least_hours, self.most_hours)
        ):  # fmt: skip
            if low is not None and high is not None and low > high:
                raise StudyError(
                    f"furnace: {what} from {low:g} up to {high:g} {unit} are no range; give the lower limit first"
                )
        if not 0.0 < self.step_c < np.inf:
            raise StudyError(f"furnace: steps of {self.step_c:g} K lead nowhere; give K above zero")
        if not self.total_h > 0.0:
            raise StudyError(f"furnace: {self.total_h:g} h in all leave no time; give hours above zero")

    def require_reacted(self, reacted: Sequence[History]) -> None:
        """Refuse a furnace that could have run none of the treatments reacted: nothing could be told of it.

        Raises
        ------
        StudyError
            Its range excludes all of them.
        """
        for what, unit, low, high, known in (
            ("temperatures", "°C", self.least_c, self.most_c, [history.peak_c for history in reacted]),
            ("holds", "h", self.least_hours, self.most_hours, [history.hold_at_peak_h for history in reacted]),
        ):
            least, most = min(known), max(known)
            told = " to ".join(f"{x:g}" for x in (low, high) if x is not None)
            if (low is not None and low > most) or (high is not None and high < least):
                side = "from" if high is None else "up to" if low is None else "of"
                raise StudyError(
                    f"furnace: {what} {side} {told} {unit} exclude every wire reacted ({least:g} to {most:g} {unit}); "
                    "widen the limits, or react a wire inside them first"
                )


def earlier_steps(treatments: Sequence[History]) -> tuple[tuple[Step, ...], bool]:
    """Holds that most treatments have before the hottest, and whether all have the same."""
    known = [steps for steps in map(_before, treatments) if steps is not None]
    if not known:
        return (), True
    usual = max(dict.fromkeys(known), key=known.count)
    return usual, all(_before(treatment) == usual for treatment in treatments)


def _before(history: History) -> tuple[Step, ...] | None:
    """Holds before the hottest; None of a log, and where the hottest is held several times."""
    if not isinstance(history, Schedule):
        return None
    steps = tuple(written_out(history.steps))
    hottest = [k for k, step in enumerate(steps) if step.hold_c == history.peak_c]
    return steps[: hottest[0]] if len(hottest) == 1 else None


def _usual_ramp(treatments: Sequence[History]) -> float:
    ramps = [treatment.ramp_to_peak_k_per_h for treatment in treatments if isinstance(treatment, Schedule)]
    known = [ramp for ramp in ramps if np.isfinite(ramp)]
    return float(np.median(known)) if known else USUAL_RAMP


@dataclass(frozen=True, eq=False)
class Candidates:
    """Treatments that may be proposed.

    Attributes
    ----------
    schedules : tuple of Schedule
    temperature_c, hours : array, (n,)
        Of their last hold.
    courses : Courses
    """

    schedules: tuple[History, ...]
    temperature_c: Array
    hours: Array
    courses: Courses

    @classmethod
    def of(cls, limits: Limits, reacted: Sequence[History]) -> Candidates:
        """A grid of round numbers inside the furnace.

        Parameters
        ----------
        limits : Limits
        reacted : sequence of History
            They say what comes before the last hold, and how it is reached.

        Raises
        ------
        StudyError
            No treatment fits into the hours, or the steps make too many.
        """
        before, _ = earlier_steps(reacted)
        ramp = limits.ramp_k_per_h or _usual_ramp(reacted)
        low, high = (
            given if given is not None else bound
            for given, bound in zip((limits.least_c, limits.most_c), FURNACE_C, strict=True)
        )
        step = limits.step_c
        temperatures = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step
        temperatures = np.unique([*temperatures, *(x for x in (limits.least_c, limits.most_c) if x is not None)])
        short, long = limits.least_hours or 0.0, limits.most_hours or np.inf
        hours = np.unique([h for h in (*HOURS, short, min(long, 1e4)) if max(short, 0.5) <= h <= long and h < 1e4])
        if temperatures.size * hours.size > MOST_CANDIDATES:
            raise StudyError(
                f"furnace: steps of {step:g} K make {temperatures.size * hours.size} treatments to choose from; take "
                f"larger steps (at most {MOST_CANDIDATES} are compared)"
            )
        places = [(t, h, Schedule((*before, Step(float(t), float(h), ramp)))) for t in temperatures for h in hours]
        fitting = [place for place in places if place[2].total_h <= limits.total_h * (1.0 + 1e-9)]
        if not fitting:
            raise StudyError(
                f"furnace: no treatment fits into {limits.total_h:g} h with its ramps and earlier holds; give more "
                "hours in all, or a quicker ramp"
            )
        schedules = tuple(history for *_, history in fitting)
        at = np.array([(t, h) for t, h, _ in fitting])
        return cls(schedules, at[:, 0], at[:, 1], Courses(schedules))

    def select(self, which: Mask) -> Candidates:
        """Only these."""
        courses = self.courses.select(which)
        return Candidates(courses.treatments, self.temperature_c[which], self.hours[which], courses)


def inside_usual(route: Route, temperature_c: Array, hours: Array) -> Mask:
    """Which treatments lie inside the makers' window, its edge excluded."""
    return usual_distance(route, temperature_c, hours, largest=True) < 1.0 - 1e-9


def usual_distance(route: Route, temperature_c: Array, hours: Array, *, largest: bool = False) -> Array:
    """How far treatments lie from the middle of the makers' window, in its half widths.

    The length of the vector, or the larger of the two parts.
    """
    at = route.usual
    of_hours = np.log(hours / at.hours) / np.log(at.factor)
    parts = np.abs([(temperature_c - at.temperature_c) / at.u_temperature_k, of_hours])
    return np.asarray(parts.max(axis=0) if largest else np.hypot(*parts))


def near_reacted(places: Array, temperature_c: Array, hours: Array) -> Mask:
    """Which treatments lie no farther beyond those reacted than one step goes.

    Parameters
    ----------
    places : array, (m, 2 or more)
        Temperature in K and logarithm of hours of treatments reacted (`Courses.points`).
    temperature_c, hours : array, (n,)
    """
    kelvin, logs = temperature_c + ZERO_CELSIUS_K, np.log(hours)
    (cold, short), (hot, long) = places[:, :2].min(axis=0), places[:, :2].max(axis=0)
    factor = np.log(BEYOND_FACTOR)
    warm = (kelvin >= cold - BEYOND_K) & (kelvin <= hot + BEYOND_K)
    return np.asarray(warm & (logs >= short - factor) & (logs <= long + factor))
