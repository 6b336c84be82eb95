"""Variants against each other from a terminal, on results that are made up."""

import csv

import numpy as np
import pytest
from click.testing import CliRunner

from tests import descriptions
from tests.drawn import drawn
from xrdorder.cli import main
from xrdorder.results.open_study import OpenStudy
from xrdorder.uncertainty import Contributions, collate

TREATMENTS = {"a1": (650.0, 100.0), "a2": (650.0, 100.0), "b1": (725.0, 100.0), "b2": (725.0, 100.0)}
TIN = {"a1": 0.2350, "a2": 0.2354, "b1": 0.2430, "b2": 0.2434}
AT = tuple(TIN.values())


def results(tin=AT):
    n = len(TIN)
    dataset = collate({name: Contributions.empty().extend("site_order", {}, {"counting": (0.01, "")}) for name in TIN})
    dataset["value"] = (("sample", "quantity"), np.full((n, 1), np.nan))
    dataset = drawn(dataset, {"Tc_K": [17.0] * n, "tin_fraction": tin}, tin=(0.015, 0.0005))
    dataset["lot"] = ("sample", np.array(["heron"] * n, dtype=object))
    dataset["treatment"] = ("sample", np.array([f"{c:g} °C/{h:g} h" for c, h in TREATMENTS.values()], dtype=object))
    dataset["peak_c"] = ("sample", np.array([c for c, _ in TREATMENTS.values()]))
    dataset["hold_at_peak_h"] = ("sample", np.array([h for _, h in TREATMENTS.values()]))
    return dataset


def held(made):
    return OpenStudy(descriptions.study("study"), made)


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held(results()))
    (tmp_path / "results").mkdir()
    return lambda *words: CliRunner().invoke(main, ["compare", str(tmp_path), *words])


def test_difference_verdict_and_table(run, tmp_path):
    said = run("--quantity", "tin_at_percent", "--reference", "a2", "--details")
    assert said.exit_code == 0, said.output
    text = " ".join(said.output.split())
    # 0.8 at.% between means of two, each to 0.05 at.%: the shared 1.5 at.% has cancelled
    assert "725 °C/100 h has 0.80 ± 0.05 at.% more tin than 650 °C/100 h" in text
    assert "23.5 ± 1.5" in text and "Holm" in text and "not measurements" in text
    (row,) = csv.DictReader((tmp_path / "results/comparison.csv").open(encoding="utf-8"))
    assert (row["first"], row["second"]) == ("725 °C/100 h", "650 °C/100 h")
    assert float(row["difference"]) == pytest.approx(0.8, abs=1e-6)
    assert float(row["u"]) == pytest.approx(0.05, abs=0.02) and row["distinguishable"] == "1"


def test_a_figure_is_saved_unless_pairs_are_compared_or_none_is_wanted(run, tmp_path):
    picture = tmp_path / "results/figures/comparison.png"
    assert "Figure" in run("--quantity", "tin_at_percent").output
    assert picture.read_bytes().startswith(b"\x89PNG")
    said = run("--quantity", "tin_at_percent", "--no-figures").output
    assert "Removed" in said and not picture.exists()  # it would not belong to the new table
    said = run("--quantity", "tin_at_percent", "--all-pairs").output
    assert "Removed" not in said and "Figure" not in said and not picture.exists()


def test_the_answer_stands_first(run):
    said = (
        "2 variants · reference 650 °C/100 h · significance level 5 % after Holm's correction "
        "Highest tin content: 725 °C/100 h; 0.80 ± 0.05 at.% over the reference: significant. "
        "725 °C/100 h differs significantly from 650 °C/100 h in tin content."
    )
    for words in (["tin"], ["tin_at_percent"], ["tin_fraction"], ["tin", "--all-pairs"]):
        first = run("--quantity", *words).output.split("Differences")[0].split("First less second")[0]
        assert " ".join(first.split()) == said


def made(monkeypatch, tin=AT, **columns):
    """Results with other columns of samples."""
    changed = results(tin)
    for name, values in columns.items():
        changed[name] = ("sample", np.array(values, dtype=object if isinstance(values[0], str) else float))
    monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held(changed))
    return changed


def test_all_pairs_show_differences_before_absolutes(run, monkeypatch, tmp_path):
    made(monkeypatch, treatment=["625 °C/100 h", "650 °C/100 h", "725 °C/100 h", "725 °C/100 h"])
    said = run("--quantity", "tin", "--all-pairs", "--details").output
    assert said.index("First less second") < said.index("Absolute values") < said.index("In words")
    assert "Of 3 pairs 1 does not differ significantly in anything" in " ".join(said.split())
    rows = list(csv.DictReader((tmp_path / "results/comparison.csv").open(encoding="utf-8")))
    # the later less the earlier variant, as with a reference; the unit of the column of results.csv
    assert ("725 °C/100 h", "625 °C/100 h") in {(row["first"], row["second"]) for row in rows}
    assert {row["unit"] for row in rows} == {"at.%"} and all(float(row["difference"]) > 0.0 for row in rows)


def test_no_probability_is_certain(run):
    table = run("--quantity", "tin", "--details").output.split("Differences")[1].split("Absolute values")[0]
    assert "above 0.99" in table and "1.00" not in table


