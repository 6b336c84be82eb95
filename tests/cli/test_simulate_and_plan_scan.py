"""simulate and plan-scan: an answer in ten lines at 80 columns, and one line for what cannot be."""

import re
import tomllib

import pytest

SPECIMEN = """
from_deg = 20.0
to_deg = 100.0
step_deg = 0.05
strongest_line_per_s = 4000.0
specimen_length_mm = 20.0
"""


@pytest.fixture
def specimen(tmp_path):
    path = tmp_path / "specimen.toml"
    path.write_text(SPECIMEN)
    return path


@pytest.fixture
def narrow(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")


def answered(result, lines=10):
    """A short answer: so many lines of 80 columns at most."""
    assert result.exit_code == 0, result.output
    shown = result.stdout.rstrip("\n").split("\n")
    assert len(shown) <= lines, result.stdout
    assert max(map(len, shown)) <= 80, result.stdout
    return result.stdout


def test_a_scan_is_simulated_with_its_truth(run, specimen, instrument, tmp_path):
    result = run("simulate", specimen, "--instrument", instrument, "--out", "scan.xy", "--seed", 4)
    assert result.exit_code == 0, result.output
    assert "no measurement" in result.stdout
    assert tomllib.loads((tmp_path / "scan.truth.toml").read_text())["noise"] == "Poisson, seed 4"
    again = run("simulate", specimen, "--instrument", instrument, "--out", "again.xy", "--seed", 4)
    assert again.exit_code == 0
    assert (tmp_path / "again.xy").read_text() == (tmp_path / "scan.xy").read_text()


@pytest.mark.slow
def test_repeated_scans_have_noise_of_their_own(run, specimen, instrument, tmp_path):
    words = ("--out", "scan.cif", "--repeats", 2, "--truth", "json")
    assert run("simulate", specimen, "--instrument", instrument, *words).exit_code == 0
    assert (tmp_path / "scan-1.cif").read_bytes() != (tmp_path / "scan-2.cif").read_bytes()
    assert (tmp_path / "scan-2.truth.json").is_file()


def test_a_study_is_simulated(run, instrument, tmp_path):
    (tmp_path / "study.toml").write_text(
        "[specimen]\nto_deg = 60.0\nstep_deg = 0.1\n[[samples]]\nname = 'a'\ntreatment = '650/100 h'\nwires = 2\n"
    )
    result = run("simulate", "study.toml", "--instrument", instrument, "--out", "made", "--expected")
    assert result.exit_code == 0, result.output
    assert "2 patterns simulated" in result.stdout and "xrdorder run made" in result.stdout
    assert {path.name for path in (tmp_path / "made" / "patterns").iterdir()} >= {"a-1.xy", "a-2.truth.toml"}


def test_order_is_planned_in_ten_lines(run, narrow, specimen, instrument, tmp_path):
    words = ("--target-site-order", 0.02, "--table", "ranges.csv")
    result = run("plan-scan", specimen, "--instrument", instrument, *words)
    shown = answered(result)
    assert re.search(r"^site order .* 0\.02 .* (h|min) ", shown, re.MULTILINE)
    assert "times as fast as" in shown and "X-rays injure" in shown
    table = (tmp_path / "ranges.csv").read_text().split("\n")
    assert table[0] == "from_deg,to_deg,step_deg,points,seconds_per_step"
    assert sum(int(line.split(",")[3]) for line in table[1:-1]) == 1601


@pytest.mark.slow
def test_what_no_counting_reaches_is_said_with_what_would_help(run, narrow, specimen, instrument):
    shown = answered(run("plan-scan", specimen, "--instrument", instrument, "--target-lattice-pm", 0.0001))
    assert "never" in shown
    text = " ".join(shown.split())
    assert re.search(r"Not reached lattice parameter to 0\.0001 pm: counting ends at 0\.00\d+ \(", text)
    assert "It takes" in text


@pytest.mark.slow
def test_details_say_what_each_number_is(run, specimen, instrument):
    words = ("--target-site-order", 0.02, "--difference", "--details")
    shown = " ".join(run("plan-scan", specimen, "--instrument", instrument, *words).stdout.split())
    assert "What no counting of the specimen takes away" in shown
    assert re.search(r"a uniform scan of unit 6.7 min 27 min 1.8 h", shown)
    assert "Guards" in shown and "nb3sn_texture_4" in shown
    assert "difference in site order" in shown and "standard ones (k = 1)" in shown


@pytest.mark.slow
def test_a_quick_scan_plans_and_draws(run, scans, instrument, tmp_path):
    words = ("--target-site-order", 0.03, "--specimen-length-mm", 20, "--divergence-deg", 0.5, "--undoped")
    more = ("--radiation", "cu-ka", "--range", "22,78", "--figure", "plan.png")
    result = run("plan-scan", "--from-pattern", scans / "one.xy", "--instrument", instrument, *words, *more)
    assert result.exit_code == 0, result.output
    assert "22.04 to 77.96 degrees" in result.stdout and "as the quick scan" in result.stdout
    assert (tmp_path / "plan.png").stat().st_size > 10_000


def test_radiations_in_ten_lines(run, narrow):
    shown = answered(run("plan-scan", "--about", "radiation"))
    assert "below Nb K, 18.955 keV, 2.2 times that of cu-ka" in shown
    warned = run("plan-scan", "--about", "radiation", "--consider", "18.98 keV", "--details").stdout
    assert "6 eV from the Nb K edge" in " ".join(warned.split())
    assert "beam line" in warned


@pytest.mark.slow
def test_wires_in_ten_lines(run, narrow, specimen, instrument):
    words = ("--about", "wires", "--detect", 0.05, "--scatter", 0.01, "--cost", 5, 1, 3)
    shown = answered(run("plan-scan", specimen, "--instrument", instrument, *words))
    assert re.search(r"^scans +\d+ ", shown, re.MULTILINE)
    words = ("--of", "Ic", "--detect", 5, "--scatter", 3, "--u-measured", 1)
    current = answered(run("plan-scan", "--about", "wires", *words))
    assert "5 % in critical current" in current and re.search(r"^measured +\d+ ", current, re.MULTILINE)


@pytest.mark.slow
def test_a_rehearsed_study_tells_how_far_wires_scatter(run, specimen, instrument, tmp_path):
    """From a described study to its fit to the number of wires, by its own replicates."""
    (tmp_path / "study.toml").write_text(
        "[specimen]\nspecimen_length_mm = 20.0\nto_deg = 90.0\nstep_deg = 0.06\nstrongest_line_per_s = 20000.0\n"
        "[[samples]]\nname = 'a'\ntreatment = '650/100 h'\nwires = 3\n"
        "[[samples]]\nname = 'b'\ntreatment = '675/100 h'\n"
    )
    assert run("simulate", "study.toml", "--instrument", instrument, "--out", "made").exit_code == 0
    assert run("run", "made", "--no-figures", "--workers", 1).exit_code == 0
    words = ("--about", "wires", "--of", "site_order", "--detect", 0.05, "--study", "made")
    result = run("plan-scan", specimen, "--instrument", instrument, *words)
    assert result.exit_code == 0, result.output
    assert "replicates of made, 2 degrees of freedom" in result.stdout
    refused = run("plan-scan", "--about", "wires", "--of", "Ic", "--detect", 5, "--u-measured", 1, "--study", "made")
    assert refused.exit_code == 2 and "give that of Ic with --scatter" in refused.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "give either a DESCRIPTION of the specimen or a quick scan"),
        (("{specimen}",), "--instrument is missing"),
        (("{specimen}", "--instrument", "{instrument}", "--range", "0.5,90"), "from_deg = 0.5; give degrees 2 theta"),
        (("{specimen}", "--instrument", "{instrument}", "--range", "100,60"), "give a range of 10 degrees"),
        (("{specimen}", "--instrument", "{instrument}", "--least-share", "2"), "give a part of a uniform scan"),
        (("{specimen}", "--instrument", "{instrument}", "--target-site-order", "-1"), "is not above zero"),
        (("--from-pattern", "{letters}", "--instrument", "{instrument}"), "letters.xy"),
        (("--about", "radiation", "--consider", "70 keV"), "the tables hold from 5 to 60 keV"),
        (("--about", "wires"), "--detect is missing"),
        (("--about", "wires", "--of", "hardness", "--detect", "1"), "--of hardness is not planned for"),
        (("--about", "wires", "--detect", "0.1", "--power", "1.5"), "give a probability below 1"),
        (("--about", "wires", "--of", "Tc_K", "--detect", "0.1", "--study", "none", "--u-measured", "0.1"), "none"),
    ],
)
def test_what_cannot_be_is_one_line(run, scans, specimen, instrument, words, said):
    places = {"specimen": specimen, "instrument": instrument, "letters": scans / "letters.xy"}
    result = run("plan-scan", *(word.format(**places) for word in words))
    assert result.exit_code == 2, result.output
    assert said in result.stderr and "Traceback" not in result.output
    lines = [line for line in result.stderr.strip().split("\n") if not line.startswith(("Usage", "Try"))]
    assert len([line for line in lines if line]) == 1, result.stderr


def test_a_wrong_description_is_one_line(run, specimen, instrument):
    specimen.write_text("tin = 24\n")
    result = run("simulate", specimen, "--instrument", instrument, "--out", "scan.xy")
    assert result.exit_code == 2
    assert "tin: unknown key; did you mean 'tin_at_percent'?" in result.stderr
