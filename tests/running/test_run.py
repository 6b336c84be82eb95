"""A study from patterns to table: right numbers, nothing done twice, nothing lost."""

import csv
import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from xrdorder import fitting
from xrdorder.description.study import read_study
from xrdorder.exceptions import FitError, StudyError, ValidityError
from xrdorder.files import atomic as files
from xrdorder.fitting import FitOptions
from xrdorder.material import PUBLISHED_SCALE, write_tin_scale
from xrdorder.material.formulas import recomputed
from xrdorder.profiles import read_instrument
from xrdorder.results.collate import collate
from xrdorder.results.open_study import open_study
from xrdorder.results.sample_file import read_sample, write_sample
from xrdorder.running import fit_sample as work
from xrdorder.running import instruments as calibration
from xrdorder.running import run
from xrdorder.running.run import run_study

ROOT = Path(__file__).parents[2]


def rows(folder):
    with (folder / "results/results.csv").open(encoding="utf-8", newline="") as file:
        return {row["sample"]: row for row in csv.DictReader(file)}


def counts(dataset):
    return {key: dataset.attrs[key] for key in ("samples", "fitted", "unchanged", "failed", "no_a15")}


@pytest.mark.slow
def test_a_whole_study(tiny):
    """Every kind of sample at once, with the real fit: numbers where there are some, reasons where not."""
    seen = []
    folder = tiny.describe("good", "niobium", "letters", "missing", "twice")
    dataset = run_study(folder, workers=1, progress=lambda *step: seen.append(step))
    assert counts(dataset) == {"samples": 5, "fitted": 3, "unchanged": 0, "failed": 2, "no_a15": 1}
    assert [(done, total) for done, total, _ in seen] == [(k, 4) for k in range(1, 5)]
    table = rows(folder)
    assert list(table) == ["good", "niobium", "letters", "missing", "twice"]

    truth = tiny.truth["good"]
    expected = {"a_nm": truth.lattice_nm, "site_order": truth.site_order, "weight_fraction_nb": 0.1}
    good = table["good"]
    assert good["status"] == "ok"
    for name, value in expected.items():
        # four standard uncertainties of a single draw: exceeded by chance once in 16 000
        assert abs(float(good[name]) - value) < 4 * float(good[f"u_{name}"]), name
        assert float(good[f"u_{name}"]) > 0
    # the two scans together are as good as one of twice the time, so what counting leaves open is less
    part = dataset["contribution"].sel(quantity="weight_fraction_nb")
    counting = np.sqrt((part.sel(source=part["source"].str.startswith("counting/")) ** 2).sum("source"))
    assert counting.sel(sample="twice") < 0.9 * counting.sel(sample="good")
    # slit and length are those of the standard alone: that of the sample is missing, which makes no fit worse
    assert "specimen length" in good["information_missing"] and "beam" not in good["quality"]
    assert table["niobium"]["quality"].startswith("do not use: ")
    assert table["letters"]["quality"] == ""
    assert 22.0 < float(good["tin_at_percent"]) < 26.0
    # wires of other lots, of which one has no A15, tell next to nothing about its tin
    assert 0.0 < float(good["u_tin_independent_at_percent"]) <= float(good["u_tin_at_percent"])
    for name in ("Tc_low_K", "Tc_K", "Tc_high_K", "Bc2_0K_low_T", "Bc2_0K_T", "Bc2_0K_high_T", "Bc2_4K2_T"):
        assert float(good[name]) > 0, name
    assert float(good["Tc_low_K"]) < float(good["Tc_K"]) < float(good["Tc_high_K"])
    assert dataset.sizes["relation"] >= 6

    assert table["niobium"]["status"] == "no A15"
    assert table["niobium"]["a_nm"] == table["niobium"]["Tc_K"] == ""
    assert float(table["niobium"]["weight_fraction_nb"]) == pytest.approx(1.0)
    assert table["letters"]["status"].startswith("failed: ")
    assert "letters.xy" in table["letters"]["status"]
    assert table["missing"]["status"].startswith("failed: ")
    assert "did you mean 'good.xy'?" in table["missing"]["status"]
    assert table["letters"]["a_nm"] == table["missing"]["r_wp"] == ""


