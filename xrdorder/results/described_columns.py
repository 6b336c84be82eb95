"""What a description tells of the samples, as variables of the results: lots, treatments, doses, places, dates.

All of it is taken from the description when results are collated: correcting it needs no new fit.
"""

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from xrdorder.description.plausibility import same_patterns
from xrdorder.description.study import DoseReference, Study
from xrdorder.results.sample_file import StoredSample
from xrdorder.superconductivity.targets import wire_of
from xrdorder.treatments import History

Variables = dict[str, tuple[str | tuple[str, ...], NDArray[Any], dict[str, str]]]
"""Variables of a dataset to be, by name: dimensions, numbers, attributes."""


def _first_of_pattern(samples: Sequence[StoredSample]) -> list[str]:
    twins = same_patterns({sample.name: sample.provenance.input_sha256 for sample in samples})
    names = [sample.name for sample in samples]
    return [
        next((one for one in names[:k] if one in twins.get(name, ())), "") for k, name in enumerate(names)
    ]


def told_variables(study: Study, samples: Sequence[StoredSample]) -> Variables:
    """What was done to the samples and how they were measured, in words and numbers, over the dimension sample.

    Dose, position and date are there only where a sample has one.
    """
    variables: Variables = {}
    described = {sample.name: sample for sample in study.samples}
    own = [described[sample.name] for sample in samples]
    treatments = [sample.treatment for sample in own]
    texts = {
        "status": ("whether and how the sample was fitted", [s.status for s in samples]),
        "flags": ("names of what needs attention", ["; ".join(dict(s.flags)) for s in samples]),
        "flag_messages": (
            "what needs attention, as JSON list of name and message",
            [json.dumps(s.flags, ensure_ascii=False) for s in samples],
        ),
        "quality": (
            "how far the result can be trusted and why; empty without a fit",
            [s.quality_words for s in samples],
        ),
        "assumptions": (
            "what was taken for granted because nobody said otherwise",
            ["; ".join(s.assumptions) for s in samples],
        ),
        "same_pattern_as": (
            "first sample of the study that is of the same pattern file; empty where there is none before",
            _first_of_pattern(samples),
        ),
        "wire": (
            "kind of wire for which relations are chosen",
            [wire_of(s.lot.dopants, undoped=s.lot.undoped) for s in own],
        ),
        "lot": ("wire lot", [s.lot.name for s in own]),
        "route": ("how the wire was made", [s.lot.route for s in own]),
        "filament": ("metal of the filaments", [s.lot.filament for s in own]),
        "barrier": ("metal of the diffusion barrier", [s.lot.barrier for s in own]),
        "mount": ("how the specimen was mounted", [s.mount for s in own]),
        "treatment": ("heat treatment in short", [t.short_name if t else "" for t in treatments]),
        "calibration_name": (
            "which of the calibrations of the study; empty for its instrument",
            [s.calibration for s in own],
        ),
        "calibration": (
            "identity of the instrument calibration",
            [s.provenance.calibration for s in samples],
        ),
        "input_sha256": (
            "SHA-256 of the pattern files, as JSON",
            [json.dumps(dict(s.provenance.input_sha256), ensure_ascii=False) for s in samples],
        ),
        "model": ("what the model of the fit was made of", ["; ".join(s.model) for s in samples]),
        "created": ("time of the fit in UTC", [s.provenance.created for s in samples]),
    }
    for name, (meaning, values) in texts.items():
        variables[name] = ("sample", np.array(values, dtype=object), {"long_name": meaning})
    numbers: dict[str, tuple[str, str, list[float | None]]] = {
        "peak_c": (
            "degree_Celsius",
            "highest hold temperature",
            [t.peak_c if t else None for t in treatments],
        ),
        "highest_c": (
            "degree_Celsius",
            "highest temperature there was, noise and swings of the furnace included",
            [t.highest_c if t else None for t in treatments],
        ),
        "hold_at_peak_h": (
            "hour",
            "time held at the highest temperature",
            [t.hold_at_peak_h if t else None for t in treatments],
        ),
        "total_h": ("hour", "length of the treatment", [t.total_h if t else None for t in treatments]),
    }
    for name, (units, meaning, values_or_none) in numbers.items():
        array = np.array([np.nan if v is None else v for v in values_or_none], dtype=float)
        variables[name] = ("sample", array, {"units": units, "long_name": meaning})
    if any(s.lot.a15_area_fraction is not None for s in own):
        for name, meaning, given in (
            ("lot_a15_area_fraction", "", [s.lot.a15_area_fraction for s in own]),
            ("u_lot_a15_area_fraction", "standard uncertainty (k = 1) of: ", [s.lot.u_a15_area_fraction for s in own]),
        ):
            attrs = {"units": "1", "long_name": f"{meaning}share of A15 in the section of the lot without copper"}
            variables[name] = ("sample", np.array([np.nan if v is None else v for v in given], dtype=float), attrs)
    variables |= _doses(study.dose, treatments)
    positions = np.array([np.nan if s.position_m is None else s.position_m for s in own], dtype=float)
    if np.any(np.isfinite(positions)):
        attrs = {"units": "m", "long_name": "place of the sample along the spool"}
        variables["position"] = ("sample", positions, attrs)
    if any(s.date for s in own):
        attrs = {"long_name": "date of the measurement, ISO 8601; empty where it is not known"}
        variables["date"] = ("sample", np.array([s.date for s in own], dtype=object), attrs)
    return variables


def _doses(reference: DoseReference, treatments: Sequence[History | None]) -> Variables:
    """Thermal doses, their 68 % intervals, and hours above a temperature where one is told; each dose once."""
    if not any(treatments):
        return {}
    q, u, at = reference.q_kj_per_mol, reference.u_q_kj_per_mol, reference.reference_c
    found = {one: one.dose(q, u, at) for one in dict.fromkeys(treatments) if one is not None}
    none = (np.nan, np.nan, np.nan)
    numbers = [none if one is None else (found[one].hours, found[one].low, found[one].high) for one in treatments]
    what = f"hours at {at:g} °C that would have done as much, Q = {q:g} ± {u:g} kJ/mol"
    meanings = {
        "dose_h": what,
        "dose_low_h": f"lower end of the 68 % interval of: {what}",
        "dose_high_h": f"upper end of the 68 % interval of: {what}",
    }
    variables: Variables = {
        name: ("sample", column, {"units": "hour", "long_name": meaning, "source": reference.source})
        for (name, meaning), column in zip(meanings.items(), np.array(numbers, dtype=float).T, strict=True)
    }
    if (limit := reference.above_c) is not None:
        hours = [np.nan if one is None else one.time_above_h(limit) for one in treatments]
        attrs = {"units": "hour", "long_name": f"hours at or above {limit:g} °C"}
        variables["hours_above"] = ("sample", np.array(hours, dtype=float), attrs)
    return variables
