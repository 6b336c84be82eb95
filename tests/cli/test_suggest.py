"""Suggestions from a terminal, on results that are made up."""

import csv

import pytest
import xarray as xr
from click.testing import CliRunner

from tests import descriptions
from tests.planning.lots import BEFORE, POINTS, study
from xrdorder.cli import main
from xrdorder.results.open_study import OpenStudy

DESIGNS = {"heron": "powder-in-tube", "curlew": "internal-tin"}


class Sample:
    def __init__(self, name, treatment, lot):
        self.name, self.treatment, self.lot = name, treatment, lot


@pytest.fixture
def run(tmp_path, monkeypatch):
    (tmp_path / "results").mkdir()

    def suggest(made, *words):
        lots = dict(zip(made[0]["sample"].values, made[0]["lot"].values, strict=True))
        samples = tuple(
            Sample(name, one, descriptions.lot(lots[name], design=DESIGNS[lots[name]])) for name, one in made[1].items()
        )
        described = descriptions.study(tmp_path, samples)
        monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: OpenStudy(described, made[0]))
        return CliRunner().invoke(main, ["suggest", str(tmp_path), *words])

    return suggest


@pytest.fixture(scope="module")
def measured():
    return study(fields=(12.0, 15.0))


def flat(text):
    return " ".join(text.split())


def rows(tmp_path):
    return list(csv.DictReader((tmp_path / "results/suggestions.csv").open(encoding="utf-8")))


@pytest.mark.slow
def test_two_fields_stand_side_by_side(run, tmp_path, measured):
    picture = tmp_path / "plan.png"
    said = run(measured, "--field", "12", "--field", "15", "--measured", "--number", "2", "--figure", str(picture))
    assert said.exit_code == 0, said.output
    text = flat(said.output)
    assert "current 12 T current 15 T" in text
    assert "best at 12 T" in text and "best at 15 T" in text
    assert "The fields ask for different treatments: 650 °C/100 h at 12 T, 680 °C/100 h at 15 T." in text
    text = flat(run(measured, "--field", "12", "--field", "15", "--measured", "--number", "2", "--details").output)
    assert "measured critical current at 12 T: best so far is 650 °C/100 h" in text
    assert "Pareto front of Bc2 and domains" in text
    assert "no instruction to run a furnace" in text and "come first" in text
    assert "Tc and Bc2 are estimates" in text  # nobody measured them
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_table_holds_what_is_printed(run, tmp_path, measured):
    said = run(measured, "--field", "15", "--measured", "--number", "2")
    assert said.exit_code == 0, said.output
    found = [row for row in rows(tmp_path) if row["quantity"] == "current_15T"]
    assert len({row["treatment"] for row in found}) == len(found)
    (best,) = [row for row in found if row["best"] == "1"]
    assert (best["treatment"], float(best["difference"])) == ("680 °C/100 h", 0.0)
    suggested = [row for row in found if row["suggested"] == "1"]
    # two were asked for: one is worth a furnace run
    assert len(suggested) == 1
    assert "you may stop after that one: no further treatment is expected to gain what one could see" in flat(
        said.output
    )
    for row in suggested:
        assert row["treatment"] in said.output
        assert 0.0 <= float(row["chance_better"]) <= 1.0 and float(row["worth"]) > 0.0
        assert 620.0 <= float(row["temperature_c"]) <= 710.0 and 50.0 <= float(row["hold_h"]) <= 200.0


def test_wires_stand_beside_the_surface_that_is_drawn_towards_their_mean(run, tmp_path):
    text = flat(run(study(), "--field", "12", "--details").output)
    assert text.index("by the wires themselves") < text.index("by the response surfaces")
    assert "The Gaussian process shrinks noisy data towards the mean" in text
    assert "The command compare takes Bc2 free of strain" in text
    found = {row["treatment"]: row for row in rows(tmp_path) if row["quantity"] == "Bc2_T"}
    last = found["710 °C/150 h"]
    assert 0.0 < float(last["difference"]) < 0.8 * float(last["direct_difference"])
    assert float(last["u_difference"]) < float(last["u_direct_difference"])
    assert all(row["direct"] == "" for row in found.values() if row["wires"] == "0")


@pytest.mark.parametrize(("field", "told"), [("1", False), ("16", True)])
def test_bars_of_currents_that_reach_below_nothing_are_explained(run, tmp_path, field, told):
    said = flat(run(study(), "--field", field, "--details").output)
    found = [row for row in rows(tmp_path) if row["quantity"] == f"current_{field}T" and row["direct"]]
    reference = next(float(row["direct"]) for row in found if float(row["u_direct_difference"]) == 0.0)
    lowest = min(float(row["direct_difference"]) - float(row["u_direct_difference"]) for row in found)
    assert (lowest < -reference) is told and ("No current falls by more than 100 %" in said) is told