@pytest.mark.slow
def test_what_is_stored_repeats_the_result(tiny):
    """Provenance, instrument, curves and shared contributions are all there."""
    folder = tiny.describe("good", "twice")
    run_study(folder, workers=1)
    opened = open_study(folder)
    good, twice = opened.sample("good"), opened.sample("twice")
    pattern = folder / "patterns/good.xy"
    assert good.provenance.input_sha256 == {"good.xy": files.file_hash(pattern)}
    assert good.provenance.options["mount"] == "ground-powder"
    instrument = read_instrument(folder / "results/instrument.toml")
    assert good.provenance.calibration == instrument.id == opened.results["calibration"].values[0]
    observed = good.curves["observed"].values
    np.testing.assert_array_equal(observed, np.loadtxt(pattern)[:, 1])
    assert set(good.lines["phase"].values) >= {"nb3sn", "nb"}
    assert good.quality_words == opened.results["quality"].sel(sample="good").item()
    whole = good.cross_checks.sel(route="whole pattern")
    assert float(whole["a_nm"]) == pytest.approx(good.values["a_nm"], rel=1e-12)  # measured at 22.5 °C: no expansion
    table = good.groups["parameters"]
    assert table["covariance"].shape == (table.sizes["free"],) * 2
    # whatever is stored says how it was computed, and its formula gives it again
    for name, value in good.values.items():
        record = good.records[name]
        if record.formula and np.isfinite(value):
            assert recomputed(record) == pytest.approx(value, rel=1e-9), record
        else:
            assert record.remark, name
    # both samples hang on one calibration: its columns are shared, counting is not
    shared = {
        name: dict(zip(s.contributions.sources, s.contributions.groups, strict=True))
        for name, s in (("good", good), ("twice", twice))
    }
    calibrated = [source for source in shared["good"] if source.startswith("calibration/")]
    assert calibrated
    assert all(shared["good"][s] == shared["twice"][s] == instrument.id for s in calibrated)
    assert all(not group for source, group in shared["good"].items() if source.startswith("counting/"))
    # the dopant of lot A belongs to that lot alone
    dopant = [source for source, group in shared["twice"].items() if group == "A"]
    assert dopant and not set(dopant) & set(shared["good"])
    assert read_sample(folder / "results/calibration.nc").status == "ok"
    with pytest.raises(StudyError, match="has no sample 'goood'; did you mean 'good'"):
        opened.sample("goood")


@pytest.mark.slow
def test_unchanged_input_is_not_fitted_again(tiny, fits):
    folder = tiny.describe("good", "letters")
    first = run_study(folder, workers=1)
    assert fits == ["lab6.xy", "good.xy"]
    second = run_study(folder, workers=1)
    assert fits == ["lab6.xy", "good.xy"]
    assert counts(second) == {"samples": 2, "fitted": 0, "unchanged": 2, "failed": 1, "no_a15": 0}
    assert second.drop_attrs().identical(first.drop_attrs())
    run_study(folder, workers=1, again=True)
    assert fits == ["lab6.xy", "good.xy"] * 2


