"""Each command from its words to files and exit code, on small patterns."""

import csv
import subprocess
import sys
from collections import Counter

import numpy as np
import pytest

import xrdorder
from tests.cli.conftest import CALIBRATE
from tests.generator import a15_lattice_nm
from xrdorder.cli import demo as demo_module
from xrdorder.cli.calibrate import _advice
from xrdorder.exceptions import Flag
from xrdorder.files import sealed
from xrdorder.profiles import read_instrument
from xrdorder.quantities.formatting import concise

STUDY = """
title = "A small study"
phases = ["nb3sn", "nb"]
[instrument]
file = "instrument.toml"
[defaults]
mount = "ground-powder"
temperature_c = 22.5
[lots.A]
route = "internal tin"
[[samples]]
name = "one"
pattern = "one.xy"
lot = "A"
treatment = [{ hold_c = 650, hours = 100, ramp_k_per_h = 50 }]
[[samples]]
name = "two"
pattern = "two.xy"
lot = "A"
treatment = [{ hold_c = 680, hours = 50, ramp_k_per_h = 50 }]
"""


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return {row["sample"]: row for row in csv.DictReader(file)}


@pytest.fixture
def study(tmp_path, scans, instrument):
    folder = tmp_path / "study"
    folder.mkdir()
    for name in ("one.xy", "two.xy", "instrument.toml"):
        (folder / name).write_bytes((scans / name).read_bytes())
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    return folder


def test_calibrate_prints_the_instrument_and_writes_it(calibration):
    path, printed = calibration
    found = read_instrument(path)
    assert found.standard == "srm-660c"
    (offset,) = [line for line in printed.splitlines() if line.startswith("two_theta_offset")]
    assert offset.startswith("two_theta_offset") and "zero error" in offset
    assert concise(found.values["two_theta_offset"], found.total("two_theta_offset")) in offset
    assert "displacement" in printed and "not stored" in printed
    assert "Advice" not in printed or "certificate" not in printed  # the certificate was read


def test_a_remark_of_the_instrument_is_told_once():
    flags = (Flag("calibration", "widths come out too small"), Flag("clipped", "counts at the limit"))
    assert _advice(("widths come out too small",), flags) == [
        "Advice: widths come out too small", "Flag clipped: counts at the limit"
    ]  # fmt: skip


