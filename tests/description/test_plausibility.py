"""What is told beside the results, and before a run: one pattern under two names, kelvin, files that are not there."""

import numpy as np
import pytest

from tests.results.made import sample
from xrdorder.description.plausibility import remarks, study_flags
from xrdorder.description.study import read_study
from xrdorder.exceptions import StudyError
from xrdorder.results.described_columns import told_variables
from xrdorder.results.sample_file import Provenance
from xrdorder.running.run import run_study

HEAD = """
samples = [
    {{ name = "a", pattern = "a.xy", treatment = {a} }},
    {{ name = "b", pattern = "copy.xy", treatment = {b} }},
    {{ name = "c", pattern = ["c.xy", "more.xy"], treatment = "furnace.csv" }},
]
[instrument.calibrate]
pattern = "lab6.xy"
standard = "srm-660c"
detector_distance_mm = 200.0
[dose]
{dose}
"""
FILES = {"a.xy": "20 1\n", "copy.xy": "20 1\n", "c.xy": "20 2\n", "more.xy": "20 3\n", "lab6.xy": "20 9\n"}


def study(folder, a='"650/100"', b='"625/100"', dose="", more="", without=()):
    for name, text in FILES.items():
        if name not in without:
            (folder / name).write_text(text)
    (folder / "furnace.csv").write_text("time_h,temperature_c\n0,298\n10,923\n60,923\n")
    (folder / "study.toml").write_text(HEAD.format(a=a, b=b, dose=dose) + more)
    return folder


def flags(described, stored):
    found = study_flags(described, {one.name: one.provenance.input_sha256 for one in stored})
    return {one.name: dict(found[one.name]) for one in stored}


def test_one_pattern_under_two_names_is_told_by_name(tmp_path):
    described = read_study(study(tmp_path))
    stored = [sample(n, provenance=Provenance(input_sha256=h)) for n, h in
              (("a", {"a.xy": "1f"}), ("b", {"copy.xy": "1f"}), ("c", {"c.xy": "2e", "more.xy": "3d"}))]  # fmt: skip
    found = flags(described, stored)
    assert "also that of b: one measurement, and no replicates" in found["a"]["same-pattern"]
    assert "also that of a:" in found["b"]["same-pattern"]
    assert "same-pattern" not in found["c"]
    assert "samples a, b: one pattern file under several names" in remarks(described)[0]


def test_kelvin_is_told_and_not_refused(tmp_path):
    described = read_study(study(tmp_path, dose="reference_c = 923", more="[defaults]\ntemperature_c = 295.6\n"))
    found = flags(described, [sample(name) for name in "abc"])
    assert found["c"]["treatment-in-kelvin"].startswith("923 °C would be 650 °C if it was given in kelvin")
    assert "treatment-in-kelvin" not in found["a"]
    assert "reference_c of [dose]: 923 °C would be 650 °C" in found["a"]["dose-in-kelvin"]
    said = "\n".join(remarks(described))
    assert "c, treatment: 923 °C would be 650 °C" in said
    assert "a, b, c, temperature_c: 295.6 °C (22.5 °C if it was given in kelvin)" in said


def test_usual_temperatures_are_passed_over(tmp_path):
    (folder := tmp_path / "s").mkdir()
    described = read_study(study(folder, a='"850/1"', b='"1200/10"', dose="above_c = 600"))
    found = flags(described, [sample(name) for name in "ab"])
    assert not any("kelvin" in name for of in found.values() for name in of)


def test_hours_above_a_temperature_are_told(tmp_path):
    ramp = "[{ ramp_k_per_h = 50, hold_c = 650, hours = 100 }]"
    described = read_study(study(tmp_path, a=ramp, dose="above_c = 600"))
    found = told_variables(described, [sample(name) for name in "abc"])["hours_above"]
    # one hour of the ramp from 600 to 650; a log from 298 to 923 in 10 h is above 600 for the last 5.168 h of its ramp
    np.testing.assert_allclose(found[1], [101.0, 100.0, 50.0 + 323.0 / 62.5])
    assert found[2]["long_name"] == "hours at or above 600 °C"


def test_missing_files_are_told_with_everything_else(tmp_path):
    folder = study(tmp_path, a='"650/-1"', without=("a.xy", "lab6.xy", "more.xy"))
    with pytest.raises(StudyError) as error:
        read_study(folder, to_run=True)
    lines = str(error.value).splitlines()
    assert len(lines) == 4  # the treatment, and three files
    assert "sample 'a', pattern: there is no file 'a.xy'" in lines[1]  # beside what else is wrong with that sample
    assert "instrument.calibrate.pattern: there is no file 'lab6.xy'" in lines[2]
    assert "sample 'c', pattern no. 2: there is no file 'more.xy'" in lines[3]


def test_a_missing_calibration_stops_a_run_with_all_that_is_missing(tmp_path):
    folder = study(tmp_path, without=("a.xy", "lab6.xy"))
    assert not any("there is no" in line for line in remarks(read_study(folder, to_run=True)))  # the error does
    with pytest.raises(StudyError) as error:
        run_study(folder)
    assert len(str(error.value).splitlines()) == 2


def test_missing_samples_and_idle_calibrations_are_remarks(tmp_path):
    idle = '[calibrations.old]\npattern = "old.xy"\nstandard = "srm-660c"\ndetector_distance_mm = 200.0\n'
    said = remarks(read_study(study(tmp_path, without=("copy.xy",), more=idle), to_run=True))
    assert any(line.startswith("calibrations.old.pattern: there is no file 'old.xy'") for line in said)
    assert any(line.startswith("sample 'b', pattern: there is no file 'copy.xy'") for line in said)
