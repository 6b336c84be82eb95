"""Specimens that do what real wires do: 100 scans of the campaign, of all kinds, by two radiations, at both levels."""

import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

from tests.benchmarks.real_wires import KINDS, LEVELS, RADIATIONS, pulls, quiet, work, wrong_ones

SPECIMENS = 50


@pytest.mark.slow
def test_nothing_is_quietly_wrong() -> None:
    """Each specimen once at either level; thousands are ``python -m tests.benchmarks.real_wires``."""
    os.environ["OMP_NUM_THREADS"] = "1"
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        rows = [row for some in pool.map(work, range(SPECIMENS), [1] * SPECIMENS) for row in some]
    assert len(rows) == len(LEVELS) * SPECIMENS
    assert {(row["kind"], row["radiation"]) for row in rows} == {(kind, one) for kind in KINDS for one in RADIATIONS}
    assert [row for row in rows if quiet(row)] == [], wrong_ones(rows)
    assert not [row for row in rows if "refused" in row]
    every = [abs(pull) for row in rows for pull in pulls(row).values()]
    # by normal errors 95.4 %; the three or four quantities of a scan share what it suffers, and both levels a specimen
    assert sum(pull <= 2.0 for pull in every) > 0.9 * len(every)
