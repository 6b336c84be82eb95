"""What a study tells of its samples beyond what a fit sees: followed by the results without a new fit."""

import hashlib

import numpy as np
import pytest
from click.testing import CliRunner

from tests.generator import InstrumentTruth, simulate_standard
from tests.running.conftest import GRID, LENGTH_MM, write_pattern
from xrdorder.cli import main
from xrdorder.exceptions import StudyError
from xrdorder.profiles import read_instrument
from xrdorder.results.open_study import open_study
from xrdorder.running.run import run_study

LOG = "# invented\ntime_h,temperature_c\n0,20\n10,650\n110,650\n115,30\n"


@pytest.mark.slow
def test_a_log_is_followed_without_a_fit(tiny, fits):
    folder = tiny.describe("good")
    file = folder / "study.toml"
    log = folder / "furnace.csv"
    log.write_text(LOG)
    text = file.read_text().replace("[{ hold_c = 650, hours = 100 }]", '"furnace.csv"')
    file.write_text(text)
    first = run_study(folder, workers=1)
    assert first["peak_c"].item() == pytest.approx(650.0)
    fits.clear()
    assert run_study(folder, workers=1).attrs["unchanged"] == 1
    # the bytes of the log are part of what the interpretation was made from
    log.write_text(LOG.replace("650", "680"))
    second = run_study(folder, workers=1)
    assert (second.attrs["interpreted"], fits) == (1, [])
    assert second["peak_c"].item() == pytest.approx(680.0)
    assert second["dose_h"].item() > 2 * first["dose_h"].item()
    options = open_study(folder).sample("good").provenance.options
    assert options["treatment_log"] == {"furnace.csv": hashlib.sha256(log.read_bytes()).hexdigest()}
    assert options["reaction_temperature_c"] == pytest.approx(680.0)


@pytest.mark.slow
def test_dose_place_and_date_change_the_table_alone(tiny, fits):
    folder = tiny.describe("good", "twice")
    before = run_study(folder, workers=1)
    fits.clear()
    file = folder / "study.toml"
    text = file.read_text().replace('name = "good"', 'name = "good"\nposition_m = 3\ndate = 2026-03-14')
    file.write_text(text.replace("[defaults]", "[dose]\nreference_c = 700\n[defaults]"))
    after = run_study(folder, workers=1)
    assert (after.attrs["unchanged"], fits) == (2, [])
    assert after["dose_h"].values[0] < before["dose_h"].values[0]
    assert after["position"].values[0] == 3.0 and after["date"].values.tolist() == ["2026-03-14", ""]
    assert '"treatment_log"' not in str(open_study(folder).sample("good").provenance.options)


def another_calibration(folder, *, of):
    """Add two named calibrations by a second scan of the standard, the second of them used by nobody."""
    scan = simulate_standard(InstrumentTruth(), "srm-660c", GRID, specimen_length_mm=LENGTH_MM, seed=99)
    write_pattern(folder / "patterns/lab6-2.xy", scan)
    file = folder / "study.toml"
    text = file.read_text()
    keys = text[text.index("[instrument.calibrate]") : text.index("[defaults]")].replace("lab6.xy", "lab6-2.xy")
    tables = "".join(keys.replace("[instrument.calibrate]", f"[calibrations.{name}]") for name in ("second", "idle"))
    text = text.replace("[defaults]", f"{tables}[defaults]").replace(f'"{of}"', f'"{of}"\ncalibration = "second"', 1)
    file.write_text(text)


@pytest.mark.slow
def test_a_calibration_is_shared_by_those_who_use_it_alone(tiny):
    folder = tiny.describe("good", "twice", "niobium", more='[[samples]]\nname = "same"\npattern = "patterns/good.xy"')
    another_calibration(folder, of="twice")
    found = run_study(folder, workers=1)
    assert not list((folder / "results").glob("*idle*"))
    ids = [read_instrument(folder / "results" / name).id for name in ("instrument.toml", "instrument-second.toml")]
    assert ids[0] != ids[1]
    assert found["calibration_name"].values.tolist() == ["", "second", "", ""]
    assert found["calibration"].values.tolist() == [ids[0], ids[1], ids[0], ids[0]]
    groups = found["source_group"].sel(sample=["good", "twice", "same"]).values.astype(str)
    k = [j for j in range(groups.shape[1]) if ids[0] in groups[:, j]]
    parts = found["contribution"].sel(quantity="a_nm", sample=["good", "twice", "same"]).values[:, k]
    # equal patterns by one calibration: its doubt cancels; by another: it does not
    assert np.any(np.abs(parts[0]) > 0.0)
    np.testing.assert_allclose(parts[0], parts[2], rtol=1e-6, atol=1e-12)
    used = groups[:, k][:, np.any(np.abs(parts) > 0.0, axis=0)]
    assert set(used[0]) == set(used[2]) == {ids[0]} and ids[0] not in used[1]


@pytest.mark.slow
def test_another_calibration_fits_again_only_those_who_use_it(tiny, fits):
    folder = tiny.describe("good", "twice")
    run_study(folder, workers=1)
    fits.clear()
    another_calibration(folder, of="twice")
    assert run_study(folder, workers=1).attrs["fitted"] == 1
    assert fits == ["lab6-2.xy", "good.xy, again.xy"]
    fits.clear()
    assert run_study(folder, workers=1).attrs["unchanged"] == 2
    assert fits == []


def test_all_calibrations_that_fail_are_told(tiny, fits):
    folder = tiny.describe("good", "twice")
    another_calibration(folder, of="twice")
    for name in ("lab6.xy", "lab6-2.xy"):
        (folder / "patterns" / name).write_text("no numbers here\n")
    with pytest.raises(StudyError) as caught:
        run_study(folder, workers=1)
    first, second = str(caught.value).splitlines()
    assert first.startswith("instrument.calibrate: ") and second.startswith("calibrations.second: ")
    assert all(name in line for name, line in (("lab6.xy", first), ("lab6-2.xy", second)))


@pytest.mark.slow
def test_commands_that_mix_both_refuse_and_the_others_say_so(tiny, fits):
    folder = tiny.describe("good", "twice")
    run_study(folder, workers=1)
    file = folder / "study.toml"
    file.write_text(file.read_text().replace("hold_c = 650", "hold_c = 640"), encoding="utf-8")
    said = "study.toml says otherwise than the results of good: treatment is 640 °C/100 h, there 650 °C/100 h"
    for words in (["suggest", "--field", "16"], ["report"]):
        found = CliRunner().invoke(main, [words[0], str(folder), *words[1:]])
        assert (found.exit_code, said in found.stderr) == (2, True), found.output
    for command in ("compare", "fields"):
        assert f"remark: {said}" in CliRunner().invoke(main, [command, str(folder)]).stderr
    run_study(folder, workers=1)
    assert "says otherwise" not in CliRunner().invoke(main, ["compare", str(folder)]).output