@pytest.mark.slow
def test_only_what_changed_is_fitted_again(tiny, fits):
    folder = tiny.describe("good", "twice")
    run_study(folder, workers=1)
    fits.clear()
    file = folder / "study.toml"
    description = file.read_text()
    # the dopant of lot A touches the sample of that lot
    file.write_text(description.replace("Ta = 2.4", "Ta = 2.0"))
    run_study(folder, workers=1)
    assert fits == ["good.xy, again.xy"]
    fits.clear()
    # a choice of the fit touches the sample that makes it
    file.write_text(file.read_text().replace('name = "good"', 'name = "good"\nfit = { elastic_shifts = true }'))
    run_study(folder, workers=1)
    assert fits == ["good.xy"]
    assert open_study(folder).sample("good").provenance.options["fit"] == {"elastic_shifts": True}
    fits.clear()
    # the heat treatment is not what the fit looks at, yet the table follows it
    file.write_text(file.read_text().replace("hold_c = 650", "hold_c = 700"))
    dataset = run_study(folder, workers=1)
    assert fits == []
    assert dataset["treatment"].sel(sample="good").item() == "700 °C/100 h"
    # a pattern with other bytes
    pattern = folder / "patterns/good.xy"
    pattern.write_text(pattern.read_text() + "\n")
    assert run_study(folder, workers=1).attrs["fitted"] == 2
    fits.clear()
    # a calibration scan with other words gives the same instrument, one with another count a new one
    standard = folder / "patterns/lab6.xy"
    standard.write_text(standard.read_text().replace("invented", "invented again"))
    assert run_study(folder, workers=1).attrs["fitted"] == 0
    assert fits == ["lab6.xy"]
    lines = standard.read_text().split("\n")
    angle, number = lines[5].split()
    lines[5] = f"{angle} {int(number) + 9}"
    standard.write_text("\n".join(lines))
    assert run_study(folder, workers=1).attrs["fitted"] == 2
    assert fits == ["lab6.xy", "lab6.xy", "good.xy", "good.xy, again.xy"]


@pytest.mark.slow
def test_what_no_fit_sees_is_interpreted_again_without_one(tiny, fits):
    folder = tiny.describe("good", "twice")
    run_study(folder, workers=1)
    fits.clear()
    file = folder / "study.toml"
    text = file.read_text()
    scale = folder / "scale.toml"
    write_tin_scale(replace(PUBLISHED_SCALE, name="ours", a_at_24_nm=PUBLISHED_SCALE.a_at_24_nm - 1.36e-4), scale)
    known_better = text.replace("{ Ta = 2.4 }", "{ Ta = 2.4 }\nu_dopant_at_percent = { Ta = 0.1 }")
    file.write_text(f'tin_scale = "scale.toml"\n{known_better}')
    dataset = run_study(folder, workers=1)
    assert fits == []
    assert (dataset.attrs["fitted"], dataset.attrs["interpreted"], dataset.attrs["unchanged"]) == (0, 2, 0)
    good = open_study(folder).sample("good")
    # the level is 0.136 pm lower: one at.% more tin from the same lattice parameter
    before = PUBLISHED_SCALE.tin(good.values["a_nm"])
    assert good.values["tin_fraction_lattice"] == pytest.approx(before + 0.01, abs=1e-9)
    assert "ours" in good.contributions.groups
    assert (dataset.attrs["tin_scale"], good.curves.sizes["two_theta"] > 1000) == ("ours", True)
    # the same as if it had been fitted
    again = run_study(folder, workers=1, again=True)
    assert again.attrs["fitted"] == 2
    left, right = (one.drop_vars("created").drop_attrs() for one in (dataset, again))
    xr.testing.assert_identical(left, right)
    # the file counts by what it holds, and one that cannot be used ends the run before any work
    fits.clear()
    scale.write_text(scale.read_text() + "# a remark\n")
    assert run_study(folder, workers=1).attrs["interpreted"] == 2
    scale.write_text(scale.read_text().replace("slope_nm", "slope"))
    with pytest.raises(ValidityError, match=r"scale\.toml: key 'slope' is unknown"):
        run_study(folder, workers=1)
    file.write_text(text.replace("[defaults]", "[defaults]\n# nothing new"))
    assert run_study(folder, workers=1).attrs["interpreted"] == 2  # back to the published scale
    assert fits == []


