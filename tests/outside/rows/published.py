"""Published samples, each estimated by a model that knows nothing of their laboratory.

The shares are those of docs/contributing/evidence.md, which `tests.benchmarks.leave_one_laboratory_out` writes and a
test holds to the model; computing them takes minutes.
"""

from tests.benchmarks import evidence_page
from tests.outside.rows import Row

_SOURCE = "published samples of xrdorder/relations/published_samples.toml, their laboratory left out"

ROWS = [
    Row(
        f"share inside the 95 % interval, {question}; samples (laboratories): {row.samples}",
        "",
        lambda row=row: row.inside_95,
        0.95,
        max(0.95 - row.of_95[0], row.of_95[1] - 0.95) + 0.005,
        "where 95 of 100 sets of so many independent samples lie (binomial), in two digits",
        _SOURCE,
        "read",
    )
    for question, row in evidence_page.published().items()
    if row.of_95[0] > 0.0  # one sample alone cannot disagree
]
