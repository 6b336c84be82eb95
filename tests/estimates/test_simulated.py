"""Draws against simulated truths; campaigns are in tests/benchmarks/simulated_wires.py."""

import ast
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.simulated_wires import TRUTHS, campaign, told
from tests.estimates import truths
from xrdorder.estimates import joint_draws
from xrdorder.estimates import sampler as sampler_module


def test_the_generator_shares_nothing_with_the_model() -> None:
    tree = ast.parse(Path(truths.__file__).read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert names == {"math", "numpy", "dataclasses"}


def rms(z: np.ndarray) -> float:
    return float(np.sqrt(np.mean(z**2)))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("truth", "lots", "wires", "studies"), [("priors-5", 1, 5, 24), ("uniform-5", 2, 10, 16)]
)
def test_small_studies(truth: str, lots: int, wires: int, studies: int) -> None:
    """At most 8 % of wires with tin beyond two u, and rms z of 1.3, as was asked of the model.

    Wires of a study share their scale: 24 or 16 independent answers. The limits are twice the share and 1.4 for that.
    """
    scores = campaign(truth, lots, wires, studies, 1000)
    assert np.mean(np.abs(scores["tin"][:, 1]) > 2.0) <= 0.16
    for name in ("tin", "dtin", "dTc", "dBc2"):
        assert rms(scores[name][:, 1]) <= 1.4, name


@pytest.mark.slow
def test_a_large_study_does_not_overlearn() -> None:
    """500 wires of ten lots anywhere in the field: rms z of tin was 1.6 while the lots had no level in common."""
    scores = campaign("uniform-5", 10, 50, 2, 500)
    assert rms(scores["tin"][:, 1]) <= 1.4
    assert rms(scores["dtin"][:, 1]) <= 1.3


@pytest.mark.slow
def test_walkers_have_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four times the moves change means by less than a tenth of u and u by less than a tenth."""
    wires = told(truths.study(np.random.default_rng(8), 3, 6, TRUTHS["priors-5"]))
    usual = joint_draws(wires, n=3000).values["tin_fraction"]
    monkeypatch.setattr(sampler_module, "SETTLING", 4 * sampler_module.SETTLING)
    longer = joint_draws(wires, n=3000).values["tin_fraction"]
    assert np.all(np.abs(usual.mean(axis=1) - longer.mean(axis=1)) < 0.1 * longer.std(axis=1))
    assert usual.std(axis=1) == pytest.approx(longer.std(axis=1), rel=0.1)