@pytest.mark.slow
def test_choices_of_the_fit_and_geometry_of_the_calibration_arrive_where_they_act(tiny, fits, monkeypatch):
    folder = tiny.describe("good")
    file = folder / "study.toml"
    text = file.read_text().replace("divergence_deg = 0.5", "illuminated_length_mm = 15\npolarisation_ratio = 0.5")
    defaults = "[defaults]\nfit = { roughness = [0.5, 0.05], identify_phases = false }"
    file.write_text(text.replace("[defaults]", defaults))
    told = []
    for module, name in ((fitting, "calibrate"), (work, "fit_pattern")):
        usual = getattr(module, name)
        monkeypatch.setattr(module, name, lambda *a, usual=usual, **told_now: told.append(told_now) or usual(*a))
    run_study(folder, workers=1)
    calibrated, fitted = told
    assert (calibrated["illuminated_length_mm"], calibrated["polarisation_ratio"]) == (15.0, 0.5)
    assert (calibrated["geometry"], calibrated["divergence_deg"]) == ("reflection", None)
    assert fitted["options"] == FitOptions(roughness=(0.5, 0.05), identify_phases=False)
    # the scan of the standard says how it was measured
    standard = folder / "patterns/lab6.xy"
    standard.write_text("# geometry: capillary\n" + standard.read_text())
    file.write_text(file.read_text().replace("illuminated_length_mm = 15", "mu_r = 0.7\nfocused = true"))
    run_study(folder, workers=1)
    assert [told[2][name] for name in ("geometry", "mu_r", "focused")] == ["capillary", 0.7, True]


@pytest.mark.slow
def test_workers_find_the_same_as_one_process(tiny):
    folder = tiny.describe("good", "twice", "letters", "missing")
    alone = run_study(folder, workers=1)
    together = run_study(folder, workers=2, again=True)
    assert counts(together) == counts(alone)
    assert together["status"].equals(alone["status"])
    for name in ("a_nm", "u_a_nm", "site_order", "Tc_K", "Bc2_0K_high_T", "r_wp"):
        # rounding differs between processes, and a fit stops somewhere within a thousandth of an uncertainty
        u = alone[f"u_{name}"] if f"u_{name}" in alone else 0.01 * abs(alone[name])
        assert (abs(together[name] - alone[name]) <= 0.01 * u).where(alone[name].notnull(), True).all(), name


@pytest.mark.slow
def test_an_interrupted_run_goes_on_where_it_stopped(tiny, fits):
    folder = tiny.describe("good", "letters", "twice")

    def interrupt(done, total, name):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_study(folder, workers=1, progress=interrupt)
    assert [path.name for path in (folder / "results/samples").iterdir()] == ["good.nc"]
    fits.clear()
    dataset = run_study(folder, workers=1)
    assert counts(dataset) == {"samples": 3, "fitted": 1, "unchanged": 1, "failed": 1, "no_a15": 0}
    assert fits == ["good.xy, again.xy"]


SCRIPT = """
import signal
import sys
from xrdorder.running.run import run_study
signal.signal(signal.SIGINT, signal.default_int_handler)  # a test run in the background is deaf to it
def progress(done, total, name):
    print(name, flush=True)
try:
    run_study(sys.argv[1], progress=progress, workers=2)
except KeyboardInterrupt:
    print("interrupted", flush=True)
"""


@pytest.mark.slow
def test_ctrl_c_among_workers_keeps_what_is_finished(tiny):
    folder = tiny.describe("good", more=more_samples(9))
    with subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(folder)], stdout=subprocess.PIPE, text=True, start_new_session=True
    ) as process:
        first = process.stdout.readline().partition(" (")[0]  # the name; behind it the quality grade
        # as a terminal does it: the signal goes to the whole group, workers included
        os.killpg(process.pid, signal.SIGINT)
        output, _ = process.communicate(timeout=60)
    assert output.split()[-1] == "interrupted"
    stored = sorted(path.name for path in (folder / "results/samples").iterdir())
    assert f"{first}.nc" in stored
    assert all(name.endswith(".nc") and not name.startswith(".") for name in stored)
    assert len(stored) < 10
    dataset = run_study(folder, workers=1)
    assert dataset.attrs["unchanged"] == len(stored)
    assert dataset.attrs["failed"] == 0


