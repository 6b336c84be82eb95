"""One study in several processes of its own: order of files, workers, hash seed and threads change no number."""

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.generator import InstrumentTruth, PhaseTruth, SampleTruth, simulate
from tests.results.test_recomputed import WRITTEN, recomputed
from tests.running.conftest import GRID, HEADER, write_pattern
from xrdorder.results.collate import read_results
from xrdorder.results.sample_file import StoredSample, read_sample

EQUAL = 1e-9
"""Far above rounding, far below any digit that is printed."""

SAMPLES = {"one": (0.240, 0.97, 0.02), "two": (0.245, 0.95, 0.0), "three": (0.235, 0.96, -0.03)}
"""Tin fraction, order of the niobium sites, displacement in mm."""

SCANS = (1, 2)
"""Files of each sample."""

# order of samples and of the files of each, workers, hash seed, threads of linear algebra
RUNS = {"first": (1, 1, "0", "1"), "other order": (-1, 2, "7", "1"), "two threads": (1, 1, "0", "2")}

RUN = "from xrdorder import run_study\nif __name__ == '__main__': run_study({folder!r}, workers={workers})"


@pytest.fixture(scope="module")
def studies(tmp_path_factory, patterns):
    """Result folders by run."""
    base = tmp_path_factory.mktemp("runs")
    niobium = PhaseTruth("nb", 0.1, 0.33010)
    for seed, (name, (tin, order_a, displacement)) in enumerate(SAMPLES.items(), start=11):
        truth = SampleTruth(tin_fraction=tin, order_a=order_a, others=(niobium,), displacement_mm=displacement)
        for scan in SCANS:
            write_pattern(base / f"{name}{scan}.xy", simulate(truth, InstrumentTruth(), GRID, seed=seed + 100 * scan))
    (base / "lab6.xy").write_bytes((patterns[0] / "lab6.xy").read_bytes())
    children = []
    for number, (step, workers, seed, threads) in enumerate(RUNS.values()):
        folder = base / str(number)
        folder.mkdir()
        described = HEADER.replace("patterns/lab6.xy", "../lab6.xy") + "".join(
            f'[[samples]]\nname = "{name}"\nlot = "A"\npattern = {[f"../{name}{scan}.xy" for scan in SCANS[::step]]}\n'
            f"treatment = [{{ hold_c = 650, hours = {100 + 50 * len(name)}, ramp_k_per_h = 50 }}]\n"
            for name in list(SAMPLES)[::step]
        )
        (folder / "study.toml").write_text(described, encoding="utf-8")
        threads_of = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), threads)
        environment = {**os.environ, "PYTHONHASHSEED": seed, **threads_of}
        code = RUN.format(folder=str(folder), workers=workers)
        root = Path(__file__).parents[2]
        children.append(subprocess.Popen([sys.executable, "-c", code], env=environment, cwd=root))
    assert [child.wait() for child in children] == [0] * len(RUNS)
    return {name: base / str(number) / "results" for number, name in enumerate(RUNS)}


def fits(folder: Path) -> dict[str, StoredSample]:
    return {name: read_sample(folder / "samples" / f"{name}.nc") for name in SAMPLES}


def same(one: StoredSample, other: StoredSample) -> None:
    """Equal to 1e-9: values, contributions of their uncertainty, parameters in their standard deviations, curves."""
    assert one.values == pytest.approx(other.values, rel=EQUAL, nan_ok=True)
    assert one.contributions.sources == other.contributions.sources
    for a, b in zip(one.contributions.values, other.contributions.values, strict=True):
        np.testing.assert_allclose(a, b, rtol=0.0, atol=EQUAL * np.linalg.norm(a))  # of the whole uncertainty
    a, b = (sample.groups["parameters"] for sample in (one, other))
    assert a["parameter"].equals(b["parameter"])
    u = a["stderr"].fillna(0.0).values
    assert np.all(np.abs(a["value"] - b["value"]) <= EQUAL * np.maximum(np.abs(a["value"]), u))
    np.testing.assert_allclose(one.curves["calculated"], other.curves["calculated"], rtol=EQUAL)
    assert (one.flags, one.quality_words, one.model) == (other.flags, other.quality_words, other.model)


@pytest.mark.slow
@pytest.mark.parametrize("run", [name for name in RUNS if name != "first"])
def test_fits_are_the_same(studies, run):
    first, other = fits(studies["first"]), fits(studies[run])
    for name in SAMPLES:
        same(first[name], other[name])
    texts = [(folder / "instrument.toml").read_text(encoding="utf-8") for folder in (studies["first"], studies[run])]
    numbers = [[float(one) for one in re.findall(r"(?<== )-?\d+\.\d+(?:e-?\d+)?", text)] for text in texts]
    assert len(numbers[0]) > 10
    assert numbers[0] == pytest.approx(numbers[1], rel=EQUAL)


@pytest.mark.slow
def test_draws_do_not_depend_on_order_processes_and_hash_seed(studies):
    first, other = (read_results(studies[run]) for run in ("first", "other order"))
    assert list(other["sample"].values) == list(SAMPLES)[::-1]
    other = other.sel(sample=first["sample"].values)
    np.testing.assert_array_equal(first["estimate_draws"].values, other["estimate_draws"].values)
    np.testing.assert_array_equal(first["shared_draws"].values, other["shared_draws"].values)
    assert first.attrs["estimate_seed"] == other.attrs["estimate_seed"]
    columns = [name for name in first if first[name].dims == ("sample",) and first[name].dtype.kind == "f"]
    assert "Tc_K" in columns
    for name in columns:
        np.testing.assert_allclose(first[name], other[name], rtol=EQUAL, err_msg=name)


@pytest.mark.slow
def test_draws_are_the_same_within_their_noise_with_more_threads(studies):
    first, other = (read_results(studies[run]) for run in ("first", "two threads"))
    for name, tolerance in {"Tc": "K", "Bc2_4K2": "T", "Bc2_0K": "T"}.items():
        low, middle, high = (first[f"{name}{end}_{tolerance}"].values for end in ("_low", "", "_high"))
        # a median of n draws has 1.25 s / root(n), the difference of two 1.8: five of them
        noise = 5.0 * 1.8 * (high - low) / 2.0 / np.sqrt(first.sizes["draw"])
        assert np.all(np.abs(other[f"{name}_{tolerance}"].values - middle) < noise)


@pytest.mark.slow
@pytest.mark.parametrize("run", RUNS)
def test_the_table_is_recomputed_from_the_files(studies, run, monkeypatch):
    names, worst = recomputed(studies[run], monkeypatch)
    assert {"Tc_K", "Bc2_4K2_high_T", "dose_low_h", "r_wp", "u_tin_independent_at_percent"} <= names
    assert worst[0] < WRITTEN, worst
