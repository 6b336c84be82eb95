"""An explanation is readable, complete, and wrong names are said in one line."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.cli.test_wrong_use import refused
from tests.explanation import explained
from xrdorder.files.sealed import read_sealed, write_sealed
from xrdorder.results.netcdf import netcdf, read_root
from xrdorder.results.sample_file import read_sample, write_sample


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    return explained.folder(tmp_path_factory.mktemp("kept"))


@pytest.fixture
def study(kept, tmp_path):
    return Path(shutil.copytree(kept, tmp_path / "wires"))


def test_all_quantities_in_short(run, study):
    result = run("explain", study, "A-650-100", "--details")
    assert result.exit_code == 0, result.output
    (line,) = [x for x in result.stdout.splitlines() if x.endswith(" tin_lattice_at_percent")]
    sample = explained.sample()
    budget = sample.contributions.budget("tin_fraction_lattice")
    share = 100 * (budget[0][1] / sample.contributions.total("tin_fraction_lattice")) ** 2
    assert budget[0][0] in line and " 23.4(3.3) " in line and "at.%" in line
    # strain of a lot and of a sample are two lines of one family: the larger holds 96 % of its square
    assert f"{0.96 * share:.0f} %" in line
    for words in (
        "12ab12ab", "abc123", "R_wp", "xrdorder 0.0.7", "niobium-lattice", "Assumptions"
    ):  # fmt: skip
        assert words in result.stdout
    assert "nb3sn_b_iso_2a_nm2 +0.60" in " ".join(result.stdout.split())


def test_one_quantity_with_everything(run, study):
    result = run("explain", study, "A-650-100", "tin_fraction_order", "--details")
    assert result.exit_code == 0, result.output
    text = " ".join(result.stdout.split())
    for words in (
        "/ (4 * usual_S_a - order_contrast_by_tin)", "Heald", "Ekin", "A-700-50, B-650-100", "nobody", "usual order",
        "fitted to the pattern", "specimen displacement: 2.4e-06", "order contrast with displacement parameters",
    ):  # fmt: skip
        assert words in text, words


@pytest.mark.slow
@pytest.mark.parametrize("quantity", ["", "S_a", "tin_fraction", "Tc_K", "domain_size_nm", "weight_fraction_nb"])
def test_a_hundred_columns_are_enough(run, study, quantity, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    result = run("explain", study, "A-650-100", *[name for name in [quantity] if name], "--details")
    assert result.exit_code == 0, result.output
    # names of files are never broken, however long
    assert max(len(line) for line in result.stdout.splitlines() if str(study.parent) not in line) <= 100


def test_a_column_of_the_table_names_its_quantity(run, study):
    result = run("explain", study, "A-650-100", "tin_at_percent")
    assert result.exit_code == 0, result.output
    assert "(tin_at_percent is 100 times tin_fraction)" in result.stdout
    assert "tin_fraction_lattice = " in result.stdout  # the steps to what it is estimated from


def test_options_are_words_and_say_nothing_of_what_was_left_open(run, study):
    text = " ".join(run("explain", study, "A-650-100", "--details").stdout.split())
    assert "Dopants 2.4 at.% Ta" in text
    head = text[: text.index("Made by")]
    assert "undoped" not in head and "on_tin_site" not in head and "false" not in head
    assert "Model phases nb3sn" in text


def test_a_prediction(run, study):
    result = run("explain", study, "A-650-100", "Tc_K")
    assert "(15.0 to 17.5) K, median and 68 % interval of the joint estimates" in result.stdout
    assert "too little tin" in result.stdout
    assert "not measurements" in result.stdout


def test_a_sample_that_failed(run, study):
    result = run("explain", study, "letters")
    assert result.exit_code == 1
    assert "letters: failed: a.xy: line 1 is no number" in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["wire", "A-650-100"], "did you mean 'wires'"),
        (["wires", "A-650-101"], "did you mean 'A-"),
        (["wires", "A-650-100", "S_c"], "did you mean 'S_"),
        (["wires", "A-650-100", "tin_percent"], "did you mean 'tin_at_percent'?"),
        (["wires", "A-650-100", "chi2_reduced"], "belongs to the fit as a whole"),
        (["wires"], "SAMPLE"),
    ],
)
def test_wrong_names(run, study, words, said):
    refused(run("explain", *words), said)


def test_a_result_that_is_gone_is_asked_for(run, study):
    (study / "results/samples/A-650-100.nc").unlink()
    refused(run("explain", study, "A-650-100"), "A-650-100.nc: no such result; run the study first")


@pytest.mark.parametrize("details", [[], ["--details"]])
def test_a_value_that_its_formula_does_not_give_is_told(run, study, details):
    path = study / "results/samples/A-650-100.nc"
    sample = read_sample(path)
    write_sample(replace(sample, values={**sample.values, "tin_fraction_lattice": 0.2}), path)
    text = run("explain", study, "A-650-100", "tin_fraction_lattice", *details).stdout
    assert f"this version computes {sample.values['tin_fraction_lattice']:.8g} from the same inputs" in text
    assert text.count("this version computes") == 1


def test_a_damaged_file(run, study):
    (study / "results/samples/A-650-100.nc").write_bytes(b"not a result")
    refused(run("explain", study, "A-650-100"), "A-650-100.nc")


@pytest.mark.slow
def test_a_real_fit(run, scans, instrument):
    words = ("fit", scans / "one.xy", "--instrument", instrument, "--phases", "nb3sn,nb")
    made = run(*words, "--mount", "ground-powder", "--out", "found", "--no-figures", "--workers", "1", "--details")
    assert made.exit_code == 0, made.output
    result = run("explain", "found", "one", "a_nm", "--details")
    assert result.exit_code == 0, result.output
    assert "no other in this study" in result.stdout
    assert "specimen_displacement_mm" in result.stdout
    assert "this version computes" not in run("explain", "found", "one", "S_b", "--details").stdout
    models = made.stdout.split("Models of the fits\n")[1]
    assert models.startswith("  phases nb3sn, nb") and "(one)" in " ".join(models.split())


@pytest.mark.slow
def test_what_was_told_of_a_sample_stands_in_the_head_and_can_be_asked_for(run, tmp_path):
    folder = explained.folder(tmp_path)
    results = read_root(read_sealed(folder / "results/results.nc"))
    texts = {"lot": "A", "treatment": "650 °C/100 h", "date": "2026-03-14"}
    for name, text in texts.items():
        results[name] = ("sample", np.array([text] * 4, dtype=object), {"long_name": f"the {name}", "units": ""})
    numbers = (("peak_c", 650.0, "degree_Celsius"), ("dose_h", 101.25, "hour"), ("position", 12.5, "m"))
    for name, number, units in numbers:
        results[name] = ("sample", [number] * 4, {"units": units, "long_name": f"the {name}", "source": "a paper"})
    messages = ['[["same-pattern", "also that of A-700-50"]]'] * 4
    results["flag_messages"] = ("sample", np.array(messages, dtype=object))
    write_sealed(folder / "results/results.nc", netcdf(results))
    text = run("explain", folder, "A-650-100", "--details").stdout
    for line in (
        "A-650-100: ok, lot A",
        "Treatment    650 °C/100 h, final reaction plateau 650 °C, thermal dose 101 h",
        "Place        12.5 m",
        "Measured     2026-03-14",
        "same-pattern: also that of A-700-50",
    ):
        assert line in text
    asked = " ".join(run("explain", folder, "A-650-100", "dose_h").stdout.split())
    assert "dose_h = 101 h (the dose_h; a paper; from the description, no fit sees it)" in asked
    assert "position_m = 12.5 m" in run("explain", folder, "A-650-100", "position_m").stdout
    refused(run("explain", folder, "A-650-100", "hours_above"), "nothing was told that 'hours_above' follows from")


@pytest.mark.parametrize(("word", "hint"), [("tinn", "did you mean 'tin'?"), ("moon", "name none, and all of")])
def test_an_unknown_quantity_gets_one_hint(run, study, word, hint):
    refused(run("explain", study, "A-650-100", word), f"there is no quantity '{word}'; {hint}")
