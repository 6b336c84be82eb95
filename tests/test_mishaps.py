"""Do kinds of mishaps do what they say? The scans of `tests.benchmarks.mishaps`, without any fit."""

import numpy as np
import pytest

from tests.benchmarks.mishaps import KINDS, UNSEEN, Scan
from tests.generator import InstrumentTruth, PhaseTruth, SampleTruth

SAMPLE = SampleTruth(
    specimen_length_mm=20.0,
    others=(PhaseTruth("nb", 0.1, 0.33007), PhaseTruth("cu-sn", 0.05, 0.366, tin_fraction=0.03)),
)
ANGLES = np.round(np.arange(20.0, 125.0, 0.05), 2)
MEANS = 50.0 + 24_950.0 * np.exp(-(((ANGLES[:, None] - [33.6, 37.7, 66.2]) / 0.15) ** 2)).sum(axis=1)


def drawn(kind: str, seed: int = 1) -> Scan:
    return KINDS[kind](np.random.default_rng(seed), SAMPLE, InstrumentTruth())


def written(scan: Scan) -> tuple[np.ndarray, np.ndarray]:
    """What would be in the file, of these means."""
    return scan.after(ANGLES, scan.count(scan.before(ANGLES, MEANS), 2))


@pytest.mark.parametrize("kind", KINDS)
def test_a_scan_is_a_scan(kind: str):
    scan, again = drawn(kind), drawn(kind)
    assert scan.how == again.how and scan.sample == again.sample and scan.instrument == again.instrument
    for mine, theirs in zip(written(scan), written(again), strict=True):
        assert np.array_equal(mine, theirs) and np.all(np.isfinite(mine))
    angles, counts = written(scan)
    assert np.all(np.diff(angles) > 0.0) and angles.shape == counts.shape
    # a kind that does nothing to the scan, the truth, or what is told, cannot be told from a clean one
    plain = Scan(SAMPLE, InstrumentTruth())
    untouched = np.array_equal(counts, written(plain)[1]) and np.array_equal(angles, written(plain)[0])
    changed = ("sample", "instrument", "calibrated_with", "told_length_mm", "step_deg", "standard_domain_size_nm")
    assert not untouched or any(getattr(scan, name) != getattr(plain, name) for name in changed)


def test_unseen_kinds_are_kinds():
    assert set(KINDS) > UNSEEN


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind.startswith("all reacted")])
def test_reacted_wires_hold_no_niobium(kind: str):
    sample = drawn(kind).sample
    assert [one.name for one in sample.others] == ["cu-sn"]
    effects = (sample.fibre, sample.lattice, sample.strain_anisotropy or None)
    assert sum(one is not None for one in effects) == (0 if kind == "all reacted" else 1)


def test_axis_that_is_told_is_the_true_one():
    scan = drawn("all reacted and fibre asked")
    assert scan.sample.fibre is not None
    assert scan.asked == {"texture_axes": {"nb3sn": scan.sample.fibre.axis}}


def test_laws_of_sizes_are_the_truth():
    for kind in ("lognormal sizes", "two sizes"):
        sample = drawn(kind).sample
        assert sample.sizes is not None and sample.volume_weighted_nm == sample.sizes.volume_weighted_nm
    assert 700.0 < drawn("standard of small domains").standard_domain_size_nm < 4000.0


def test_all_scans_of_a_laboratory_are_alike():
    for kind in ("resampled finely", "angles of two decimals", "alpha2 stripped everywhere"):
        assert drawn(kind).standard_too
    both = {drawn("alpha1 alone", seed).calibrated_with for seed in range(9)}
    assert {None if one is None else one.radiation for one in both} == {None, "cu-ka1"}
