"""Samples in a CSV table: the same as under [[samples]], with complaints by file, row and column."""

import pytest

from tests.description.test_study import problems, write
from tests.descriptions import measured
from xrdorder.description.study import read_study
from xrdorder.treatments import Schedule, Step

STUDY = """
title = "Invented"
samples_table = "samples.csv"
[instrument.calibrate]
pattern = "lab6.xy"
standard = "srm-660c"
detector_distance_mm = 217.5
[defaults]
mount = "ground-powder"
[lots.A]
undoped = true
[treatments.long]
steps = [{ ramp_k_per_h = 25, hold_c = 210, hours = 48 }, { ramp_k_per_h = 50, hold_c = 650, hours = 100 }]
"""
OWN = '[[samples]]\nname = "own"\npattern = "own.xy"\n'
TABLE = """# invented
name,pattern,lot,hold_c,hours,ramp_k_per_h,treatment,position_m,date,measured.Tc_K,measured.Tc_K.u,fit.elastic_shifts
s1,a.xy,A,650,100,50,,12.5,2026-03-14,17.2,0.1,true

s2,b.xy|c.xy,A,,,,long,,,,,
# a remark
s3,d.xy,,,,,650/50,0,,,,
"""


@pytest.fixture
def study(tmp_path):
    (tmp_path / "samples.csv").write_text(TABLE, encoding="utf-8")
    return tmp_path


def complaints(study, table, text=STUDY):
    (study / "samples.csv").write_text(table, encoding="utf-8")
    return problems(study, text)


def test_a_row_is_a_sample(study):
    own, s1, s2, s3 = read_study(write(study, STUDY + OWN)).samples
    assert [one.name for one in (own, s1, s2, s3)] == ["own", "s1", "s2", "s3"]
    assert (s1.pattern, s1.lot.name, s1.mount) == ((study / "a.xy",), "A", "ground-powder")
    assert s1.treatment == Schedule((Step(650, 100, 50),))
    assert (s1.position_m, s1.date) == (12.5, "2026-03-14")
    assert s1.measured == (measured("Tc_K", 17.2, 0.1),)
    assert (s1.choices, s2.choices) == ({"elastic_shifts": True}, {})
    assert s2.pattern == (study / "b.xy", study / "c.xy")
    assert s2.treatment.short_name == "210/48 + 650/100 h"
    assert (s2.position_m, s2.date, s2.measured) == (None, "", ())
    assert (s3.treatment, s3.lot.name, s3.position_m) == (Schedule((Step(650, 50),)), "", 0.0)


@pytest.mark.parametrize(
    "table",
    [
        "\ufeffname;pattern;temperature_c\r\ns1;a.xy;23,5\r\n;;\r\n",
        "pattern\ttemperature_c\tname\na.xy\t23,5\ts1\n",
        'name, pattern, temperature_c\n"s1", "a.xy", 23.5\n',
    ],
)
def test_as_spreadsheets_write_it(study, table):
    (study / "samples.csv").write_text(table, encoding="utf-8", newline="")
    (one,) = read_study(write(study, STUDY)).samples
    assert (one.name, one.pattern, one.temperature_c) == ("s1", (study / "a.xy",), 23.5)


WRONG = """name,pattern,lot,hold_c,hours,treatment,date,mount,measured.Tc_K,measured.Tc_K.u,strain_bound
s1,a.xy,B,650 C,100,,,,,,
s 2,,A,,,lnog,14.3.26,,17.2,,
s1,b.xy,A,-300,,,,powder,,0.1,yes
s4,b.xy,A,650,10,long,,,,,
OWN,b.xy,,,,,,,,,,,too,many
own,b.xy,,,,,,,,,,
"""