def more_samples(number):
    return "\n".join(
        f'[[samples]]\nname = "more-{k}"\npattern = "patterns/good.xy"\ntemperature_c = {20 + k}\n'
        for k in range(number)
    )


@pytest.mark.slow
def test_a_full_disk_ends_the_run_in_one_line_and_loses_nothing(tiny, monkeypatch, fits):
    folder = tiny.describe("good", "letters")
    run_study(folder, workers=1)
    before = {path: path.read_bytes() for path in (folder / "results").rglob("*.nc")}
    (folder / "patterns/letters.xy").write_bytes((folder / "patterns/again.xy").read_bytes())

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "_flush", full)
    with pytest.raises(StudyError, match="No space left on device") as caught:
        run_study(folder, workers=1)
    assert "\n" not in str(caught.value)
    assert {path: path.read_bytes() for path in (folder / "results").rglob("*.nc")} == before
    assert not list((folder / "results").rglob("*.part"))


@pytest.mark.slow
def test_an_unexpected_error_is_one_row_and_tried_again(tiny, monkeypatch, fits):
    folder = tiny.describe("good", "twice")
    original = work.fit_pattern

    def broken(pattern, *args, **kwargs):
        if pattern.attrs["source_file"] == "good.xy":
            raise ZeroDivisionError("a slip\nin two lines")
        return original(pattern, *args, **kwargs)

    with monkeypatch.context() as patch:
        patch.setattr(work, "fit_pattern", broken)
        dataset = run_study(folder, workers=1)
    status = dataset["status"].sel(sample="good").item()
    assert status == "failed: unexpected ZeroDivisionError: a slip in two lines"
    assert dataset["status"].sel(sample="twice").item() == "ok"
    assert "ZeroDivisionError" in open_study(folder).sample("good").trace
    dataset = run_study(folder, workers=1)
    assert (dataset.attrs["fitted"], dataset["status"].sel(sample="good").item()) == (1, "ok")


@pytest.mark.slow
def test_a_pattern_gone_astray_does_not_take_its_result_along(tiny, fits):
    folder = tiny.describe("good")
    run_study(folder, workers=1)
    pattern = folder / "patterns/good.xy"
    aside = pattern.rename(folder / "aside.xy")
    dataset = run_study(folder, workers=1)
    assert "no such pattern file" in dataset["status"].item()
    assert "no such pattern file" in open_study(folder).sample("good").status
    fits.clear()
    aside.rename(pattern)
    assert run_study(folder, workers=1)["status"].item() == "ok"
    assert fits == []


@pytest.mark.slow
def test_a_damaged_result_is_made_again(tiny, fits):
    folder = tiny.describe("good")
    run_study(folder, workers=1)
    stored = folder / "results/samples/good.nc"
    stored.write_bytes(stored.read_bytes()[:5000])
    assert counts(run_study(folder, workers=1))["fitted"] == 1


@pytest.mark.slow
def test_the_file_of_another_sample_is_no_result(tiny, fits):
    """Of one pattern twice under one description: only the name tells the files apart, and with it private draws."""
    folder = tiny.describe("good", more=more_samples(1))
    run_study(folder, workers=1)
    first, *others = sorted((folder / "results/samples").glob("*.nc"))
    table = (folder / "results/results.csv").read_bytes()
    first.write_bytes(others[0].read_bytes())
    assert counts(run_study(folder, workers=1))["unchanged"] == 1
    assert (folder / "results/results.csv").read_bytes() == table


