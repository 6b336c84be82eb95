"""Predicted against measured from a terminal, on good and broken input."""

import csv
import tomllib

import pytest

from tests.cli.test_commands import STUDY

MEASURED = """
[samples.measured]
Tc_K = { value = 17.0, u = 0.1, criterion = "50 %" }
Bc2_T = { value = 24.5, u = 0.3, temperature_k = 4.2 }
tin_at_percent = { value = 24.1, u = 0.4 }
"""


@pytest.fixture
def study(tmp_path, scans, instrument):
    folder = tmp_path / "study"
    folder.mkdir()
    for name in ("one.xy", "two.xy", "instrument.toml"):
        (folder / name).write_bytes((scans / name).read_bytes())
    (folder / "study.toml").write_text(STUDY + MEASURED, encoding="utf-8")  # measured on the last sample, "two"
    return folder


@pytest.mark.slow
def test_measured_prints_writes_draws_and_what_it_adopts_is_taken_in_without_a_fit(run, study, tmp_path):
    assert run("run", "study", "--no-figures").exit_code == 0
    unclear = run("measured", "study", "--adopt", "study/own.toml", "--no-figures")  # one sample decides nothing
    assert unclear.exit_code == 2 and "nothing is clear enough to adopt: Tc: not decided" in unclear.stderr
    assert unclear.stderr.count("\n") == 1 and not (study / "own.toml").exists()
    named = ("--relation", "li-gao-2014-cubic", "--relation", "senatore-2013-slope")
    shown = run("measured", "study", "--adopt", "study/own.toml", *named)
    assert shown.exit_code == 0, shown.output
    text = " ".join(shown.stdout.split())
    words = (
        "two 24.1(4)", "17.00(10)", "Tc read off at 50 %", "Bc2 at 4.2 K", "by X-rays alone", "Tc of A",
        "Bc2 at 0 K of A", "1 sample with measured values",
    )  # fmt: skip
    for word in words:
        assert word in text, word
    assert "not measurements" in text
    more = run("measured", "study", "--details", "--no-figures")
    in_detail = " ".join(more.stdout.split())
    assert "Of relations: not told (" in in_detail and "two Tc 17.0 ± 0.1 K" in in_detail
    table = list(csv.DictReader((study / "results/measured.csv").open(encoding="utf-8")))
    assert {row["sample"] for row in table} == {"two"}
    assert (study / "results/figures/measured.png").read_bytes().startswith(b"\x89PNG")
    entries = tomllib.loads((study / "own.toml").read_text(encoding="utf-8"))["adjustment"]
    assert len(entries) == 2 and all(entry["name"].endswith("-a") for entry in entries)

    description = study / "study.toml"
    description.write_text('relations = "own.toml"\n' + description.read_text(encoding="utf-8"), encoding="utf-8")
    before = {path: path.stat().st_mtime_ns for path in (study / "results/samples").iterdir()}
    assert run("run", "study", "--no-figures").exit_code == 0
    assert {path: path.stat().st_mtime_ns for path in (study / "results/samples").iterdir()} != before
    after = " ".join(run("measured", "study", "--no-figures").stdout.split())
    assert f"{entries[0]['name']} was adopted on these samples" in after
    stacked = run("measured", "study", "--adopt", "study/more.toml", "--relation", entries[0]["name"], "--no-figures")
    assert stacked.exit_code == 2 and "is adopted itself" in stacked.stderr and stacked.stderr.count("\n") == 1

    again = run("measured", "study", "--adopt", "study/own.toml")
    assert again.exit_code == 2 and again.stderr.count("\n") == 1 and "is there already" in again.stderr


def test_measured_before_the_run_without_values_and_with_wrong_words_is_one_line(run, study):
    for words, complaint in (
        (("study",), "no such results; run the study first"),
        (("nowhere",), "no such study folder"),
        (("study", "--slope"), "give --adopt FILE as well"),
        (("study", "--relation", "x"), "give --adopt FILE as well"),
        (("study", "--adopt", "study/study.toml"), "is there already; name another file"),
    ):
        result = run("measured", *words)
        assert result.exit_code == 2, words
        assert complaint in result.stderr and result.stderr.startswith("xrdorder: "), words
        assert result.stderr.count("\n") == 1 and "Traceback" not in result.output, words


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("u = 0.1, ", "", "sample 'two', measured.Tc_K.u: is missing; give the standard uncertainty"),
        ("value = 24.1", "value = 0.241", "sample 'two', measured.tin_at_percent.value: 0.241 is outside 15 to 30"),
        (", temperature_k = 4.2", "", "sample 'two', measured.Bc2_T.temperature_k: is missing; give the temperature"),
        ("Bc2_T =", "Hc2_T =", "sample 'two', measured.Hc2_T: unknown key; did you mean 'Bc2_T'?"),
        ("Tc_K = {", "Tc_K = [{", "is not valid TOML"),
        ("Tc_K = {", "Tc_K = 17.2 # {", "measured.Tc_K: 17.2 is not a table; give the critical temperature in K"),
    ],
)
def test_broken_measured_values_are_one_line_each(run, study, old, new, complaint):
    description = study / "study.toml"
    text = description.read_text(encoding="utf-8")
    assert old in text
    description.write_text(text.replace(old, new, 1), encoding="utf-8")
    for command in ("measured", "run"):
        result = run(command, "study")
        assert result.exit_code == 2 and complaint in result.stderr, result.output
        assert result.stderr.count("\n") == 1