@pytest.mark.slow
def test_calibrate_gives_advice_on_a_value_that_was_not_read_and_draws(run, scans, tmp_path):
    words = [word.replace("srm-660c", "srm-660a") for word in CALIBRATE]
    result = run("calibrate", scans / "lab6.xy", *words, "--figure", "fit.png")
    assert result.exit_code == 0
    assert " ".join(result.stdout.split()).count("not read on a certificate") == 1
    assert read_instrument(tmp_path / "instrument.toml").standard == "srm-660a"
    assert (tmp_path / "fit.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.slow
def test_fit_writes_a_study_with_table_and_figures_and_goes_on_after_a_bad_pattern(
    run, scans, instrument, tmp_path
):
    patterns = [scans / f"{name}.xy" for name in ("one", "niobium", "letters")]
    result = run(
        "fit", *patterns, "--instrument", instrument, "--phases", "nb3sn,nb", "--mount", "ground-powder",
        "--specimen-length-mm", 20, "--divergence-deg", 0.5, "--out", "out",
    )  # fmt: skip
    assert result.exit_code == 1, result.output
    table = rows(tmp_path / "out/results/results.csv")
    assert [row["status"][:6] for row in table.values()] == ["ok", "no A15", "failed"]
    a, u = float(table["one"]["a_nm"]), float(table["one"]["u_a_nm"])
    assert abs(a - a15_lattice_nm(0.24)) < max(1e-5, 3.0 * u)  # the line the pattern was made with
    assert table["niobium"]["a_nm"] == ""
    assert result.stderr.startswith("xrdorder: letters: ")
    assert result.stderr.count("\n") == 1
    assert (tmp_path / "out/results/results.nc").is_file()
    drawn = {path.stem for path in (tmp_path / "out/results/figures/samples").glob("*.png")}
    assert drawn == {"one", "niobium"}
    lines = [line for line in result.stdout.splitlines() if line]
    printed = {line.split()[0]: line for line in reversed(lines)}
    assert "no A15" in printed["niobium"]
    assert any(line.split()[:3] == ["niobium", "nb", "a"] for line in lines)  # its lattice is said as well
    assert f"{a:.5f}"[:7] in printed["one"]


@pytest.mark.slow
def test_the_demo_copies_runs_prints_and_draws_and_run_goes_on_from_there(run, study, monkeypatch, tmp_path):
    monkeypatch.setattr(demo_module, "demo_source", lambda: study)
    (study / "make.py").write_text("raise SystemExit")
    shown = run("demo", "--out", "shown")
    assert shown.exit_code == 0, shown.output
    assert shown.stderr == ""  # no terminal: no progress
    assert shown.stdout.startswith("Invented data")
    assert "results.csv" in shown.stdout and "results.nc" in shown.stdout
    assert "Design no coil" in shown.stdout and "acids" in shown.stdout
    folder = tmp_path / "shown"
    assert not (folder / "make.py").exists()
    table = rows(folder / "results/results.csv")
    # S_a is 0.97 and 0.93 at 24 at.%: site orders 0.931 and 0.893; 0.03 tells the two apart, and is wide
    assert float(table["one"]["site_order"]) == pytest.approx(0.931, abs=0.03)
    assert float(table["two"]["site_order"]) == pytest.approx(0.893, abs=0.03)
    figures = folder / "results/figures"
    drawn = {"trends.png", "one.png"}  # the first sample of the lot stands for all
    assert {path.name for path in figures.rglob("*.png")} == drawn

    before = {path: path.stat().st_mtime_ns for path in (folder / "results/samples").iterdir()}
    pictured = (figures / "samples/one.png").stat().st_mtime_ns
    again = run("run", "shown")
    assert again.exit_code == 0, again.output
    table_of = [output.index("sample ") for output in (shown.stdout, again.stdout)]
    assert again.stdout[table_of[1] :][:400] == shown.stdout[table_of[0] :][:400]
    assert {path: path.stat().st_mtime_ns for path in (folder / "results/samples").iterdir()} == before
    assert (figures / "samples/one.png").stat().st_mtime_ns == pictured  # younger than the fit: kept
    assert {path.name for path in figures.rglob("*.png")} == drawn | {"two.png"}

    (folder / "study.toml").write_text("title = 'mine'")
    refused = run("demo", "--out", "shown")
    assert refused.exit_code == 2 and "another study" in refused.stderr
    assert (folder / "study.toml").read_text() == "title = 'mine'"


def test_the_invented_study_is_found_in_this_checkout():
    names = {path.name for path in demo_module.demo_source().iterdir()}
    assert {"study.toml", "README.md", "srm-660c-like-lab6.xy"} <= names


def test_estimate_prints_every_relation_with_source_and_validity(run):
    result = run("estimate", "--lattice-nm", "0.52880", "--site-order", "0.93", "--details")
    assert result.exit_code == 0, result.output
    text = " ".join(result.stdout.split())
    nouns = ("tin content", "order of the niobium sites", "Tc", "Bc2 at 0 K", "Bc2 at 4.2 K")
    for word in (*nouns, "joint model", "order-bound", "17.6 K"):
        assert word in text
    # the bound by the order is 0.93 / 4 = 23.25 at.%
    assert "23.2(8)" in text
    assert text.count("valid for") >= 10 and "Supercond. Sci. Technol." in text
    assert "not measurements" in text
    brief = run("estimate", "--lattice-nm", "0.52880", "--site-order", "0.93")
    assert "valid for" not in brief.stdout and "Tc" in brief.stdout
    assert "godeke" not in brief.stdout and len(brief.stdout.splitlines()) < len(result.stdout.splitlines()) / 2


def test_estimate_takes_uncertainties_tin_and_dopants(run):
    result = run(
        "estimate", "--tin-at-percent", "24", "--u-tin-at-percent", "0.3", "--site-order", "0.9",
        "--u-site-order", "0.01", "--dopant", "Ta=2.4",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    text = " ".join(result.stdout.split())
    assert "24.00(30) at.%" in text and "0.900(10)" in text


def test_the_program_runs_as_a_process_of_its_own():
    words = ["estimate", "--lattice-nm", "0.5289"]
    done = subprocess.run(
        [sys.executable, "-m", "xrdorder.cli", *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
    )
    assert (done.returncode, done.stderr) == (0, "")
    tin = 100.0 * np.median(xrdorder.estimate(lattice_nm=0.5289).draws["tin_fraction"])
    assert f"tin content {tin:.1f}(" in " ".join(done.stdout.split())


@pytest.mark.slow
def test_new_writes_a_study_that_runs_with_patterns_of_its_names(run, tmp_path, scans):
    result = run("new", "wires", "--name", "Our wires")
    assert result.exit_code == 0, result.output
    assert "study.toml" in result.stdout and "xrdorder run wires" in result.stdout
    patterns = tmp_path / "wires/patterns"
    for source, name in (("lab6.xy", "lab6.xy"), ("one.xy", "A-long.xy"), ("two.xy", "A-680-50.xy")):
        (patterns / name).write_bytes((scans / source).read_bytes())
    found = run("run", "wires", "--no-figures")
    assert found.exit_code == 0, found.output
    table = rows(tmp_path / "wires/results/results.csv")
    assert [(row["status"], row["treatment"]) for row in table.values()] == [
        ("ok", "210/48 + 650/100 h"), ("ok", "680 °C/50 h"),
    ]  # fmt: skip
    again = run("new", "wires")
    assert again.exit_code == 2 and "not replaced" in again.stderr and "\n" not in again.stderr.strip()


@pytest.mark.slow
def test_a_file_of_results_is_opened_once_a_command(run, study, monkeypatch):
    """Also by the first run, which draws what it fitted, by one that finds all done, and by a report."""
    opened = Counter()

    def counting(path, usual=sealed.open_regular):
        file = usual(path)
        opened[path.name] += 1
        return file

    with (study / "study.toml").open("a", encoding="utf-8") as file:
        file.write('[samples.measured]\nTc_K = { value = 17.6, u = 0.2, criterion = "50 %" }\n')
    monkeypatch.setattr(sealed, "open_regular", counting)
    for words in ("run", "run", "explain one", "compare", "fields", "measured", "suggest --field 12", "report"):
        opened.clear()
        command, *more = words.split()
        said = run(command, study, *more)
        assert said.exit_code == 0, said.output
        assert set(opened.values()) == {1}, (words, opened)
        assert (command == "report") <= ({"one.nc", "two.nc", "results.nc"} == {*opened})