def test_one_treatment_has_drifts_and_outliers(run, monkeypatch):
    """A spool cut into pieces: tin rises by a straight line along it."""
    made(
        monkeypatch, [0.2300, 0.2321, 0.2339, 0.2360],
        treatment=["650 °C/100 h"] * 4, peak_c=[650.0] * 4, position=[0.0, 10.0, 20.0, 30.0],
    )  # fmt: skip
    said = run("--quantity", "tin")
    text = " ".join(said.output.split())
    assert said.exit_code == 0 and text.startswith("One variant only by treatment: 650 °C/100 h (4 wires).")
    # scipy.stats.linregress over these four: 0.594 at.% for 30 m
    assert "tin content rises by 0.59 ± 0.07 at.% over position inside variants" in text
    said = run("--quantity", "tin", "--by", "lot")
    assert said.exit_code == 0 and "One variant only by lot: heron" in said.output


def test_a_reference_that_is_ahead_is_held_against_the_next(run):
    said = " ".join(run("--quantity", "tin", "--reference", "b1").output.split())
    assert "Highest tin content: 725 °C/100 h, the reference itself; 0.80 ± 0.05 at.% over 650 °C/100 h," in said
    assert "the next: significant" in said


def test_an_outlier_is_named_with_how_to_leave_it_out(run, monkeypatch):
    made(monkeypatch, [0.2350, 0.2351, 0.2349, 0.2650], treatment=["650 °C/100 h"] * 4)
    said = " ".join(run("--quantity", "tin").output.split())
    assert "b2 does not fit the others of 650 °C/100 h" in said and "--without b2 leaves it out" in said
    said = run("--quantity", "tin", "--without", "b2").output
    assert "does not fit" not in said and "Left out: b2 (--without)" in said


def test_variants_of_a_number_stand_in_its_order_and_dose_goes_by_its_logarithm(run, monkeypatch):
    made(monkeypatch, dose_h=[150.0, 150.0, 50.0, 1000.0], treatment=["a", "a", "b", "c"])
    said = run("--quantity", "tin", "--by", "dose", "--details").output
    absolutes = said.split("Absolute values")[1]
    assert absolutes.index("50 h") < absolutes.index("150 h") < absolutes.index("1000 h")
    assert "Differences to 150 h" in said  # that of the first sample
    assert "over the logarithm of dose from 50 to 1000 h" in " ".join(said.split())


def test_the_sentence_for_a_report_covers_what_was_compared(run, monkeypatch):
    both = ("--quantity", "tin", "--quantity", "tin_fraction", "--details")
    said = " ".join(run(*both).output.split("For a report")[1].split())
    assert said.startswith("Differences of tin content and tin content between 2 variants (4 samples)")
    assert "that between equal wires by 2 degrees of freedom: tin content none, tin content none;" in said
    made(monkeypatch, lot=["heron", "heron", "curlew", "curlew"], treatment=["a", "b", "c", "d"])
    said = " ".join(run("--quantity", "tin", "--by", "lot", "--details").output.split("For a report")[1].split())
    assert "between equal wires" not in said and "the wires of one variant, whose treatments differ" in said


def test_a_sample_that_is_not_to_be_used_is_left_out_and_named(run, monkeypatch):
    spoiled = results()
    words = ["trustworthy", "trustworthy", "do not use: the fit did not converge", "trustworthy"]
    spoiled["quality"] = ("sample", np.array(words, dtype=object))
    monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held(spoiled))
    said = run("--quantity", "tin_at_percent")
    assert said.exit_code == 0 and "Left out: b1 (do not use: the fit did not converge)" in said.output
    refused = run("--quantity", "tin_at_percent", "--reference", "b1")
    assert refused.exit_code == 2 and "cannot be the reference" in refused.output


def test_what_a_variant_mixes_is_told(run, monkeypatch):
    mixed = results()
    mixed["hold_at_peak_h"] = ("sample", np.array([50.0, 100.0, 50.0, 100.0]))
    mixed["lot"] = ("sample", np.array(["heron", "heron", "heron", "curlew"], dtype=object))
    monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held(mixed))
    said = " ".join(run("--quantity", "tin_at_percent", "--by", "reaction-temperature").output.split())
    assert "hold times of 50 to 100 h and wire lots (heron, curlew), whose dopants may differ: differences may" in said
    # wires of two treatments at two places of a spool: a difference by position may be that of the treatments
    said = " ".join(run("--quantity", "tin_at_percent", "--by", "lot").output.split())
    assert "Variants by lot mix" in said and "reaction temperatures of 650 to 725 °C" in said


def test_trend_over_the_reaction_temperature(run):
    said = " ".join(run("--quantity", "tin_at_percent", "--by", "reaction-temperature").output.split())
    assert "tin content rises by 0.8" in said and "from 650 to 725 °C" in said


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--quantity", "moon"), "no quantity 'moon'"),
        (("--reference", "c1"), "no sample 'c1'"),
        (("--lot", "curlew"), "no sample is of lot 'curlew'"),
        (("--by", "date"), "no sample tells it"),
        (("--without", "c1"), "no sample 'c1' to leave out"),
        (("--without", "a1", "--reference", "a1"), "cannot be the reference: --without"),
        (("--by", "colour"), "'colour' is not one of"),
    ],
)
def test_wrong_use_is_one_line(run, words, message):
    said = run(*words)
    assert said.exit_code == 2
    assert message in said.output and len(said.output.strip().splitlines()) == 1


def test_samples_without_treatments_are_told_what_to_give(run, monkeypatch):
    """As a folder has it that the command fit made."""
    made = results()
    made["treatment"] = ("sample", np.array([""] * len(TIN), dtype=object))
    monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held(made))
    said = run()
    assert said.exit_code == 2
    assert "no sample has a treatment" in said.output and "study.toml" in said.output
    assert len(said.output.strip().splitlines()) == 1