def test_where_wires_do_not_differ_no_best_is_invented(run):
    said = run(study(), "--field", "12")
    assert said.exit_code == 0, said.output
    text = flat(said.output)
    assert "At 12 T the 8 treatments are not distinguishable" in text
    assert "Measured critical currents tell more" in text
    assert "best at" not in text
    assert "Tc and Bc2 are estimates" in text


def test_two_samples_are_too_few_and_that_is_no_failure(run, tmp_path):
    said = run(study(POINTS[:2]), "--field", "12", "--figure", str(tmp_path / "plan.png"))
    assert said.exit_code == 0, said.output
    text = flat(run(study(POINTS[:2]), "--field", "12", "--details").output)
    assert "2 different treatment(s) are too few to tell which is best; 4 are needed" in text
    assert "No response surface can be drawn yet" in text
    assert "too few treatments with both for one" in text


def test_replicates_are_counted_and_not_taken_for_treatments(run):
    said = run(study(POINTS[:3], wires=2), "--field", "12")
    assert said.exit_code == 0, said.output
    assert "6 wires, 3 treatments" in flat(said.output)
    assert "3 different treatment(s) are too few" in flat(said.output)


def test_a_field_no_wire_survives_is_said(run):
    said = run(study(), "--field", "30")
    assert said.exit_code == 0, said.output
    assert "every sample may be normal" in flat(said.output)


def test_a_temperature_above_the_tc_of_all_wires_is_refused_in_one_line(run):
    said = run(study(), "--field", "12", "--temperature", "25")
    assert said.exit_code == 2
    assert said.output.count("\n") == 1
    assert "at 25 K every wire is above its Tc" in said.output and "give a lower temperature" in said.output


@pytest.mark.slow
def test_currents_are_told_over_the_mean_where_the_reference_carries_nothing(run, tmp_path):
    """The first treatment is poor in tin, and none that was reacted keeps the bound: all are told against the first."""
    tin = [0.205, 0.236, 0.232, 0.233, 0.234, 0.235, 0.235, 0.236]
    bound = ("--most-hours-above", "600,30", "--min-hours", "5")
    picture = tmp_path / "plan.png"
    said = run(study(tin=tin, u_scale=0.001), "--field", "16", *bound, "--figure", str(picture))
    assert said.exit_code == 0, said.output
    text = flat(said.output)
    assert "At 16 T 620 °C/50 h may be above its Bc2 or carries hardly anything" in text
    assert "% of mean" in text and "Normal: above Tc or Bc2" in text
    table = said.output.split("\n----")[1].split("After ±")[0]
    rows = [line.split() for line in table.splitlines() if "°C/" in line]
    assert rows[0][5] == "normal"  # after temperature, unit, h, hours in all, wires
    # as differences to a wire that carries nothing, in per cent of the mean of all: eight times that is the sum of all
    assert all(0.0 < float(row[5]) < 800.0 for row in rows[1:8]), rows
    assert picture.is_file()


def test_limits_constraints_and_earlier_holds_are_said_and_kept(run, tmp_path):
    words = ("--field", "15", "--measured", "--number", "3", "--furnace-max-c", "740", "--total-hours", "260")
    words += ("--most-hours-above", "700,10", "--ramp", "25,100", "--details")
    said = run(study(fields=(15.0,), before=BEFORE), *words)
    assert said.exit_code == 0, said.output
    text = flat(said.output)
    assert "620 to 740 °C and 50 to 200 h, ramp 25 to 100 K/h, 260 h in all; before it 210/48 + 400/48 h" in text
    assert "Constraints: at most 10 h at or above 700 °C" in text
    found = [row for row in rows(tmp_path) if row["suggested"] == "1"]
    assert found
    for row in found:
        assert float(row["temperature_c"]) < 700.0 and float(row["total_h"]) <= 260.0
    # 50 h at 710 °C and 10 K at 50 K/h, of 10 h
    assert "Not kept: at most 10 h at or above 700 °C, ramps counted: 710 °C/50 h, 50 K/h by 40 h" in text
    assert "limit of the ramp" not in text and "all wires had about the same ramp" in text


