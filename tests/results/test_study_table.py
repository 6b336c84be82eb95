"""The table of a study: rows by reaction temperature, grades with their reasons, what is not the A15."""

import numpy as np
import pytest

from tests import descriptions
from tests.results import made
from xrdorder.cli.console import rendered
from xrdorder.results.collate import collate
from xrdorder.results.sample_file import StoredSample
from xrdorder.results.study_table import by_temperature, extremes, failures, study_table, study_words
from xrdorder.uncertainty import Contributions
from xrdorder.views.study import study_parts


def results(folder, samples):
    described = tuple(descriptions.sample(s.name) for s in samples)
    study = descriptions.study(folder, described, ("nb3sn", "nb"), title="A study")
    return collate(study, samples, ("nb3sn", "nb"))


@pytest.fixture
def mixed(tmp_path):
    names = ("lattice_a_nm_nb", "lattice_a_nm_unknown")  # the latter of unknown atoms: without a weight
    lattices = Contributions(names, ("counting/0",), np.array([[1e-4], [1e-4]]), ("",))
    return results(
        tmp_path,
        [
            made.sample("first"),
            made.sample("second", quality_words="trustworthy"),
            *(made.sample(f"third-{k}") for k in range(7)),
            made.sample("fourth", quality_words="do not use: chi squared is 40"),
            made.sample("fifth", quality_words=""),
            StoredSample(
                "sixth",
                "no A15",
                values={"lattice_a_nm_nb": 0.3301, "weight_fraction_nb": 0.25, "lattice_a_nm_unknown": 0.5},
                contributions=lattices,
                quality_words="do not use: no A15 was found",
            ),
        ],
    )


def test_the_grade_has_the_number_of_its_reason(mixed):
    table = study_table(mixed)
    rows = {row[0].text: row for row in table.rows}
    letters = [rows[name][-1].grade for name in ("first", "second", "third-0", "fourth", "fifth")]
    assert letters == ["B", "A", "B", "C", "-"]
    number = rows["first"][-1].text.split()[1]
    (reason,) = [note for note in table.notes if note.startswith(f"{number.split(',')[0]}  ")]
    assert reason.endswith("B: 2 unindexed lines (8 samples)")
    assert any("C: chi squared is 40 (fourth)" in note for note in table.notes)
    assert not any("trustworthy" in note or "no A15 was found" in note for note in table.notes)
    assert [cell.text for cell in rows["sixth"]] == ["sixth", "no A15"]
    assert study_words(mixed).endswith("1 A, 8 B, 2 C · information missing: none")


def test_what_nobody_told_is_named_and_lowers_no_grade(tmp_path):
    flags = (("slit-not-given", "slit not given"), ("mount-unknown", "the mount is not given"))
    told = made.sample("told", quality_words="trustworthy", flags=())
    untold = made.sample("untold", quality_words="trustworthy", flags=flags)
    found = results(tmp_path, [told, untold])
    assert study_words(found).endswith("fit: 2 A, 0 B, 0 C · information missing: slit (1), mount (1)")
    table = study_table(found)
    assert table.head[-1].words == "missing" and not table.notes
    assert [(row[-2].grade, row[-1].text) for row in table.rows] == [("A", ""), ("A", "slit, mount")]
    assert [heading.words for heading in study_table(results(tmp_path, [told])).head][-1] == "grade"


def test_phases_of_a_specimen_without_a15_are_shown(mixed, tmp_path):
    lines = [line.split() for line in rendered(*study_parts(mixed, tmp_path), width=120).splitlines()]
    assert [line for line in lines if line[:1] == ["sixth"]] == [
        ["sixth", "no", "A15"],
        ["sixth", "nb", "a", "0.33010(10)", "25"],
        ["sixth", "unknown", "a", "0.50000(10)", "-"],
    ]


def test_details_hold_all_columns_flags_and_assumptions(mixed, tmp_path):
    text = " ".join(rendered(*study_parts(mixed, tmp_path, details=True), width=80).split())
    for heading in study_table(mixed).head:
        assert heading.words.split()[0] in text
    assert "Not shown" not in text and "Independent u:" in text


def test_rows_stand_by_lot_temperature_and_time(mixed):
    some = mixed.isel(sample=slice(0, 5)).copy()
    some["lot"] = ("sample", np.array(["b", "a", "b", "a", "b"], dtype=object))
    some["peak_c"] = ("sample", [700.0, 650.0, 625.0, np.nan, 625.0])
    some["hold_at_peak_h"] = ("sample", [50.0, 50.0, 100.0, 50.0, 20.0])
    assert by_temperature(some) == [4, 2, 0, 1, 3]  # a lot stands where its first sample does


def test_of_many_samples_the_extremes_are_shown(tmp_path):
    many = results(tmp_path, [made.sample(f"s{k:02d}") for k in range(40)])
    many["Bc2_4K2_T"] = ("sample", np.arange(40.0))
    shown, words = extremes(study_table(many))
    assert [row[0].text for row in shown.rows] == [f"s{k:02d}" for k in (*range(8), *range(32, 40))]
    assert words.startswith("16 of 40 samples")
    few, nothing = extremes(study_table(many.isel(sample=slice(0, 30))))
    assert len(few.rows) == 30 and nothing == ""


def test_failures_have_their_reason(mixed):
    failed = mixed.copy()
    failed["status"] = ("sample", np.array(["failed: no numbers", *["ok"] * 11], dtype=object))
    assert failures(failed) == ["first: no numbers"]
