"""Field, temperature and strain from a terminal, on good and broken input."""

import re

import pytest
from click.testing import CliRunner

from tests import descriptions
from tests.cli.test_commands import STUDY
from tests.estimates.test_conductors import MEASURED as SHARE
from tests.estimates.test_conductors import results
from xrdorder.cli import main
from xrdorder.estimates.conductors import conductors, layers
from xrdorder.results.open_study import OpenStudy
from xrdorder.superconductivity.currents import Conditions, bc2_curve, layer_current

MEASURED = """
[samples.measured]
grain_size_nm = { value = 150, u = 15 }
a15_area_fraction = { value = 0.5, u = 0.02 }
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
def test_fields_prints_draws_and_takes_what_was_measured(run, study):
    assert run("run", "study", "--no-figures").exit_code == 0
    words = ("--field", "10", "--field", "14", "--strain", "-0.002", "--reference", "one", "--details")
    shown = run("fields", "study", *words)
    assert shown.exit_code == 0, shown.output
    text = " ".join(shown.stdout.split())
    for words in ("intrinsic strain −0.2 %", "150 nm by microscopy", "at 14 T, 4.2 K", "non-copper", "two and one"):
        assert words in text, words
    figures = study / "results/figures"
    for name in ("bc2", "currents", "section"):
        assert (figures / f"{name}.png").read_bytes().startswith(b"\x89PNG")
    for words, message in (
        (("--reference", "nobody"), "no sample 'nobody'"),
        (("--sample", "nobody"), "no sample 'nobody'"),
        (("--design", "moon"), "no pre-strain known for the wire design 'moon'"),
        (("--field", "-3"), "-3"),
        (("--strain", "-0.2"), "strain"),
    ):
        refused = run("fields", "study", "--no-figures", *words)
        assert refused.exit_code == 2, words
        assert message in refused.stderr
        assert len(refused.stderr.strip().splitlines()) == 1


class Sample:
    def __init__(self, name, design):
        self.name, self.lot = name, descriptions.lot("A", design=design)


def held(designs, measured=SHARE):
    """A study without a folder: a uniform, a graded and an unresolved layer, the graded one of known A15 area."""
    samples = tuple(Sample(name, design) for name, design in designs.items())
    return OpenStudy(descriptions.study("study", samples), results(measured=measured))


@pytest.fixture
def shown(tmp_path, monkeypatch):
    def fields(*words, designs=None, figures=False, measured=SHARE):
        monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held(designs or {}, measured))
        (tmp_path / "results/figures").mkdir(parents=True, exist_ok=True)
        drawn = "--figures" if figures else "--no-figures"
        monkeypatch.setenv("COLUMNS", "240")
        return CliRunner().invoke(main, ["fields", str(tmp_path), drawn, "--details", *words])

    return fields


def cells(text, title):
    """Rows of the table below a line that begins so, by sample."""
    below = text[text.index(title) :].split("---\n", 1)[1]
    rows = [re.split(r"\s{2,}", line) for line in below.split("\n\n", 1)[0].splitlines()]
    return {row[0]: row[1:] for row in rows}


@pytest.mark.slow
def test_layer_and_non_copper_currents_stand_apart_at_every_field(shown):
    said = shown("--field", "8", "--field", "14")
    assert said.exit_code == 0, said.output
    own = {one.name: layer_current(one, [8.0, 14.0]) for one in conductors(results(measured=SHARE))}
    for k, field in enumerate((8, 14)):
        table = cells(said.output, f"Current density at {field} T, 4.2 K")
        for name, current in own.items():
            for cell, band in zip(table[name], (current.layer, current.non_copper), strict=False):
                expected = ["-"] if band is None else [float(f"{float(part[k]):.3g}") for part in band]
                assert cell == "-" or [float(x) for x in re.findall(r"\d+", cell)] == expected
        assert table["fine"][1] == "-" and table["graded"][1] != "-"
        assert table["fine"][2:] == ["1", "-"]
    assert "J layer: over the A15 area" in said.output


@pytest.mark.slow
def test_one_size_by_microscopy_changes_a_density_and_no_ratio(shown):
    """The grain size of "fine" alone, its domains 80 nm and its grains 125 nm."""
    ratios, densities = [], []
    for measured in (SHARE, SHARE[2:]):
        said = shown("--field", "8", measured=measured)
        table = cells(said.output, "Current density at 8 T, 4.2 K")
        ratios.append(table["graded"][2:])
        densities.append(table["fine"][0])
        text = " ".join(said.output.split())
        if measured is SHARE:
            assert "Ratios take domain sizes for all samples, as not every one has a grain size by microscopy" in text
            assert "where it is given (1 of 2)" in text
        else:
            assert "Ratios take domain sizes for all samples." in text
    assert densities[0] != densities[1]
    # grains of a lot are larger than its domains by one factor; forces are no power of the size, so that it does
    # not cancel exactly: 3 % of the ratio where grains are half as large again
    first, second = (float(ratio[0].split()[0]) for ratio in ratios)
    assert first == pytest.approx(second, rel=0.05)
    both = shown("--field", "8", measured=(*SHARE, ("graded", "grain_size_nm", 150.0, 10.0)))
    assert "Ratios take grain sizes by microscopy for all samples." in both.output
    assert cells(both.output, "Current density at 8 T")["graded"][2:] != ratios[0]


@pytest.mark.slow
def test_a_sample_whose_domains_are_not_resolved_has_no_ratio(shown):
    said = shown("--field", "8", measured=(("coarse", "grain_size_nm", 200.0, 10.0),))
    assert said.exit_code == 0, said.output
    assert "no ratio with coarse, whose pattern has no domain size" in " ".join(said.output.split())
    table = cells(said.output, "Current density at 8 T")
    assert table["coarse"][0] != "-" and table["coarse"][2:] == ["-", "-"] and table["graded"][2] != "-"


def test_samples_that_carry_nothing_for_want_of_a_size_are_named(shown):
    said = shown("--field", "8")
    assert [line for line in said.output.splitlines() if line.startswith("Left out")] == [
        "Left out: coarse (no grain size, so no current)"
    ]
    assert "Left out" not in shown("--field", "8", "--sample", "fine").output


@pytest.mark.slow
def test_the_tenths_of_a_layer_are_at_the_temperature_and_strain_asked_for(shown):
    said = shown("--temperature", "8", "--strain", "-0.003")
    row = cells(said.output, "Upper critical field at 8 K, intrinsic strain −0.3 %")["graded"]
    one = layers(results())["graded"]
    spread = one.over_section(one.bc2(8.0, one.strained(-0.003)))
    worst, best = (float(band.median) for band in (spread.worst_decile, spread.best_decile))
    assert row[1] == f"{worst:.1f} to {best:.1f}"
    assert worst < float(row[0].split()[0]) < best


def test_the_answer_stands_first(tmp_path, monkeypatch):
    """Which sample carries most at each field, then one table: Bc2, and the current over that of the reference."""
    monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held({}))
    monkeypatch.setenv("COLUMNS", "80")
    said = CliRunner().invoke(main, ["fields", str(tmp_path), "--no-figures", "--field", "8", "--field", "14"]).output
    lines = said.splitlines()
    answers = [line for line in lines if line.startswith("At ")]
    assert [line.split(":")[0] for line in answers] == ["At 8 T", "At 14 T"]
    (row,) = [line.split() for line in lines if line.startswith("graded ")]
    assert len(row) == 6 and 0.0 < float(row[3]) < 1.0  # name, Bc2, and for each field the ratio and its probability
    assert max(len(line) for line in lines if not line.startswith("Next")) <= 80  # a command can be copied whole


def test_a_missing_ratio_has_its_reason(shown):
    said = shown("--field", "20", "--reference", "graded")
    table = cells(said.output, "Current density at 20 T")
    assert re.fullmatch(r"-, reference normal in \d+ % of the draws", table["fine"][2])
    assert re.fullmatch(r"1, normal in \d+ % of the draws", table["graded"][2])
    assert "normal in more than 16 % of the draws" in " ".join(said.output.split())


@pytest.mark.slow
def test_above_tc_nothing_is_compared_and_that_is_said(shown):
    said = shown("--temperature", "20", "--field", "5", figures=True)
    assert said.exit_code == 0, said.output
    assert re.search(r"Above Tc, carrying nothing at 20 K: fine \(Tc 1\d\.\d K\), graded \(Tc", said.output)
    assert cells(said.output, "Upper critical field")["fine"][:2] == ["normal", "-"]
    table = cells(said.output, "Current density at 5 T")
    assert table["fine"] == ["0, normal", "-", "-, normal", "-"]
    assert table["graded"][:2] == ["0, normal", "0, normal"] and table["graded"][3] == "-"
    assert "cross" not in said.output
    assert "(bc2, section); no currents: no sample is superconducting above 2 T" in said.output


@pytest.mark.slow
def test_each_sample_has_the_design_of_its_lot_unless_one_is_asked_for(shown):
    designs = {"fine": "bronze", "graded": "powder-in-tube"}
    said = shown(designs=designs)
    head = " ".join(said.output.split("---")[0].split())
    assert "thermal pre-strain −0.4 to −0.3 % (bronze), −0.2 to −0.1 % (powder-in-tube)" in head
    assert "from memory" in head
    found = conductors(results(measured=SHARE), designs=designs)
    rows = cells(said.output, "Upper critical field")
    for one in found:
        assert rows[one.name][0].split()[0] == f"{float(bc2_curve(one, [4.2]).median[0]):.1f}"
        assert rows[one.name][-1] == designs[one.name]
    rows = cells(shown("--design", "none", designs=designs).output, "Upper critical field")
    for one in found:
        free = bc2_curve(one, [4.2], Conditions(strain=0.0))
        assert rows[one.name][0].split()[0] == f"{float(free.median[0]):.1f}"
        assert "powder-in-tube" not in rows[one.name]


@pytest.mark.parametrize("words", [("--strain", "-0.002", "--design", "none"), ("--design", "none", "--strain", "0")])
def test_a_strain_beside_a_design_is_refused(shown, words):
    refused = shown(*words)
    assert refused.exit_code == 2
    assert "give either the intrinsic strain or the design" in refused.stderr
    assert refused.stderr.count("\n") == 1


def test_help_says_which_figures_are_saved(shown):
    for command, what in (("fields", "Bc2, currents and superconducting section"), ("measured", "against measure")):
        text = " ".join(CliRunner().invoke(main, [command, "--help"]).output.split())
        assert f"Save {'' if command == 'fields' else 'estimates '}{what}" in text
        assert "figure of every pattern" not in text


def test_a_study_that_is_not_there_is_one_line(run):
    refused = run("fields", "nowhere")
    assert refused.exit_code == 2
    assert "no such study folder" in refused.stderr
