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
    area = np.maximum(lines["area"].values, 0.0)
    columns = {
        "phase": [names.index(str(name)) for name in lines["phase"].values],
        "two_theta": np.round(lines["two_theta"].values, 4).tolist(),
        "d_nm": np.round(lines["d_nm"].values, 7).tolist(),
        "hkl": list(map(str, lines["hkl"].values)),
        "fwhm": np.round(lines["fwhm"].values, 4).tolist(),
        "height": np.round(np.sqrt(area / (np.max(area, initial=0.0) or 1.0)), 3).tolist(),
    }
    shown = (lines["two_theta"].values >= angle[0]) & (lines["two_theta"].values <= angle[-1])
    order = [k for k in np.argsort(lines["two_theta"].values, kind="stable") if shown[k]]
    return {
        "angle": _angles(angle),
        "observed": _whole(curves["observed"].values),
        "calculated": _whole(curves["calculated"].values),
        "background": _whole(_thinned(curves["background"].values)),
        "every": EVERY,
        "residual": _integers(100.0 * curves["weighted_residual"].values),
        "phases": [TITLES.get(name, name) for name in names],
        "parts": [_stretches(curves[f"part_{name}"].values) for name in names[1:] if f"part_{name}" in curves],
        "lines": [[column[k] for column in columns.values()] for k in order],
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
    return _integers(numbers) if largest >= 1000.0 else [float(f"{x:.4g}") for x in numbers]


def _integers(numbers: np.ndarray) -> list[Any]:
    """Whole numbers; None where there is none."""
    known = np.isfinite(numbers)
    whole = np.rint(np.where(known, numbers, 0.0)).astype(int).tolist()
    return [number if there else None for number, there in zip(whole, known, strict=True)]
