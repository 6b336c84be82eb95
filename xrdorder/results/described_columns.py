"""What a description tells of the samples, as variables of the results: lots, treatments, doses, measured values.

All of it is taken from the description when results are collated: correcting it needs no new fit.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from xrdorder.description.plausibility import same_patterns
from xrdorder.description.sample import Sample
from xrdorder.description.study import DoseReference, Study
from xrdorder.quantities.grades import missing_information
from xrdorder.quantities.registry import quantity
from xrdorder.results.conventions import udunits, units_beside
from xrdorder.results.sample_file import StoredSample
from xrdorder.superconductivity.targets import wire_of
from xrdorder.treatments import SECONDS_PER_HOUR, ZERO_CELSIUS_K, History, LoggedTreatment

Variables = dict[str, tuple[str | tuple[str, ...], NDArray[Any], dict[str, Any]]]
"""Variables of a dataset to be, by name: dimensions, numbers, attributes."""

TOLD = "told"
"""Variable of the results that holds what was told and is in no column of its own."""

_TEXTS: Mapping[str, tuple[str, Callable[[StoredSample, Sample], str]]] = {
    "status": ("whether and how the sample was fitted", lambda stored, _: stored.status),
    "flags": ("names of what needs attention", lambda stored, _: "; ".join(dict(stored.flags))),
    "flag_messages": (
        "what needs attention, as JSON list of name and message", lambda stored, _: _as_json(stored.flags)
    ),
    "quality": ("how far the fit can be trusted and why; empty without a fit", lambda stored, _: stored.quality_words),
    "information_missing": (
        "what nobody told about the sample; empty where nothing is missing",
        lambda stored, _: missing_information(dict(stored.flags)),
    ),
    "assumptions": (
        "what was taken for granted because nobody said otherwise", lambda stored, _: "; ".join(stored.assumptions)
    ),
    "calibration": ("identity of the instrument calibration", lambda stored, _: stored.provenance.calibration),
    "input_sha256": (
        "SHA-256 of the pattern files, as JSON", lambda stored, _: _as_json(dict(stored.provenance.input_sha256))
    ),
    "model": ("what the model of the fit was made of", lambda stored, _: "; ".join(stored.model)),
    "created": ("time of the fit in UTC", lambda stored, _: stored.provenance.created),
    "wire": (
        "kind of wire for which relations are chosen",
        lambda _, sample: wire_of(sample.lot.dopants, undoped=sample.lot.undoped),
    ),
    "lot": ("wire lot", lambda _, sample: sample.lot.name),
    "route": ("how the wire was made", lambda _, sample: sample.lot.route),
    "filament": ("metal of the filaments", lambda _, sample: sample.lot.filament),
    "barrier": ("metal of the diffusion barrier", lambda _, sample: sample.lot.barrier),
    "mount": ("how the specimen was mounted", lambda _, sample: sample.mount),
    "treatment": ("heat treatment in short", lambda _, sample: sample.treatment.short_name if sample.treatment else ""),
    "calibration_name": (
        "which of the calibrations of the study; empty for its instrument", lambda _, sample: sample.calibration
    ),
    TOLD: ("what was told of the sample and is in no column of its own, as JSON", lambda _, sample: told_words(sample)),
}  # fmt: skip

# where the files are, what stands in a column, and what no result follows from
_LEFT_OUT: dict[str, bool | set[str]] = {
    "name": True, "pattern": True, "treatment": True, "position_m": True, "date": True, "mount": True,
    "calibration": True, "measured": True,
    "lot": {
        "name", "design", "route", "filament", "barrier", "a15_area_fraction", "u_a15_area_fraction", "conversion",
    },
}  # fmt: skip


def told_words(sample: Sample) -> str:
    """Say as JSON what is told of a sample beside what has a column: dopants, strain, choices of the fit and the like.

    A key that comes to a sample is among it unless somebody decides otherwise.
    """
    return json.dumps(sample.model_dump(exclude=_LEFT_OUT), sort_keys=True, ensure_ascii=False)


def _as_json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def told_variables(study: Study, samples: Sequence[StoredSample]) -> Variables:
    """What was done to the samples and how they were measured, in words and numbers, over the dimension sample.

    Dose, position and date are there only where a sample has one.
    """
    described = {sample.name: sample for sample in study.samples}
    own = [described[sample.name] for sample in samples]
    treatments = [sample.treatment for sample in own]
    variables: Variables = {
        name: _texts(meaning, [of(*pair) for pair in zip(samples, own, strict=True)])
        for name, (meaning, of) in _TEXTS.items()
    }
    variables["same_pattern_as"] = _texts(
        "first sample of the study that is of the same pattern file; empty where there is none before",
        _first_of_pattern(samples),
    )
    for name in ("peak_c", "highest_c", "hold_at_peak_h", "total_h"):
        variables[name] = _quantity(name, [getattr(treatment, name, None) for treatment in treatments])
    areas = [sample.lot.a15_area_fraction for sample in own]
    if any(area is not None for area in areas):
        of_area = "share of A15 in the section of the lot without copper"
        u = [sample.lot.u_a15_area_fraction for sample in own]
        variables["lot_a15_area_fraction"] = _numbers(of_area, "1", areas)
        variables["u_lot_a15_area_fraction"] = _numbers(f"standard uncertainty (k = 1) of: {of_area}", "1", u)
    variables |= _doses(study.dose, treatments) | _courses(treatments)
    positions = [sample.position_m for sample in own]
    if any(position is not None for position in positions):
        variables["position"] = _quantity("position", positions)
    if any(sample.date for sample in own):
        meaning = "date of the measurement, ISO 8601; empty where it is not known"
        variables["date"] = _texts(meaning, [sample.date for sample in own])
    return variables


def measured_variables(samples: Sequence[Sample]) -> Variables:
    """Measured values of all samples, beside the estimates: one entry a value over the dimension measurement."""
    rows = [(sample.name, value) for sample in samples for value in sample.measured]
    values, on = [value for _, value in rows], "measurement"
    what = "value measured by the laboratory"
    texts: dict[str, tuple[str, list[str]]] = {
        "sample": ("sample on which it was measured", [name for name, _ in rows]),
        "quantity": ("what the laboratory measured; its unit stands in its name", [value.quantity for value in values]),
        "criterion": (
            "how it was read off a transition; empty where that was not said", [value.criterion for value in values]
        ),
        "remark": ("how it was measured, in the words of the description", [value.remark for value in values]),
    }
    numbers: dict[str, tuple[str, str, list[float | None]]] = {
        "measured_value": (what, "", [value.value for value in values]),
        "u_measured_value": (f"standard uncertainty (k = 1) of: {what}", "", [value.u for value in values]),
        "measured_temperature_k": ("temperature of the measurement", "K", [value.temperature_k for value in values]),
        "measured_field_t": ("field of the measurement", "T", [value.field_t for value in values]),
    }
    return {
        **{f"measured_{name}": _texts(*told, on) for name, told in texts.items()},
        **{name: _numbers(*told, on) for name, told in numbers.items()},
        "measured_units": (on, *units_beside([value.unit for value in values], "measured_value and its u")),
    }


def _texts(meaning: str, words: Sequence[str], over: str = "sample") -> tuple[str, NDArray[Any], dict[str, Any]]:
    return over, np.array(words, dtype=object), {"long_name": meaning}


def _quantity(name: str, values: Sequence[float | None]) -> tuple[str, NDArray[Any], dict[str, Any]]:
    about = quantity(name)
    return _numbers(about.long_name, udunits(about.unit), values)


def _numbers(
    meaning: str, units: str, values: Sequence[float | None] | NDArray[np.float64], over: str = "sample",
    more: Mapping[str, Any] | None = None,
) -> tuple[str, NDArray[Any], dict[str, Any]]:  # fmt: skip
    numbers = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    return over, numbers, {**({"units": units} if units else {}), "long_name": meaning, **(more or {})}


def _first_of_pattern(samples: Sequence[StoredSample]) -> list[str]:
    twins = same_patterns({sample.name: sample.provenance.input_sha256 for sample in samples})
    names = [sample.name for sample in samples]
    return [next((key for key in names[:k] if key in twins.get(name, ())), "") for k, name in enumerate(names)]


def _doses(reference: DoseReference, treatments: Sequence[History | None]) -> Variables:
    """Thermal doses, their 68 % intervals, and hours above a temperature where one is told; each dose once."""
    if not any(treatments):
        return {}
    q, u, at = reference.q_kj_per_mol, reference.u_q_kj_per_mol, reference.reference_c
    doses = {treatment: treatment.dose(q, u, at) for treatment in dict.fromkeys(treatments) if treatment is not None}
    what = f"hours at {at:g} °C that would have done as much, Q = {q:g} ± {u:g} kJ/mol"
    told = {"source": reference.source, "q_kj_per_mol": q, "u_q_kj_per_mol": u, "reference_c": at}
    variables: Variables = {}
    for name, of, meaning in (
        ("dose_h", "hours", what),
        ("dose_low_h", "low", f"lower end of the 68 % interval of: {what}"),
        ("dose_high_h", "high", f"upper end of the 68 % interval of: {what}"),
    ):
        hours = [None if treatment is None else getattr(doses[treatment], of) for treatment in treatments]
        variables[name] = _numbers(meaning, "hour", hours, more=told)
    if (limit := reference.above_c) is not None:
        hours = [None if treatment is None else treatment.time_above_h(limit) for treatment in treatments]
        meaning = f"hours at or above {limit:g} °C"
        variables["hours_above"] = _numbers(meaning, "hour", hours, more={"above_c": limit})
    return variables


def _courses(treatments: Sequence[History | None]) -> Variables:
    """Temperature over time of all treatments, each once: what doses can be computed from anew.

    Straight between corners, but for a sine on the piece that begins at a corner with an amplitude. Corners of all
    courses stand one after the other (CF conventions 1.8, section 9.3.4).
    """
    courses = list(dict.fromkeys(treatment for treatment in treatments if treatment is not None))
    if not courses:
        return {}
    times = np.concatenate([course.times_s for course in courses])
    temperatures = np.concatenate([course.temperatures_k for course in courses])
    of = np.repeat(np.arange(len(courses)), [course.times_s.size for course in courses])
    swing = np.zeros((2, of.size))
    for k, course in enumerate(courses):
        for piece, amplitude_k, period_s in course.swings:
            swing[:, np.searchsorted(of, k) + piece] = amplitude_k, period_s / SECONDS_PER_HOUR
    logged = ["log" if isinstance(course, LoggedTreatment) else "programme" for course in courses]
    places = np.array([-1 if treatment is None else courses.index(treatment) for treatment in treatments])
    told = "of the temperature over time"
    # as it was told: the way through kelvin leaves crumbs of rounding
    celsius = np.round(temperatures - ZERO_CELSIUS_K, 9)
    by_corner = {
        "corner_time": (f"time of a corner {told}", "hour", times / SECONDS_PER_HOUR),
        "corner_temperature": (f"temperature at a corner {told}", udunits("°C"), celsius),
        "corner_amplitude": (
            "amplitude of the sine on the piece that begins at the corner; 0: it is straight", "K", swing[0]
        ),
        "corner_period": ("period of that sine; 0: there is none", "hour", swing[1]),
    }
    about = {"units": "1", "long_name": "course of a corner, by its place", "instance_dimension": "course"}
    return {
        "course_of_sample": ("sample", places, {"units": "1", "long_name": f"course {told}, by its place; -1: none"}),
        "course_kind": _texts(f"whether the course {told} was set (programme) or logged (log)", logged, "course"),
        "corner_course": ("corner", of, about),
        **{name: _numbers(*column, "corner") for name, column in by_corner.items()},
    }