@pytest.mark.slow
def test_a_digit_changed_in_the_instrument_file_is_seen(tiny, fits):
    """In its uncertainties, which no identity of the instrument holds."""
    folder = tiny.describe("good")
    run_study(folder, workers=1)
    file = folder / "results/instrument.toml"
    text = file.read_text()
    place = text.index(".", text.index("standard_uncertainty = ")) + 6
    file.write_text(f"{text[:place]}{(int(text[place]) + 1) % 10}{text[place + 1 :]}")
    fits.clear()
    run_study(folder, workers=1)
    assert fits == ["lab6.xy"]
    assert file.read_text() == text


@pytest.mark.slow
def test_an_instrument_file_serves_as_well(tiny, fits):
    folder = tiny.describe("good")
    run_study(folder, workers=1)
    (folder / "results/instrument.toml").rename(folder / "mine.toml")
    file = folder / "study.toml"
    text = file.read_text()
    start, end = text.index("[instrument.calibrate]"), text.index("[defaults]")
    file.write_text(f'{text[:start]}[instrument]\nfile = "mine.toml"\n\n{text[end:]}')
    fits.clear()
    # the same instrument by another way: nothing needs fitting
    assert counts(run_study(folder, workers=1))["unchanged"] == 1
    assert fits == []


@pytest.mark.slow
def test_a_phase_from_a_file_counts_with_its_content(tiny, fits):
    folder = tiny.describe("good")
    cif = folder / "extra.cif"
    cif.write_text(
        "data_extra\n_symmetry_space_group_name_H-M 'F m -3 m'\n"
        "_cell_length_a 4.21\n_cell_length_b 4.21\n_cell_length_c 4.21\n"
        "_cell_angle_alpha 90\n_cell_angle_beta 90\n_cell_angle_gamma 90\n"
        "loop_\n_atom_site_label\n_atom_site_type_symbol\n"
        "_atom_site_fract_x\n_atom_site_fract_y\n_atom_site_fract_z\nMg Mg 0 0 0\nO O 0.5 0.5 0.5\n"
    )
    file = folder / "study.toml"
    file.write_text(file.read_text().replace('"nb"]', '"nb", "extra.cif"]'))
    dataset = run_study(folder, workers=1)
    assert dataset["status"].item() == "ok"
    assert dataset["phase"].values.tolist() == ["nb3sn", "nb", "extra"]
    assert "u_weight_fraction_extra" in (folder / "results/results.csv").read_text().split("\n")[0]
    fits.clear()
    cif.write_text(cif.read_text().replace("4.21", "4.22"))
    run_study(folder, workers=1)
    assert fits == ["good.xy"]


def test_a_calibration_that_fails_is_named_with_its_place(tiny):
    folder = tiny.describe("good")
    (folder / "patterns/lab6.xy").write_bytes((folder / "patterns/niobium.xy").read_bytes())
    with pytest.raises(StudyError, match=r"^instrument\.calibrate: ") as caught:
        run_study(folder, workers=1)
    assert isinstance(caught.value.__cause__, FitError)
    assert "\n" not in str(caught.value)
    (folder / "patterns/lab6.xy").unlink()
    with pytest.raises(StudyError, match=r"instrument\.calibrate\.pattern: there is no file 'patterns/lab6\.xy'"):
        run_study(folder, workers=1)


@pytest.mark.slow
def test_a_folder_in_the_place_of_a_result_stops_no_other_sample(tiny, fits):
    folder = tiny.describe("good", "twice")
    (folder / "results/samples/good.nc").mkdir(parents=True)
    dataset = run_study(folder, workers=1)
    assert fits == ["lab6.xy", "good.xy, again.xy"]
    assert "good.nc: is a folder where a file is meant" in dataset["status"].sel(sample="good").item()
    assert dataset["status"].sel(sample="twice").item() == "ok"