@pytest.mark.slow
def test_every_lot_is_planned_for_itself(run, tmp_path):
    one, other = study(), study(POINTS[:3], "curlew")
    both = (xr.concat([one[0], other[0]], "sample", data_vars="minimal"), {**one[1], **other[1]})
    said = run(both, "--field", "12", "--figure", str(tmp_path / "plan.png"))
    assert said.exit_code == 0, said.output
    assert "Lot heron" in said.output and "Lot curlew" in said.output
    assert (tmp_path / "plan-heron.png").is_file() and (tmp_path / "plan-curlew.png").is_file()
    assert {row["lot"] for row in rows(tmp_path)} == {"heron", "curlew"}
    said = run(both, "--field", "12", "--lot", "curlew")
    assert "Lot heron" not in said.output


@pytest.mark.slow
def test_each_lot_has_the_pre_strain_of_its_design(run):
    one, other = study(POINTS[:4]), study(POINTS[:4], "curlew")
    both = (xr.concat([one[0], other[0]], "sample", data_vars="minimal"), {**one[1], **other[1]})
    said = run(both, "--field", "12")
    assert said.exit_code == 0, said.output
    text = flat(said.output)
    assert "Lot heron at 4.2 K, thermal pre-strain -0.2 to -0.1 % (powder-in-tube)" in text
    assert "Lot curlew at 4.2 K, thermal pre-strain -0.3 to -0.2 % (internal-tin)" in text
    text = flat(run(both, "--field", "12", "--design", "bronze").output)
    assert text.count("thermal pre-strain -0.4 to -0.3 % (bronze)") == 2


def test_a_lot_that_cannot_be_planned_does_not_stop_the_others(run):
    one, other = study(), study(POINTS[:3], "curlew")
    both = (xr.concat([one[0], other[0]], "sample", data_vars="minimal"), {**one[1], **dict.fromkeys(other[1])})
    said = run(both, "--field", "12")
    assert said.exit_code == 0, said.output
    assert "Not planned: lot curlew: lot 'curlew': no fitted sample has a heat treatment" in said.output


@pytest.mark.parametrize("words", [(), ("--lot", "heron")])
def test_without_an_a15_it_says_why_nothing_can_be_planned(run, words):
    results, treatments = study(POINTS[:1])
    results["quality"] = "sample", ["do not use: no A15 was found"]
    said = run((results, treatments), "--field", "12", *words)
    assert said.exit_code == 2
    assert said.stderr == (
        "xrdorder: lot 'heron': nothing can be planned, no sample has a usable fit of an A15 (heron-620-50-0: do not "
        "use: no A15 was found); add patterns of reacted wires with their treatment to study.toml and run it\n"
    )
    other = run((results, treatments), "--field", "12", "--lot", "moon")
    assert "no sample is of lot 'moon'; known: heron" in other.stderr
    # without a verdict on the fit, the lattice that is missing says the same
    results["a_nm"] = "sample", [float("nan")]
    said = run((results.drop_vars("quality"), treatments), "--field", "12", *words)
    assert (said.exit_code, "no A15 was fitted" in said.stderr) == (2, True)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "Missing option '--field'"),
        (("--field", "0"), "0 is not above zero"),
        (("--field", "12", "--strain", "-0.2"), "--strain -0.2 is -20 %; give a fraction"),
        (("--field", "12", "--lot", "moon"), "no sample is of lot 'moon'; known: heron"),
        (("--field", "12", "--furnace-min-c", "700", "--furnace-max-c", "650"), "700 to 650 is no range"),
        (("--field", "12", "--furnace-max-c", "1100"), "copper melts at 1085 °C"),
        (("--field", "12", "--total-hours", "20"), "no treatment fits into 20 h"),
        (("--field", "12", "--rrr-above", "100"), "was measured after 0 different treatment(s), too few"),
        (("--field", "12", "--niobium-below", "100"), "give wt.% below 100"),
        (("--field", "12", "--most-hours-above", "500,1"), "no treatment inside the furnace limits keeps"),
        (("--field", "12", "--number", "4"), "4 is not in the range"),
        (("--field", "12", "--ramp", "1,2,3"), "--ramp takes one ramp"),
        (("--field", "12", "--design", "moon"), "wire design 'moon'"),
        (("--design", "none", "--field", "12", "--strain", "-0.002"), "give either the intrinsic strain or the design"),
        (tuple(word for b in range(5, 10) for word in ("--field", str(b))), "5 fields are given; at most 4"),
    ],
)
def test_wrong_use_is_one_line(run, words, message):
    said = run(study(POINTS[:4]), *words)
    assert said.exit_code == 2
    assert message in said.stderr and said.stderr.count("\n") == 1
    assert "Traceback" not in said.output
