"""A fitted pattern as the page draws it: numbers fit for JSON, small and without loss that could be seen."""

from __future__ import annotations

from typing import Any

import numpy as np

from xrdorder.figures.counts import TITLES
from xrdorder.results.sample_file import StoredSample

_UNIFORM = 1e-4  # of a step: angles that are equally spaced are told by first and step
_PHASES_FIRST = ("nb3sn",)
EVERY = 10
"""Of the background, which is smooth, only every so many points; the page draws straight lines between them."""


def fit_data(sample: StoredSample) -> dict[str, Any]:
    """Give curves and lines of a sample.

    Returns
    -------
    dict
        ``angle`` ([first, step, number] or a list), ``observed``, ``calculated`` (counts, whole numbers),
        ``background`` (every `EVERY` points, and the last), ``every``, ``residual`` (in hundredths of a standard
        uncertainty, None where a point was left out), ``phases`` (titles, the A15 first), ``parts`` (of the phases
        after the first: stretches of counts, [index of the first point, counts] each; what is left of the calculated
        curve is the first phase), ``lines``: [phase index, angle, d in nm, hkl, width, height of its mark] by angle.
    """
    curves, lines = sample.curves, sample.lines
    angle = np.asarray(curves["two_theta"].values, dtype=float)
    names = list(dict.fromkeys(str(name) for name in lines["phase"].values))
    names.sort(key=lambda name: name not in _PHASES_FIRST)
    order = np.argsort(lines["two_theta"].values, kind="stable")
    strongest = float(np.max(lines["area"].values, initial=0.0)) or 1.0
    residual = np.asarray(curves["weighted_residual"].values, dtype=float)
    return {
        "angle": _angles(angle),
        "observed": _whole(curves["observed"].values),
        "calculated": _whole(curves["calculated"].values),
        "background": _whole(_thinned(curves["background"].values)),
        "every": EVERY,
        "residual": [None if np.isnan(r) else round(100.0 * float(r)) for r in residual],
        "phases": [TITLES.get(name, name) for name in names],
        "parts": [_stretches(curves[f"part_{name}"].values) for name in names[1:] if f"part_{name}" in curves],
        "lines": [
            [
                names.index(str(lines["phase"].values[k])),
                round(float(lines["two_theta"].values[k]), 4),
                round(float(lines["d_nm"].values[k]), 7),
                str(lines["hkl"].values[k]),
                round(float(lines["fwhm"].values[k]), 4),
                round(float(np.sqrt(max(lines["area"].values[k], 0.0) / strongest)), 3),
            ]
            for k in order
            if angle[0] <= float(lines["two_theta"].values[k]) <= angle[-1]
        ],
    }


def _thinned(curve: np.ndarray) -> np.ndarray:
    return np.asarray(curve[np.unique([*range(0, len(curve), EVERY), len(curve) - 1])])


def _stretches(part: np.ndarray) -> list[list[Any]]:
    """Counts of a part where they are not nothing: most of a pattern is free of a minor phase."""
    counts = _whole(part)
    there = np.concatenate([[False], np.asarray(counts) >= 0.5, [False]])
    ends = np.flatnonzero(np.diff(there.astype(int)))
    return [[int(a), counts[a:b]] for a, b in zip(ends[::2], ends[1::2], strict=True)]


def _angles(angle: np.ndarray) -> list[float]:
    steps = np.diff(angle)
    step = float(np.mean(steps)) if steps.size else 1.0
    if np.all(np.abs(angle - (angle[0] + step * np.arange(angle.size))) < _UNIFORM * step):
        return [float(angle[0]), step, float(angle.size)]
    return [round(float(x), 5) for x in angle]


def _whole(counts: np.ndarray) -> list[float]:
    """Counts to one, or to four digits where they are no counts."""
    numbers = np.asarray(counts, dtype=float)
    largest = float(np.nanmax(np.abs(numbers))) if numbers.size else 0.0
    if largest >= 1000.0:
        return [round(float(x)) for x in numbers]
    return [float(f"{x:.4g}") for x in numbers]
