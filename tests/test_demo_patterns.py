"""Is the invented study complete, and is it what its script says?"""

import math
import tomllib

import numpy as np
import pytest

from demo_patterns import make_demo
from tests.generator import expected_counts

DESCRIPTION = tomllib.loads((make_demo.HERE / "study.toml").read_text(encoding="utf-8"))


def test_description_is_the_one_of_the_script():
    assert (make_demo.HERE / "study.toml").read_text(encoding="utf-8") == make_demo.study_text()


def test_every_pattern_is_there_and_complete():
    named = [sample["pattern"] for sample in DESCRIPTION["samples"]]
    named.append(DESCRIPTION["instrument"]["calibrate"]["pattern"])
    assert sorted(named) == sorted(path.name for path in make_demo.HERE.glob("*.xy"))
    assert len(named) > 12
    for name in named:
        two_theta, counts = np.loadtxt(make_demo.HERE / name, unpack=True)
        assert two_theta == pytest.approx(18.0 + 0.02 * np.arange(6101), abs=1e-9)
        assert np.array_equal(counts, np.round(counts)) and counts.min() > 0


def test_nothing_claims_to_be_measured():
    assert "invented" in (make_demo.HERE / "README.md").read_text(encoding="utf-8")
    for path in make_demo.HERE.glob("*.xy"):
        assert "not measured" in path.read_text(encoding="utf-8").split("\n", 1)[0]


def test_patterns_follow_from_the_truth_of_the_script():
    # Poisson counts about the expected ones: the mean square deviation is one within five standard
    # deviations.
    piece = make_demo.PIECES[-1]
    mean = expected_counts(
        make_demo.truth(piece), make_demo.DIFFRACTOMETER, peak_counts=make_demo.PEAK_COUNTS
    )
    counts = np.loadtxt(make_demo.HERE / f"{piece.name}.xy", usecols=1)
    chi2 = ((counts - mean) ** 2 / mean).mean()
    assert chi2 == pytest.approx(1.0, abs=5.0 * math.sqrt(2.0 / len(mean)))


def test_trends_are_sensible():
    # Only the sense of the trends is stated: hotter for the same time gives more tin, more order, larger
    # domains, less niobium.
    cold, hot = (make_demo.truth(make_demo.Piece("heron", hold, 50)) for hold in (650, 725))
    assert hot.tin_fraction > cold.tin_fraction and hot.site_order > cold.site_order
    assert hot.domain_size_nm > cold.domain_size_nm
    assert hot.weight_fractions()["nb"] < cold.weight_fractions()["nb"]
