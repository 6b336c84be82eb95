"""Draws of an earlier run are kept where nothing they depend on has changed."""

import numpy as np

from tests.figures.made import collated
from xrdorder.estimates.study_draws import estimated


def test_a_sample_without_a_pattern_keeps_the_draws_of_the_others():
    # as after `suggest --add`: a treatment that nobody has reacted yet
    before = estimated(collated(), n=50)
    after = estimated(
        collated(more=[("proposed", "A", "failed: no such pattern file")]), previous=before, n=50
    )
    assert after.attrs["estimates_sha256"] == before.attrs["estimates_sha256"]
    kept = after["estimate_draws"].sel(sample=before["sample"])
    np.testing.assert_array_equal(kept, before["estimate_draws"])
    assert np.isnan(after["estimate_draws"].sel(sample="proposed")).all()
    assert after["flags"].sel(sample="proposed").item() == ""
