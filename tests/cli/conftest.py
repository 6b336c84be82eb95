"""Small patterns for the commands: a coarse grid, but a whole chain from counts to estimates."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.generator import InstrumentTruth, PhaseTruth, SampleTruth, simulate, simulate_standard
from xrdorder.cli import main

GRID = np.round(20.0 + 0.06 * np.arange(1001), 2)  # 20 to 80 degrees: a fit takes half a second
LENGTH_MM = 20.0
CALIBRATE = (
    "--standard", "srm-660c", "--radiation", "cu-ka", "--detector-distance-mm", "217.5",
    "--divergence-deg", "0.5", "--specimen-length-mm", "20",
)  # fmt: skip


def write(path: Path, scan) -> None:
    np.savetxt(path, np.column_stack(scan), fmt=["%.2f", "%d"], header="invented; 2theta (degree), counts")


@pytest.fixture(autouse=True)
def wide(monkeypatch):
    """A terminal with room for all columns, so that words stand together; what is narrower has tests of its own."""
    monkeypatch.setenv("COLUMNS", "160")


@pytest.fixture(scope="session")
def scans(tmp_path_factory):
    """Folder of patterns: a standard, two samples, niobium alone, and what is no pattern."""
    folder = tmp_path_factory.mktemp("scans")
    optics = InstrumentTruth(divergence_deg=0.5)
    niobium = PhaseTruth("nb", 0.1, 0.33010)
    write(
        folder / "lab6.xy",
        simulate_standard(optics, "srm-660c", GRID, specimen_length_mm=LENGTH_MM, seed=1),
    )
    for seed, (name, order) in enumerate({"one": 0.97, "two": 0.93}.items(), start=2):
        truth = SampleTruth(
            0.24, order, others=(niobium,), displacement_mm=0.02, specimen_length_mm=LENGTH_MM
        )
        write(folder / f"{name}.xy", simulate(truth, optics, GRID, seed=seed))
    alone = SampleTruth(others=(PhaseTruth("nb", 1.0, 0.33010),), specimen_length_mm=LENGTH_MM)
    write(folder / "niobium.xy", simulate(alone, optics, GRID, seed=9))
    (folder / "letters.xy").write_text("20.00 many\n20.02 few\n")
    (folder / "empty.xy").write_text("")
    return folder


@pytest.fixture(scope="session")
def calibration(scans):
    """Instrument file made by the command itself, and what the command printed."""
    path = scans / "instrument.toml"
    result = CliRunner().invoke(main, ["calibrate", str(scans / "lab6.xy"), *CALIBRATE, "--out", str(path)])
    assert result.exit_code == 0, result.output
    return path, result.stdout


@pytest.fixture(scope="session")
def instrument(calibration):
    return calibration[0]


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run a command in an empty working directory."""
    monkeypatch.chdir(tmp_path)

    def run_command(*words):
        return CliRunner().invoke(main, [str(word) for word in words])

    return run_command
