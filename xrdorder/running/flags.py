"""Flags of a description that belong to results: one pattern under several names, temperatures like kelvin."""

from collections.abc import Sequence
from dataclasses import replace

from xrdorder.description.plausibility import (
    DOSE_IN_KELVIN,
    SAME_PATTERN,
    TREATMENT_IN_KELVIN,
    dose_words,
    same_patterns,
    same_words,
    treatment_words,
)
from xrdorder.description.study import Study
from xrdorder.results.sample_file import StoredSample


def with_study_flags(study: Study, samples: Sequence[StoredSample]) -> list[StoredSample]:
    """Add flags to samples: one pattern under several names, temperatures that look like kelvin."""
    described = {sample.name: sample for sample in study.samples}
    others = same_patterns({sample.name: sample.provenance.input_sha256 for sample in samples})
    dose = dose_words(study)
    flagged = []
    for sample in samples:
        treatment = described[sample.name].treatment
        flags = list(sample.flags)
        if names := others.get(sample.name):
            flags.append((SAME_PATTERN, same_words(names)))
        if words := treatment_words(treatment):
            flags.append((TREATMENT_IN_KELVIN, words))
        if dose and treatment is not None:
            flags.append((DOSE_IN_KELVIN, dose))
        flagged.append(replace(sample, flags=tuple(flags)))
    return flagged
