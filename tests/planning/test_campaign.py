"""Short versions of the campaigns of tests/benchmarks/campaign.py, which say what they are."""

import pytest

from tests.benchmarks.campaign import DOSE, REGRET, campaign, false_limit
from xrdorder.planning import Limits

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("truth", ["12 T", "16 T"])
def test_eight_suggestions_find_the_best_treatment_in_nine_of_ten_campaigns(truth):
    regrets = [campaign(truth, seed).get("regret", 1.0) for seed in range(10)]
    assert sum(regret < REGRET for regret in regrets) >= 9, regrets


def test_where_nothing_differs_nothing_is_found():
    seeds = 60
    false = sum(campaign("flat", 10_000 + seed)["false"] for seed in range(seeds))
    assert false <= false_limit(seeds)


def test_studies_are_planned_over_the_variables_of_the_campaigns():
    assert Limits().dose == DOSE
