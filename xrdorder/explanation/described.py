"""What was mounted, as a stored sample tells it: years later, without the description of the study."""

import math
from dataclasses import fields
from typing import Any

from xrdorder.exceptions import XrdorderError
from xrdorder.material.specimen import Specimen
from xrdorder.results.sample_file import StoredSample
from xrdorder.running.interpretation import GROUP, Fitted


def described_specimen(sample: StoredSample) -> Specimen:
    """Give the specimen a result was interpreted with; a bare one where the file is of a version that knew others.

    What the description left open is taken from the pattern file, as it was then.
    """
    options = sample.provenance.options
    told: dict[str, Any] = {
        one.name: options[one.name] for one in fields(Specimen) if options.get(one.name) is not None
    }
    told["off"] = frozenset(options.get("corrections_off") or ())
    if GROUP in sample.groups:
        fitted = Fitted.from_dataset(sample.groups[GROUP])
        told["mount"] = told.get("mount") or fitted.mount
        if math.isfinite(fitted.temperature_c):
            told.setdefault("temperature_c", fitted.temperature_c)
    try:
        return Specimen(**told)
    except XrdorderError:
        return Specimen()
