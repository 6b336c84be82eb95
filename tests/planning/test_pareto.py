"""The front between two quantities."""

import numpy as np
import pytest

from tests.planning.made import SPACE, hill, measured, reacted
from xrdorder.exceptions import StudyError
from xrdorder.planning import plan
from xrdorder.planning.pareto import front, unbeaten


def test_the_front_is_that_of_comparing_all_pairs():
    random = np.random.default_rng(0)
    points = random.integers(0, 8, (60, 2)).astype(float)  # with ties
    beaten = [
        any(np.all(other >= one) and np.any(other > one) for other in points) for one in points
    ]
    np.testing.assert_array_equal(unbeaten(*points.T), ~np.array(beaten))


def test_field_against_grains():
    treatments = reacted()
    x = SPACE.coordinates(treatments)
    field = plan(measured(20 + 5 * x[:, 0], quantity="Bc2"), treatments, SPACE)
    grains = plan(measured(0.5 + x[:, 0] + x[:, 1], quantity="grains"), treatments, SPACE, maximise=False)
    found = front(field, grains)
    assert found.distinguishable
    truth = unbeaten(20 + 5 * x[:, 0], -(0.5 + x[:, 0] + x[:, 1]))
    assert np.all(found.probability[truth] > 0.5)
    assert np.mean(found.probability[~truth]) < 0.5
    np.testing.assert_allclose(found.values[:, 1], 0.5 + x[:, 0] + x[:, 1], atol=0.5)
    inside = front(field, grains, SPACE.candidates)
    assert 1 < inside.on_front.sum() < len(SPACE.candidates)


def test_two_operating_fields_may_have_two_answers():
    treatments = reacted()
    low = plan(measured(hill(treatments, top=(0.1, 0.6)), quantity="Jc at 12 T"), treatments, SPACE)
    high = plan(measured(hill(treatments, top=(0.8, 0.6)), quantity="Jc at 20 T"), treatments, SPACE)
    assert low.best.schedule.peak_c < high.best.schedule.peak_c
    assert low.proposals[0].schedule.peak_c < high.proposals[0].schedule.peak_c
    assert low.best.treatment in [one.short_name for one in treatments]


def test_a_front_needs_surfaces():
    treatments = reacted()[:3]
    few = plan(measured(hill(treatments)), treatments, SPACE)
    with pytest.raises(StudyError, match="too few"):
        front(few, few)
