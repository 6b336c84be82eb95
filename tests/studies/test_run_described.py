"""What a study tells of its samples beyond what a fit sees: followed by the results without a new fit."""

import hashlib

import pytest

from xrdorder.studies import open_study, run_study

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
