"""Published samples, each estimated by a model that knows nothing of their laboratory.

The shares are those of docs/contributing/evidence.md, which `tests.benchmarks.leave_one_laboratory_out` writes and a
test holds to the model; computing them takes minutes.
"""

import re
from functools import cache

from tests.benchmarks import evidence_page
from tests.outside.rows import Row

_SOURCE = "published samples of xrdorder/relations/published_samples.toml, their laboratory left out"
_KNOWN_OFF = {
    "Tc, and Bc2 of another of its lot → Bc2, doped": "alloys of one laboratory that gained Tc and lost Bc2 together",
    "Tc, and Bc2 of another of its lot → Bc2, undoped": "samples of one source that were made to differ in resistivity",
}
"""Why a share lies outside of what chance allows: the page says it in full."""


@cache
def shares() -> dict[str, tuple[str, float, float, float]]:
    """Number of samples, share inside 95 %, and the limits that chance leaves it, by question."""
    found = {}
    for line in evidence_page.rows("published")[2:]:
        question, samples, _, inside, *_ = (cell.strip() for cell in line.strip("|").split("|"))
        share, low, high = map(float, re.findall(r"\d\.\d\d", inside))
        found[question] = samples, share, low, high
    return found


ROWS = [
    Row(
        f"share inside the 95 % interval, {question}; samples (laboratories): {samples}",
        "",
        lambda question=question: shares()[question][1],
        0.95,
        max(0.95 - low, high - 0.95) + 0.005,
        "where 95 of 100 sets of so many independent samples lie (binomial), in two digits",
        _SOURCE,
        "read",
        disagrees=_KNOWN_OFF.get(question, ""),
    )
    for question, (samples, _, low, high) in shares().items()
    if low > 0.0  # one sample alone cannot disagree
]