@pytest.mark.slow
def test_a_damaged_instrument_file_is_made_again(tiny, fits):
    study = read_study(tiny.describe("good"))
    results = study.folder / "results"
    results.mkdir()
    first = calibration.study_instruments(study, results)[""]
    assert calibration.study_instruments(study, results)[""].id == first.id
    assert fits == ["lab6.xy"]
    file = results / "instrument.toml"
    file.write_bytes(file.read_bytes()[:1000])
    assert calibration.study_instruments(study, results)[""].id == first.id
    assert fits == ["lab6.xy"] * 2
    file.unlink()
    file.mkdir()
    with pytest.raises(StudyError, match=r"instrument\.toml: is a folder where a file is meant"):
        calibration.study_instruments(study, results)


@pytest.mark.slow
def test_a_pattern_that_vanishes_while_the_study_runs_is_one_row(tiny, fits):
    folder = tiny.describe("good", "twice")

    def vanish(done, total, name):
        (folder / "patterns/again.xy").unlink(missing_ok=True)

    dataset = run_study(folder, workers=1, progress=vanish)
    assert dataset["status"].sel(sample="good").item() == "ok"
    assert "again.xy: no such pattern file" in dataset["status"].sel(sample="twice").item()


def test_a_study_at_work_is_not_run_twice(tiny):
    folder = tiny.describe("good")
    (folder / "results").mkdir()
    with files.only_run(folder / "results"), pytest.raises(StudyError, match="another run is at work"):
        run_study(folder)


def test_a_wrong_description_leaves_no_trace(tiny):
    folder = tiny.describe("good", more="[nonsense]")
    with pytest.raises(StudyError, match="nonsense: unknown key"):
        run_study(folder)
    assert not (folder / "results").exists()


@pytest.mark.slow
def test_a_finished_study_is_recognised(tiny, fits):
    folder = tiny.describe("good")
    run_study(folder, workers=1)
    folder = tiny.describe("good", more=more_samples(20))
    # twenty samples with results of their own, copied instead of fitted
    study = read_study(folder)
    source = read_sample(folder / "results/samples/good.nc")
    instrument = read_instrument(folder / "results/instrument.toml")
    for sample in study.samples[1:]:
        copy = replace(source, name=sample.name, provenance=run.provenance_of(study, sample, instrument, {}))
        write_sample(copy, run.sample_file(folder / "results/samples", sample.name))
    before = list(fits)
    assert run_study(folder).attrs["unchanged"] == 21
    assert fits == before


@pytest.mark.slow
def test_results_of_which_nothing_has_changed_are_not_made_again(tiny, fits, monkeypatch):
    folder = tiny.describe("good", "twice", more="position_m = 1.5\n")
    first, collations = run_study(folder, workers=1), []
    monkeypatch.setattr(run, "collate", lambda *args: collations.append(args) or collate(*args))
    table = folder / "results/results.csv"
    content = table.read_bytes()
    table.unlink()
    again = run_study(folder, workers=1)
    assert (collations, table.read_bytes()) == ([], content)
    assert counts(again) == counts(first) | {"fitted": 0, "unchanged": 2}
    xr.testing.assert_equal(again, first)
    description = folder / "study.toml"
    for old, new in (("1.5", "2.5"), ("title", "# title")):  # no fit sees either
        description.write_text(description.read_text().replace(old, new, 1))
        run_study(folder, workers=1)
    stored = folder / "results/samples/good.nc"
    stored.write_bytes(stored.read_bytes()[:-1])
    assert counts(run_study(folder, workers=1))["fitted"] == 1
    assert len(collations) == 3


@pytest.mark.slow
def test_results_are_netcdf_for_anybody(tiny, fits):
    folder = tiny.describe("good")
    run_study(folder, workers=1)
    with xr.open_dataset(folder / "results/results.nc", engine="h5netcdf") as dataset:
        row = dataset.sel(sample="good")
        u = float(np.sqrt((row["contribution"].sel(quantity="a_nm") ** 2).sum()))
        assert u == pytest.approx(float(row["u_a_nm"]), rel=1e-12)
        assert json.loads(row["flag_messages"].item()) is not None
