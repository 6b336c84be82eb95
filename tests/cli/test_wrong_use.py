"""Whatever is wrong is said in one line, with the right exit code, and never with a traceback."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.cli.conftest import CALIBRATE
from xrdorder.cli import main
from xrdorder.cli.program import Program
from xrdorder.exceptions import StudyError


def refused(result, *words, code=2):
    assert result.exit_code == code, result.output
    assert result.stderr.startswith("xrdorder: ")
    assert result.stderr.count("\n") == 1, result.stderr
    assert "Traceback" not in result.output
    for word in words:
        assert word in result.stderr


@pytest.mark.parametrize(
    "words, expected",
    [
        (["fti"], "fti"),
        (["fit"], "PATTERN"),
        (["fit", "here.xy", "--instrument", "i.toml"], "i.toml"),
        (["calibrate", "nowhere.xy", *CALIBRATE], "nowhere.xy"),
        (["calibrate", ".", *CALIBRATE], "directory"),
        (["calibrate", "here.xy", "--standard", "srm-660c"], "--detector-distance-mm"),
        (["run"], "STUDY"),
        (["run", "nowhere"], "no such study folder"),
        (["run", "."], "holds no study.toml"),
        (["run", ".", "--workers", "0"], "--workers"),
        (["estimate"], "nothing to estimate from"),
        (["estimate", "--lattice-nm", "5.288"], "give nm"),
        (["estimate", "--lattice-nm", "0.5240", "--undoped"], "-11.8 at.% tin"),
        (["estimate", "--lattice-nm", "0.5300"], "too far outside the A15 field"),
        (["estimate", "--tin-at-percent", "0.24"], "tin content is 0.24 at.%; did you mean 24?"),
        (["estimate", "--tin-at-percent", "40"], "tin content is 40 at.%; give that of the A15"),
        (["estimate", "--lattice-nm", "0,5288"], "not a number"),
        (["estimate", "--lattice-nm", "nan"], "not a finite number"),
        (["estimate", "--lattice-nm", "-0.5288"], "not above zero"),
        (["estimate", "--site-order", "93"], "site order"),
        (["estimate", "--lattice-nm", "0.5288", "--dopant", "Ta"], "Ta=2.4"),
        (["estimate", "--lattice-nm", "0.5288", "--dopant", "Xx=2"], "Xx"),
        (["estimate", "--lattice-nm", "0.5288", "--dopant", "Ta=-1"], "at.%"),
        (["estimate", "--lattice-nm", "0.5288", "--dopant", "Ta=1", "--dopant", "Ta=2"], "twice"),
        (["estimate", "--u-site-order", "0.1", "--lattice-nm", "0.5288"], "site order"),
        (["demo", "--speed", "3"], "--speed"),
    ],
)
def test_wrong_words(run, words, expected, tmp_path):
    (tmp_path / "here.xy").write_text("20 100\n")
    refused(run(*words), expected)


@pytest.mark.parametrize(
    "change, expected",
    [
        ({"--standard": "srm-660z"}, "srm-660c"),  # names those there are
        ({"--radiation": "cu-kb"}, "cu-ka"),
        ({"--detector-distance-mm": "0"}, "not above zero"),
        ({"--standard-lattice-nm": "4.1569"}, "give nm"),
        ({"--standard-lattice-nm": "0.4157,0.5"}, "1 free length"),
        ({"--u-standard-lattice-nm": "0.01"}, "give nm"),
        ({"--geometry": "oblique"}, "capillary"),
        ({"--geometry": "transmission"}, "mu_t"),
        ({"--geometry": "capillary", "--mu-r": "-1"}, "--mu-r: -1 is outside"),
        ({"--mu-t": "1"}, "belongs to transmission"),
        ({"--illuminated-length-mm": "15"}, "variable one"),
        ({"--polarisation-ratio": "1.5"}, "polarisation"),
        ({"--axis": "q", "--axis-unit": "nm"}, "--axis-unit: 'nm' is no unit of q"),
        ({"--out": "nowhere/instrument.toml"}, "nowhere"),
    ],
)
def test_wrong_calibration(run, scans, change, expected):
    options = dict(zip(CALIBRATE[::2], CALIBRATE[1::2], strict=True)) | change
    words = [word for pair in options.items() for word in pair]
    refused(run("calibrate", scans / "lab6.xy", *words), expected)


def test_calibration_needs_the_lines_of_the_standard(run, scans, tmp_path):
    refused(run("calibrate", scans / "niobium.xy", *CALIBRATE), "niobium.xy", "srm-660c")
    refused(run("calibrate", scans / "empty.xy", *CALIBRATE), "empty.xy")
    assert not (tmp_path / "instrument.toml").exists()


def test_a_file_that_is_no_instrument_is_not_written_over(run, scans, tmp_path):
    (tmp_path / "data.xy").write_text("20 100\n")
    refused(run("calibrate", scans / "lab6.xy", *CALIBRATE, "--out", "data.xy"), "data.xy", "no instrument")
    assert (tmp_path / "data.xy").read_text() == "20 100\n"


def test_an_unknown_format_of_a_figure_is_refused(run, scans):
    refused(run("calibrate", scans / "lab6.xy", *CALIBRATE, "--figure", "fit.doc"), "fit.doc", "png, pdf, svg")


def test_an_instrument_file_that_is_none(run, scans):
    refused(run("fit", scans / "one.xy", "--instrument", scans / "one.xy"), "one.xy")


def test_an_unknown_phase_and_a_study_in_the_way(run, scans, instrument, tmp_path):
    words = ("fit", scans / "one.xy", "--instrument", instrument)
    refused(run(*words, "--phases", "nb3sn,nv"), "nv")
    refused(run(*words, "--phases", "nb3sn,,nb"), "empty name")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine/study.toml").write_text("title = 'mine'\n")
    refused(run(*words, "--out", "mine"), "not replaced")


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--lattice-distribution", "graded"], "two-populations"),
        (["--texture-axis", "nb"], "nb3sn=1,0,0"),
        (["--texture-axis", "nb=1,0,0.5"], "nb3sn=1,0,0"),
        (["--texture-axis", "nb=0,0,0"], "0 0 0 is no plane"),
        (["--texture-axis", "nv=1,0,0"], "nv"),
        (["--texture-axis", "nb=1,0,0", "--texture-axis", "nb=1,1,0"], "given twice"),
        (["--roughness", "0.5"], "two numbers"),
        (["--roughness", "1.5,0.1"], "describe no surface"),
        (["--particle-size-um", "0"], "not above zero"),
        (["--mu-t", "-1"], "xrdorder: --mu-t: -1 is outside"),
        (["--mu-t", "1"], "--mu-t belongs to transmission, not to reflection; leave it out"),
        (["--mu-r", "1"], "--mu-r belongs to capillary"),
        (["--radiation", "mo-ka"], "--radiation mo-ka: 0.070932 nm, but"),
        (["--radiation", "kupfer"], "--radiation: "),
        (["--axis", "d", "--axis-unit", "1/nm"], "--axis-unit: '1/nm' is no unit of d"),
        (["--texture-axis", "ta=1,1,0"], "--texture-axis ta: is not among the phases looked for (nb3sn, nb, cu-sn)"),
        (["--measured-dispersion", "Ta=-5,6"], "--measured-dispersion Ta: no atom of Ta is in the phases looked for"),
        (["--dopant", "Ta=2.4+-0"], "not above zero"),
        (["--dopant", "Ta=2.4+-0.1+-0.2"], "more than one uncertainty"),
        (["--dopant", "Ta=2.4+-30"], "no uncertainty in at.% is above 20"),
        (["--dopant", "Xx=2.4+-0.2"], "--dopant Xx: "),
        (["--undoped", "--dopant", "Ta=2.4"], "contradict each other"),
        (["--mu-r", "many"], "not a number"),
        (["--measured-dispersion", "Nb=-2.1"], "Nb=-2.1,0.6"),
        (["--measured-dispersion", "Nb=nan,1"], "Nb=-2.1,0.6"),
        (["--measured-dispersion", "Nv=-2.1,0.6"], "Nv"),
        (["--measured-dispersion", "Nb=-2.1,-0.6"], "not negative"),
    ],
)
def test_choices_that_no_fit_can_take(run, scans, instrument, words, expected):
    result = run("fit", scans / "one.xy", scans / "two.xy", "--instrument", instrument, *words)
    refused(result, expected)
    assert not Path("xrdorder-fit/results").exists()  # nothing was fitted


def test_a_plate_needs_its_attenuation_before_anything_is_fitted(run, scans, instrument, tmp_path):
    text = instrument.read_text(encoding="utf-8")
    plate = tmp_path / "plate.toml"
    plate.write_text(text.replace('geometry = "reflection"', 'geometry = "transmission"'), encoding="utf-8")
    assert plate.read_text(encoding="utf-8") != text
    refused(run("fit", scans / "one.xy", "--instrument", plate), "transmission needs --mu-t", "calibrated in transm")


def test_patterns_of_another_radiation_fail_and_say_so(run, scans, instrument, tmp_path):
    moly = tmp_path / "moly.xy"
    moly.write_text("# radiation: mo-ka\n" + (scans / "one.xy").read_text(encoding="utf-8"), encoding="utf-8")
    result = run("fit", moly, "--instrument", instrument, "--no-figures")
    refused(result, "moly.xy", "cu-ka", code=1)


def test_a_content_that_looks_like_a_fraction_is_questioned(run):
    words = ("estimate", "--lattice-nm", "0.5288", "--dopant")
    asked = run(*words, "Ta=0.024")
    assert asked.exit_code == 0  # niobium brings some hundredths of an at.% along: no error
    assert asked.stderr == "xrdorder: remark: --dopant Ta=0.024 reads 0.024 at.%; did you mean Ta=2.4?\n"
    assert run(*words, "Ta=2.4").stderr == ""
    assert "2.4 ± 0.2 at.% Ta" in " ".join(run(*words, "Ta=2.4+-0.2").stdout.split())


def test_a_fraction_for_at_percent_in_a_study_is_questioned(run, tmp_path):
    (tmp_path / "i.toml").write_text("")
    (tmp_path / "study.toml").write_text(
        '[instrument]\nfile = "i.toml"\n[lots.A]\ndopant_at_percent = { Ta = 0.024 }\n'
        '[[samples]]\nname = "a"\npattern = "a.xy"\nlot = "A"\n'
    )
    result = run("run", ".")
    assert result.exit_code == 2  # the instrument file is none
    remark = "xrdorder: remark: lots.A.dopant_at_percent: Ta = 0.024 reads 0.024 at.%; did you mean 2.4?"
    assert result.stderr.splitlines()[0] == remark


def test_half_a_table_of_results_is_told_in_one_line(run, tmp_path):
    (tmp_path / "i.toml").write_text("")
    (tmp_path / "study.toml").write_text('[instrument]\nfile = "i.toml"\n[[samples]]\nname = "a"\npattern = "a.xy"\n')
    (tmp_path / "results").mkdir()
    (tmp_path / "results/results.nc").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(100))
    for command in (("compare", "."), ("report", "."), ("measured", ".")):
        refused(run(*command), "results.nc: cannot be read", "run the study again")


def test_every_problem_of_a_description_has_a_line(run, tmp_path):
    (tmp_path / "study.toml").write_text('[instrument]\nfile = "i.toml"\n[[samples]]\nname = "a"\nhold = 3\n')
    result = run("run", ".")
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert len(lines) >= 3
    assert all(line.startswith("xrdorder: ") and "study.toml" in line for line in lines)


def test_interruption_is_no_traceback(monkeypatch):
    program = Program("xrdorder")

    @program.command()
    def wait():
        raise KeyboardInterrupt

    result = CliRunner().invoke(program, ["wait"])
    assert result.exit_code == 130
    assert "interrupted" in result.stderr and result.stderr.count("\n") >= 1


@pytest.mark.parametrize(
    ("error", "said", "remedy"),
    [
        (ZeroDivisionError("a mistake\nof ours"), "ZeroDivisionError: a mistake of ours", "was not foreseen"),
        (MemoryError(), "out of memory", "--workers 1"),
        (RecursionError("maximum recursion depth exceeded"), "RecursionError: ", "nested too deeply"),
        (OSError(28, "No space left on device", "a.csv"), "a.csv: No space left on device", "see to disk and rights"),
        (UnicodeDecodeError("utf-8", b"\xff", 0, 1, "invalid start byte"), "UnicodeDecodeError: ", "rename the file"),
    ],
)
def test_an_error_nobody_foresaw_is_one_line_with_its_details_in_a_log(monkeypatch, tmp_path, error, said, remedy):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    program = Program("xrdorder")

    @program.command()
    def breaks():
        raise error

    result = CliRunner().invoke(program, ["breaks"])
    refused(result, said, remedy, code=3)
    path = Path(result.stderr.strip().split("details in ")[1])
    assert path.parent == tmp_path / "state" / "xrdorder"
    text = path.read_text(encoding="utf-8")
    assert "Traceback" in text and "raise error" in text and type(error).__name__ in text
    CliRunner().invoke(program, ["breaks"])
    assert len(list(path.parent.iterdir())) == 2  # none is written over, and nothing half written is left


def test_a_log_that_cannot_be_written_does_not_matter(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("mine")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "file"))
    program = Program("xrdorder")

    @program.command()
    def breaks():
        raise KeyError("a")

    result = CliRunner().invoke(program, ["breaks"])
    refused(result, "KeyError: 'a'", code=3)
    assert "details" not in result.stderr and (tmp_path / "file").read_text() == "mine"


def test_output_that_nobody_takes(tmp_path):
    """A full device, a reader that has gone, and names of a file that are no UTF-8."""
    words = [sys.executable, "-m", "xrdorder.cli", "relations"]
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False)
        assert done.returncode == 3 and done.stderr.count("\n") == 1
        assert done.stderr.startswith("xrdorder: No space left on device; see to disk")
        silent = subprocess.run(words, stdout=full, stderr=full, timeout=60, check=False)
        assert silent.returncode == 3
    read, write = os.pipe()
    os.close(read)  # before anything is written
    with os.fdopen(write, "wb") as gone:
        done = subprocess.run(words, stdout=gone, stderr=subprocess.PIPE, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (1, b"")
    name = os.fsencode(tmp_path) + b"/\xff"
    done = subprocess.run([*words[:3], b"report", name], capture_output=True, timeout=60, check=False)
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1 and b"no such study folder" in done.stderr


def test_errors_reach_a_caller_that_wants_them():
    with pytest.raises(StudyError):
        main(["run", "nowhere"], standalone_mode=False)


def test_exit_codes_of_the_process():
    def code(*words):
        done = subprocess.run(
            [sys.executable, "-m", "xrdorder.cli", *words], capture_output=True, text=True, timeout=60
        )
        return done.returncode, done.stderr

    assert code("--version") == (0, "")
    number, words = code("calibrate", "x.xy")
    assert number == 2 and words.startswith("xrdorder: ") and words.count("\n") == 1
