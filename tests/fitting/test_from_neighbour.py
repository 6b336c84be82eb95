"""A pattern fitted from its neighbour, against the fixed point of its own."""

import copy
from dataclasses import replace

import numpy as np
import pytest

from tests.fitting.conftest import INSTRUMENT, SAMPLE, TWO_THETA
from tests.fitting.fixed_point import fixed_point
from tests.generator import simulate
from tests.made import as_pattern
from xrdorder.exceptions import FitError
from xrdorder.fitting.from_neighbour import fit_from_neighbour
from xrdorder.fitting.procedure import Procedure


def test_next_frame_takes_three_evaluations(job: Procedure) -> None:
    job = copy.deepcopy(job)
    warmer = replace(SAMPLE, displacement_mm=0.031, domain_size_nm=91.0)
    two_theta, counts = simulate(warmer, INSTRUMENT, TWO_THETA, seed=12)
    found = fit_from_neighbour(job, as_pattern(two_theta, np.round(1.01 * counts)))
    assert found.follows
    assert found.evaluations <= 3
    _, departures = fixed_point(job)
    assert max(departures.values()) < 0.01


def test_another_pattern_does_not_follow(job: Procedure) -> None:
    job = copy.deepcopy(job)
    counts = np.random.default_rng(5).poisson(500.0, len(TWO_THETA)).astype(float)
    assert not fit_from_neighbour(job, as_pattern(TWO_THETA, counts)).follows


def test_other_angles_are_refused(job: Procedure) -> None:
    job = copy.deepcopy(job)
    with pytest.raises(FitError, match="angles"):
        fit_from_neighbour(job, as_pattern(TWO_THETA[1:], np.full(len(TWO_THETA) - 1, 100.0)))
