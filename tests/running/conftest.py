"""A tiny study with known truth: a calibration scan and a few samples, coarse but real."""

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from tests.generator import (
    InstrumentTruth,
    PhaseTruth,
    SampleTruth,
    simulate,
    simulate_standard,
)
from xrdorder import fitting
from xrdorder.fitting import calibrate, fit_pattern
from xrdorder.patterns import read_patterns
from xrdorder.running import fit_sample as work
from xrdorder.running import run

# Wider steps and less range than a real scan: a fit takes a fraction of a second and is still a whole one.
GRID = np.round(20.0 + 0.04 * np.arange(2251), 2)
LENGTH_MM = 20.0

HEADER = """
title = "A tiny study"
phases = ["nb3sn", "nb"]

[instrument.calibrate]
pattern = "patterns/lab6.xy"
standard = "srm-660c"
radiation = "cu-ka"
detector_distance_mm = 217.5
divergence_deg = 0.5
specimen_length_mm = 20.0

[defaults]
mount = "ground-powder"
temperature_c = 22.5
u_temperature_k = 0.5

[lots.A]
route = "internal tin"
dopant_at_percent = { Ta = 2.4 }
"""

SAMPLES = {
    "good": 'pattern = "patterns/good.xy"\ntreatment = [{ hold_c = 650, hours = 100 }]\n',
    "niobium": 'pattern = "patterns/niobium.xy"\n',
    "letters": 'pattern = "patterns/letters.xy"\n',
    "missing": 'pattern = "patterns/god.xy"\n',
    "twice": 'pattern = ["patterns/good.xy", "patterns/again.xy"]\nlot = "A"\n',
}


@dataclass(frozen=True)
class TinyStudy:
    """A study folder, and what is true about its samples."""

    folder: Path
    truth: dict[str, SampleTruth]

    def describe(self, *names: str, more: str = "") -> Path:
        """Write the description with these samples."""
        blocks = [f'[[samples]]\nname = "{name}"\n{SAMPLES[name]}' for name in names]
        (self.folder / "study.toml").write_text("\n".join([HEADER, *blocks, more]), encoding="utf-8")
        return self.folder


def write_pattern(path: Path, scan: tuple[np.ndarray, np.ndarray]) -> None:
    np.savetxt(path, np.column_stack(scan), fmt=["%.2f", "%d"], header="invented pattern; 2theta, counts")


@pytest.fixture(scope="session")
def patterns(tmp_path_factory):
    """Pattern files and their truth, made once."""
    folder = tmp_path_factory.mktemp("patterns")
    instrument = InstrumentTruth()
    niobium = PhaseTruth("nb", 0.1, 0.33010)
    good = SampleTruth(tin_fraction=0.24, order_a=0.97, others=(niobium,), displacement_mm=0.02)
    only_niobium = SampleTruth(others=(PhaseTruth("nb", 1.0, 0.33010),))
    scan = {"specimen_length_mm": LENGTH_MM, "seed": 1}
    write_pattern(folder / "lab6.xy", simulate_standard(instrument, "srm-660c", GRID, **scan))
    for seed, (name, truth) in enumerate(
        {"good": good, "again": good, "niobium": only_niobium}.items(), start=2
    ):
        write_pattern(folder / f"{name}.xy", simulate(truth, instrument, GRID, seed=seed))
    (folder / "letters.xy").write_text("20.00 many\n20.02 few\n")
    return folder, {"good": good, "niobium": only_niobium, "twice": good}


@pytest.fixture
def tiny(tmp_path, patterns):
    """A fresh study folder with its own copies of the patterns."""
    source, truth = patterns
    folder = tmp_path / "study"
    (folder / "patterns").mkdir(parents=True)
    for path in source.iterdir():
        (folder / "patterns" / path.name).write_bytes(path.read_bytes())
    return TinyStudy(folder, truth)


@pytest.fixture(scope="session")
def one_fit(patterns):
    """One real calibration and one real fit, for tests that are about keeping, not about fitting."""
    folder, _ = patterns
    found = calibrate(
        read_patterns([folder / "lab6.xy"]),
        "srm-660c",
        radiation="cu-ka",
        detector_distance_mm=217.5,
        divergence_deg=0.5,
        specimen_length_mm=LENGTH_MM,
    )
    fit = fit_pattern(read_patterns([folder / "good.xy"]), found.instrument, phases=["nb3sn", "nb"])
    return found, fit


@pytest.fixture
def fits(monkeypatch, one_fit):
    """Source files of all patterns fitted from here on; every fit gives the one real fit, at no cost.

    The instrument tells apart scans of different counts, as a real calibration would.
    """
    calibrated, fitted = one_fit
    done = []

    def calibrate_again(pattern, *args, **kwargs):
        done.append(pattern.attrs["source_file"])
        remark = f"sum of counts {float(pattern.sum()):.0f}"
        return replace(calibrated, instrument=replace(calibrated.instrument, remarks=(remark,)))

    def fit_again(pattern, *args, **kwargs):
        done.append(pattern.attrs["source_file"])
        return fitted

    monkeypatch.setattr(fitting, "calibrate", calibrate_again)
    monkeypatch.setattr(work, "fit_pattern", fit_again)
    monkeypatch.setattr(run, "estimated", partial(run.estimated, n=250))
    return done
