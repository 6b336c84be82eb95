"""Resistance or voltage of the wire, as the log of the furnace has it: where it steps, and what the pattern shows then.

Around each entry of the log the signal is a line in time and temperature; a step is where a change of level and slope
there describes it better than chance does (F test, `ALPHA` for the whole log by Bonferroni's rule). Noise is taken to
be independent from entry to entry: what a filter of the logger has smeared over more than some entries is no step.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from xrdorder.exceptions import StudyError
from xrdorder.series.events import Onset, Period
from xrdorder.treatments.logged import headings, read_course

Array = NDArray[np.float64]

ALPHA = 0.01
"""Probability that a log without any step shows one."""

NEAR = 2.0
"""Combined standard uncertainties within which a step and an event of the pattern count as one."""

_SIDE = 20  # entries to each side of a step that is looked for
_MOST_ENTRIES = 20_000  # of more the means of neighbours are taken
_NAMES = {"r": "resistance", "resistance": "resistance", "u": "voltage", "v": "voltage", "voltage": "voltage"}
_UNITS = {"resistance": ("ohm", "Ω"), "voltage": ("v", "V")}
_PREFIXES = {"": "", "n": "n", "u": "µ", "m": "m", "k": "k"}
_PLAIN = str.maketrans({"\u03a9": "ohm", "\u2126": "ohm", "\u00b5": "u", "\u03bc": "u"})  # letters, signs of the unit
_HEADING = re.compile(r"^\s*(?:wire[_ ])?(?P<name>[a-z]+)\s*[\[(/_ ]\s*(?P<unit>[a-z]+)\s*[\])]?\s*$", re.IGNORECASE)
_LEAST_K = 0.5  # by which the temperature has to depart from a line for the signal to follow it


@dataclass(frozen=True)
class Step:
    """A step of the signal.

    Attributes
    ----------
    time_h, u_h : float
        When, and the standard uncertainty from the noise and the spacing of entries.
    temperature_c : float
    change, u_change : float
        Of the level, in the unit of the signal.
    matched : str
        What the pattern shows within `NEAR` combined uncertainties; empty where there is nothing.
    """

    time_h: float
    u_h: float
    temperature_c: float
    change: float
    u_change: float
    matched: str = ""


@dataclass(frozen=True)
class WireSignal:
    """Resistance or voltage along the run.

    Attributes
    ----------
    name, unit : str
    hours, values : array, (n,)
    steps : tuple of Step
    """

    name: str
    unit: str
    hours: Array
    values: Array
    steps: tuple[Step, ...]

    def record(self) -> dict[str, Any]:
        """Name, unit and steps, as they are stored."""
        return {"name": self.name, "unit": self.unit, "steps": [asdict(step) for step in self.steps]}


def read_signal(log: Path, column: str = "") -> WireSignal | None:
    """Read the signal of a furnace log and look for its steps; None where it has none.

    Parameters
    ----------
    log : Path
        CSV (`xrdorder.treatments.logged`).
    column : str
        Heading of its column, with the unit as in ``resistance_mohm``, ``U (µV)``; recognised unless told.

    Raises
    ------
    StudyError
        The column is not there or tells no unit; there are several; a cell is no number.
    """
    known = {heading: kind for heading in headings(log) if (kind := _kind(heading))}
    if column and column not in known:
        raise StudyError(
            f"{log}: column '{column}' is no resistance or voltage with its unit, as resistance_mohm or voltage_uv; "
            f"there are: {', '.join(headings(log))}"
        )
    chosen = [column] if column else list(known)
    if not chosen:
        return None
    if len(chosen) > 1:
        raise StudyError(f"{log}: {' and '.join(chosen)} may both be the signal of the wire; name one with --signal")
    course, measured = read_course(log, chosen)
    name, unit = known[chosen[0]]
    table = _thinned(np.column_stack([course.hours, course.temperatures_c, measured[:, 0]]))
    return WireSignal(name, unit, table[:, 0], table[:, 2], steps(*table.T))


def _kind(heading: str) -> tuple[str, str] | None:
    """Name and unit of a column; None where it is neither resistance nor voltage."""
    match = _HEADING.match(heading.translate(_PLAIN))
    name = _NAMES.get(match["name"].lower()) if match else None
    if match is None or name is None:
        return None
    word, sign = _UNITS[name]
    unit = match["unit"]
    prefix = unit[: -len(word)]
    return (name, _PREFIXES[prefix] + sign) if unit.lower().endswith(word) and prefix in _PREFIXES else None


def _thinned(table: Array) -> Array:
    """Means of neighbouring rows, so that not too many are left."""
    each = math.ceil(len(table) / _MOST_ENTRIES)
    whole = len(table) // each * each
    return np.asarray(table[:whole].reshape(-1, each, table.shape[1]).mean(axis=1))


def steps(hours: Array, temperatures_c: Array, values: Array) -> tuple[Step, ...]:
    """Steps of a signal, in the order of time.

    Parameters
    ----------
    hours, temperatures_c, values : array, (n,)
    """
    gained = np.zeros(len(hours))
    for k in range(_SIDE, len(hours) - _SIDE):
        gained[k] = _gain(k, hours, temperatures_c, values)[0]
    needed = fdtri(2, 2 * _SIDE - 5, 1.0 - ALPHA / max(len(hours), 1))
    steps_found: list[Step] = []
    while len(hours) and gained.max() > needed:
        k = int(np.argmax(gained))
        _, change, u_change, left = _gain(k, hours, temperatures_c, values)
        # where chi squared of the step, moved to other entries, stays within one of the best
        near = [
            j for j in range(max(k - _SIDE // 2, _SIDE), min(k + _SIDE // 2 + 1, len(hours) - _SIDE))
            if _gain(j, hours, temperatures_c, values, around=k)[3] < left + left / (2 * _SIDE - 5)
        ]  # fmt: skip
        spacing = float(hours[k] - hours[k - 1])
        u = math.hypot(0.5 * float(hours[near[-1]] - hours[near[0]]), spacing / math.sqrt(12.0))
        when = float(hours[k]) - 0.5 * spacing
        steps_found.append(Step(when, u, float(np.interp(when, hours, temperatures_c)), change, u_change))
        gained[max(k - _SIDE, 0) : k + _SIDE + 1] = 0.0
    return tuple(sorted(steps_found, key=lambda step: step.time_h))


def _gain(
    k: int, hours: Array, temperatures_c: Array, values: Array, *, around: int | None = None
) -> tuple[float, float, float, float]:
    """F of a change of level and slope before entry k, the change of level, its u, and the squares that are left."""
    middle = k if around is None else around
    near = slice(middle - _SIDE, middle + _SIDE)
    t, heat, y = hours[near] - hours[k], temperatures_c[near] - temperatures_c[k], values[near]
    after = np.arange(near.start, near.stop) >= k
    bent = np.ptp(heat - np.polyval(np.polyfit(t, heat, 1), t)) > _LEAST_K
    design = np.column_stack([np.ones_like(t), t, *([heat] if bent else []), after, after * t])
    scale = np.linalg.norm(design, axis=0)
    orthogonal, upper = np.linalg.qr(design / scale)
    explained = orthogonal.T @ y  # the last two are what change of level and slope add
    freedom = len(y) - design.shape[1]
    rounding = max(1e-9 * float(np.ptp(y)), 1e-12 * float(np.abs(y).max()), 1e-150)
    left = max(float(y @ y - explained @ explained), freedom * rounding**2)
    inverse = np.linalg.inv(upper)
    level = float(inverse[-2] @ explained / scale[-2])
    u = math.sqrt(left / freedom * float(inverse[-2] @ inverse[-2])) / float(scale[-2])
    return float(np.sum(explained[-2:] ** 2)) / 2.0 / (left / freedom), level, u, left


def matched(
    steps_seen: Sequence[Step], onset: Onset | None, periods: dict[str, list[Period]], a15: str, hours: Array
) -> tuple[Step, ...]:
    """Steps with what the pattern shows within the uncertainties: the onset of the A15, phases that come and go.

    Parameters
    ----------
    steps_seen : sequence of Step
    onset : Onset or None
    periods : dict of str to list of Period
    a15 : str
        Name of the A15 phase.
    hours : array
        Of the frames: their spacing is the standard uncertainty of when a phase comes or goes.
    """
    spacing = float(np.median(np.diff(hours))) if len(hours) > 1 else math.inf
    events = [(f"{a15} appears", onset.time_h, onset.u_h)] if onset else []
    for name, spans in periods.items():
        for span in spans:
            if name != a15 and span.from_h > hours[0]:
                events.append((f"{name} appears", span.from_h - 0.5 * spacing, spacing))
            if span.to_h < hours[-1]:
                events.append((f"{name} disappears", span.to_h + 0.5 * spacing, spacing))
    told = []
    for step in steps_seen:
        away = {what: abs(time - step.time_h) / math.hypot(u, step.u_h) for what, time, u in events}
        nearest = min(away, key=away.__getitem__, default="")
        told.append(Step(**asdict(step) | {"matched": nearest if nearest and away[nearest] < NEAR else ""}))
    return tuple(told)
