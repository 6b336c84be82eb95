"""Variants against each other from a terminal, on results that are made up."""

import csv

import numpy as np
import pytest
from click.testing import CliRunner

from xrdorder.cli import compare as command
from xrdorder.cli import main
from xrdorder.uncertainty import Contributions, collate

TREATMENTS = {"a1": (650.0, 100.0), "a2": (650.0, 100.0), "b1": (725.0, 100.0), "b2": (725.0, 100.0)}
TIN = {"a1": 0.2350, "a2": 0.2354, "b1": 0.2430, "b2": 0.2434}


def results():
    tables, n = {}, len(TIN)
    for name in TIN:
        table = Contributions.empty()
        tables[name] = table.extend("tin_fraction", {}, {"scale": (0.015, "published"), "counting": (0.0005, "")})
    dataset = collate(tables)
    dataset["value"] = (("sample", "quantity"), np.array([[tin] for tin in TIN.values()]))
    dataset["lot"] = ("sample", np.array(["heron"] * n, dtype=object))
    dataset["treatment"] = ("sample", np.array([f"{c:g} °C/{h:g} h" for c, h in TREATMENTS.values()], dtype=object))
    dataset["peak_c"] = ("sample", np.array([c for c, _ in TREATMENTS.values()]))
    dataset["hold_at_peak_h"] = ("sample", np.array([h for _, h in TREATMENTS.values()]))
    return dataset


class Held:
    tin_scale = relations = None

    def __init__(self, made):
        self.study, self.results = self, made


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setattr("xrdorder.studies.open_study", lambda folder: Held(results()))
    (tmp_path / "results").mkdir()
    return lambda *words: CliRunner().invoke(main, ["compare", str(tmp_path), *words])


def test_difference_verdict_and_table(run, tmp_path):
    said = run("--quantity", "tin_at_percent", "--reference", "a2")
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
    for word in ("--no-figures", "--all-pairs"):
        assert "Figure" not in run("--quantity", "tin_at_percent", word).output
        assert not picture.exists()
    assert "Figure" in run("--quantity", "tin_at_percent").output
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_answer_stands_first(run):
    first = " ".join(run("--quantity", "tin", "--quantity", "tin_at_percent").output.split("Differences")[0].split())
    said = "Ahead by tin content: 725 °C/100 h. Against 650 °C/100 h it differs by more than chance in"
    assert first.startswith(said)


def test_a_sample_that_is_not_to_be_used_is_left_out_and_named(run, monkeypatch):
    spoiled = results()
    words = ["trustworthy", "trustworthy", "do not use: the fit did not converge", "trustworthy"]
    spoiled["quality"] = ("sample", np.array(words, dtype=object))
    monkeypatch.setattr("xrdorder.studies.open_study", lambda folder: Held(spoiled))
    said = run("--quantity", "tin_at_percent")
    assert said.exit_code == 0 and "Left out: b1 (do not use: the fit did not converge)" in said.output
    refused = run("--quantity", "tin_at_percent", "--reference", "b1")
    assert refused.exit_code == 2 and "cannot be the reference" in refused.output


def test_what_a_variant_mixes_is_told(run, monkeypatch):
    mixed = results()
    mixed["hold_at_peak_h"] = ("sample", np.array([50.0, 100.0, 50.0, 100.0]))
    mixed["lot"] = ("sample", np.array(["heron", "heron", "heron", "curlew"], dtype=object))
    monkeypatch.setattr("xrdorder.studies.open_study", lambda folder: Held(mixed))
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
        (("--by", "lot", "--quantity", "tin_fraction"), "a comparison needs two or more"),
        (("--by", "colour"), "'colour' is not one of"),
    ],
)
def test_wrong_use_is_one_line(run, words, message):
    said = run(*words)
    assert said.exit_code == 2
    assert message in said.output and len(said.output.strip().splitlines()) == 1


def test_dates_become_days():
    found = command._as_numbers(["2026-11-25", "2026-11-27", "", 3])
    assert found[1] - found[0] == 2.0 and np.isnan(found[2]) and found[3] == 3.0