def test_all_that_is_wrong_comes_at_once_with_row_and_column(study):
    lines = complaints(study, WRONG, STUDY + OWN)
    expected = [
        "samples.csv, row 2 (sample 's1'), column lot: no lot 'B' is described; known: A",
        "samples.csv, row 2 (sample 's1'), column hold_c: '650 C' is not a number; give the temperature of the hold",
        "samples.csv, row 3 (sample 's 2'), column name: 's 2' is not safe as a file name; take 's-2'",
        "samples.csv, row 3 (sample 's 2'), column pattern: is missing; give the path",
        "samples.csv, row 3 (sample 's 2'), column treatment: no treatment 'lnog' is described; did you mean 'long'?",
        "samples.csv, row 3 (sample 's 2'), column date: '14.3.26' is no date; give the day of the measurement, as",
        "samples.csv, row 3 (sample 's 2'), column measured.Tc_K.u: is missing; give the standard uncertainty",
        "samples.csv, row 4 (sample 's1'), column name: 's1' is already the name of samples.csv, row 2; give",
        "samples.csv, row 4 (sample 's1'), column hold_c: -300 °C is not a furnace temperature; give",
        "samples.csv, row 4 (sample 's1'), column hours: is missing; give the length of the hold in hours",
        "samples.csv, row 4 (sample 's1'), column mount: 'powder' is unknown; ",
        "samples.csv, row 4 (sample 's1'), column measured.Tc_K: is missing; give the measured value",
        "samples.csv, row 4 (sample 's1'), column strain_bound: 'yes' is not true or false; give true",
        "samples.csv, row 5, column treatment: stands beside hold_c, hours; give one or the other",
        "samples.csv, row 6: has 14 cells, the header 11; put a text that holds a separator in quotes",
        "samples.csv, row 7 (sample 'own'), column name: 'own' is already the name of sample no. 1; give",
    ]
    for start in expected:
        assert any(line.startswith(start) for line in lines), f"{start} not in:\n" + "\n".join(lines)
    assert len(lines) == len(expected), "\n".join(lines)


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ("", ["samples_table: 'samples.csv' is empty; give a header with name, pattern"]),
        ("name,pattern\n", ["samples_table: 'samples.csv' has a header, but no row; add one for every sample"]),
        ("name,patern\ns1,a.xy\ns2,b.xy\n",
         ["samples.csv, row 1, column patern: unknown column; did you mean 'pattern'?",
          "samples.csv, row 1: has no column pattern; add one"]),
        ("name,pattern,mount,mount\ns1,a.xy,,\n", ["samples.csv, row 1, column mount: stands twice; keep one, or"]),
        ("name,pattern,hold\ns1,a.xy,650\n", ["samples.csv, row 1, column hold: unknown column; did you mean"]),
        ("name,pattern,weather\ns1,a.xy,rain\n", ["samples.csv, row 1, column weather: unknown column; known: "]),
        ("name,pattern,measured.TC\ns1,a.xy,17\n", ["samples.csv, row 1, column measured.TC: unknown column; did you"]),
    ],
)  # fmt: skip
def test_tables_that_are_none(study, table, expected):
    lines = complaints(study, table)
    assert len(lines) == len(expected), lines
    for line, start in zip(lines, expected, strict=True):
        assert line.startswith(start), lines


@pytest.mark.parametrize(
    ("name", "complaint"),
    [
        ('"sample.csv"', "samples_table: there is no file 'sample.csv' in "),
        ('"samples.xlsx"', "samples_table: 'samples.xlsx' is a spreadsheet; save it as CSV in UTF-8"),
        ('"folder.csv"', "samples_table: 'folder.csv' is a folder; name the table itself"),
        ("5", "samples_table: 5 is not text in quotes; give the path of a CSV table of samples"),
        ('""', "samples_table: is empty; give the path"),
    ],
)
def test_names_of_no_table(study, name, complaint):
    (study / "folder.csv").mkdir()
    lines = problems(study, STUDY.replace('"samples.csv"', name))
    assert lines[0].startswith(complaint)
    assert len([line for line in lines if "samples_table:" in line]) == 1


def test_a_quote_that_is_not_closed_is_told_in_one_line(study):
    lines = complaints(study, 'name,pattern\n"s1,a.xy\ns2,b.xy\n')
    assert [line.split(": ")[0] for line in lines] == [
        "samples.csv, row 2 (sample 's1,a.xy s2,b.xy'), column name",
        "samples.csv, row 2 (sample 's1,a.xy s2,b.xy'), column pattern",
    ]


def test_another_encoding_is_told(study):
    (study / "samples.csv").write_bytes("name,pattern\ns1,a.xy\ns2,Mühle.xy\n".encode("latin-1"))
    assert problems(study, STUDY) == [
        "samples_table: 'samples.csv', line 3 is not UTF-8 text; save the table as CSV in UTF-8"
    ]


def test_what_contradicts_itself_in_a_row_is_told_of_the_row(study):
    lines = complaints(study, "name,pattern,strain\ns1,a.xy,-0.001\n")
    assert len(lines) == 1
    assert lines[0].startswith("samples.csv, row 2 (sample 's1'): a strain is given for the mount ground-powder")


def test_hundreds_of_rows(study):
    rows = "".join(f"s{k},{k}.xy,A,{600 + k / 10},100,2026-03-14\n" for k in range(800))
    (study / "samples.csv").write_text("name,pattern,lot,hold_c,hours,date\n" + rows)
    samples = read_study(write(study, STUDY)).samples
    assert len(samples) == 800 and samples[-1].treatment.peak_c == pytest.approx(679.9)
    wrong = "name,pattern,lot,hold_c,hours,date\n" + rows.replace(",A,", ",B,")
    assert len(complaints(study, wrong)) == 800
