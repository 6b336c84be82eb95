"""Suggestions from a terminal, on results that are made up."""

import csv

import pytest
import xarray as xr
from click.testing import CliRunner

from tests import descriptions
from tests.planning.lots import BEFORE, study
from xrdorder.cli import main
from xrdorder.results.open_study import OpenStudy

ROUTES = {"heron": "powder-in-tube", "curlew": "internal-tin"}


class Sample:
    def __init__(self, name, treatment, lot):
        self.name, self.treatment, self.lot = name, treatment, lot


@pytest.fixture
def run(tmp_path, monkeypatch):
    (tmp_path / "results").mkdir()

    def suggest(made, *words, **lot):
        lots = dict(zip(made[0]["sample"].values, made[0]["lot"].values, strict=True))
        samples = tuple(
            Sample(name, one, descriptions.lot(lots[name], route=ROUTES[lots[name]], design=ROUTES[lots[name]], **lot))
            for name, one in made[1].items()
        )
        described = descriptions.study(tmp_path, samples)
        monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: OpenStudy(described, made[0]))
        return CliRunner().invoke(main, ["suggest", str(tmp_path), *words])

    return suggest


@pytest.fixture(scope="module")
def measured():
    return study(fields=(12.0, 15.0), rrr=True)


def flat(text):
    return " ".join(text.split())


def rows(tmp_path):
    return list(csv.DictReader((tmp_path / "results/suggestions.csv").open(encoding="utf-8")))


def test_three_sentences_come_first(run, tmp_path, measured):
    said = run(measured, "--field", "12", non_copper_mm2=0.25)
    assert said.exit_code == 0, said.output
    text = flat(said.output)
    assert "Measured currents at 12 T differ significantly (P by chance below 0.01; visible 6 %)" in text
    assert "Best so far 650 °C/100 h by Ic at 12 T" in text and "within 1 % of the optimum:" in text
    assert "copper RRR there about" in text and "from 8 RRR of this lot" in text
    assert " A, " in text and "A/mm² without copper" in text
    assert said.output.index("Measured") < said.output.index("Best so far") < said.output.index("Next")
    # names of files are never broken, however long
    assert max(len(line) for line in said.output.splitlines() if str(tmp_path) not in line) <= 100
    table = rows(tmp_path)
    assert {row["role"] for row in table} >= {"best", "next 1"}
    assert next(row for row in table if row["role"] == "best")["treatment"] == "650 °C/100 h"


def test_without_currents_it_says_what_would_help(run, tmp_path):
    text = flat(run(study(before=BEFORE), "--field", "12").output)
    assert "Measured no current of this lot at 12 T; what follows is expected from growth, not measured" in text
    assert "measure Ic of the wires you have (critical_current_a), not more patterns" in text
    assert "relative Ic at 12 T" in text and "from one published wire" in text
    assert all(row["measured_difference"] == "" for row in rows(tmp_path))


def test_tc_needs_no_field_and_ic_does(run):
    text = flat(run(study(), "--maximise", "Tc", "--details").output)
    assert "by Tc (P" in text and "priors wide" in text
    said = run(study())
    assert said.exit_code == 2 and "--field is missing" in said.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--furnace-min-c", "700", "--furnace-max-c", "650"), "temperatures from 700 up to 650 °C are no range"),
        (("--furnace-min-c", "740"), "exclude every wire reacted (620 to 710 °C)"),
        (("--field", "45"), "45 T is above the estimated Bc2 of every wire"),
        (("--temperature", "25"), "25 K is above the estimated Tc of every wire"),
        (("--lot", "wren"), "no sample is of lot 'wren'"),
        (("--add", "3", "--number", "1", "--rrr-above", "4000"), "there are 0 suggestions; nothing was written"),
        (("--furnace-max-c", "1200"), "copper melts"),
        (("--niobium-below", "100"), "is no limit"),
        (("--strain", "-0.2"), "give a fraction"),
    ],
)
def test_wrong_use_is_one_line(run, words, said):
    result = run(study(), "--field", "12", *words)
    assert result.exit_code != 0
    line = flat(result.stderr if result.stderr else result.output)
    assert said in line
    assert "Traceback" not in result.output


@pytest.mark.slow
def test_several_lots_each_have_a_plan_and_a_picture(run, tmp_path, measured):
    other = study(lot="curlew", fields=(12.0, 15.0), rrr=True)
    both = xr.concat([measured[0], other[0]], dim="sample", join="outer", data_vars="minimal", coords="minimal",
                     compat="override")  # fmt: skip
    said = run((both, {**measured[1], **other[1]}), "--field", "12", "--figure", str(tmp_path / "plan.png"))
    assert said.exit_code == 0, said.output
    assert "Lot heron" in said.output and "Lot curlew" in said.output
    assert (tmp_path / "plan-heron.png").stat().st_size > 1000
