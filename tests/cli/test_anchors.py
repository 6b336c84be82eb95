"""What was measured by other means from a terminal: what cannot be used is one line, and nothing is lost."""

import csv

import pytest

from tests.cli.test_commands import STUDY

HEAD, FIRST, SECOND = STUDY.partition('[[samples]]\nname = "one"')[0], *STUDY.split("[[samples]]")[1:]


@pytest.fixture
def study(tmp_path, scans, instrument):
    """A study whose two samples have something measured, in one lot or in two."""
    folder = tmp_path / "study"
    folder.mkdir()
    for name in ("one.xy", "two.xy", "instrument.toml"):
        (folder / name).write_bytes((scans / name).read_bytes())

    def described(first: str, second: str, *, lots: str = "A") -> None:
        head = HEAD + ('[lots.B]\nroute = "bronze"\n' if lots == "AB" else "")
        two = SECOND.replace('lot = "A"', f'lot = "{lots[-1]}"')
        parts = (f"[[samples]]{one}[samples.measured]\n{more}\n" for one, more in ((FIRST, first), (two, second)))
        (folder / "study.toml").write_text(head + "".join(parts), encoding="utf-8")

    return folder, described


def words(result) -> str:
    return " ".join(result.stdout.split())


@pytest.mark.parametrize(
    ("entry", "complaint"),
    [
        ("Bc2_T = { value = 24.0, u = 0.3 }", "Bc2_T.temperature_k is missing"),
        ("critical_current_a = { value = 210, u = 5, temperature_k = 4.2 }", "critical_current_a.field_t is missing"),
        ("critical_current_a = { value = 210, u = 5, field_t = 12 }", "critical_current_a.temperature_k is missing"),
        ("tin_at_percent = { value = 0.24, u = 0.004 }", "tin_at_percent.value 0.24 is outside 15 to 30"),
    ],
)
def test_what_lacks_its_conditions_is_one_line_before_anything_is_fitted(run, study, entry, complaint) -> None:
    folder, described = study
    described(entry, "")
    result = run("run", "study")
    assert result.exit_code == 2
    assert complaint in result.stderr.replace(":", "") and result.stderr.count("\n") == 1
    assert not (folder / "results").exists()


@pytest.mark.slow
def test_anchors_that_cannot_be_used_or_contradict_each_other_lose_nothing(run, study) -> None:
    folder, described = study
    described(
        'Tc_K = { value = 19.2, u = 0.1, criterion = "onset" }\ntin_at_percent = { value = 28, u = 0.4 }',
        "Tc_K = { value = 17.6, u = 0.1 }",
        lots="AB",
    )
    result = run("run", "study", "--no-figures", "--details")
    assert result.exit_code == 0
    text = words(result)
    assert "anchor-set-aside: measured Tc of 19.2 K (no A15 has that)" in text
    assert "anchor-without-criterion: measured Tc without a criterion" in text
    assert "lot-of-one: lot 'A' has one wire" in text
    assert "Lot B anchored to Tc measured on two" in text
    rows = {row["sample"]: row for row in csv.DictReader((folder / "results/results.csv").open(encoding="utf-8"))}
    assert all(10.0 < float(rows[name]["Tc_K"]) < 18.5 for name in ("one", "two"))
    beside = words(run("measured", "study", "--no-figures"))
    assert "19.20(10)" in beside  # shown all the same

    described(
        'Tc_K = { value = 18.1, u = 0.05, criterion = "50 %" }\n'
        "critical_current_a = { value = 210, u = 5, temperature_k = 4.2, field_t = 12 }\n"
        "grain_size_nm = { value = 130, u = 10 }\nnon_copper_area_mm2 = { value = 0.25, u = 0.01 }",
        'Tc_K = { value = 14.2, u = 0.05, criterion = "50 %" }\ngrain_size_nm = { value = 120, u = 10 }',
    )
    result = run("run", "study", "--no-figures", "--details")
    text = words(result)
    assert result.exit_code == 0
    assert "anchors-contradict: " in text.partition("Flags")[0]  # in short below the table, in full with --details
    assert "measured Tc of 'two' and 'one' contradict each other" in text.replace("'one' and 'two'", "'two' and 'one'")
    assert "Lot A anchored to Tc" in text and "critical current measured on one" in text
    fields = run("fields", "study", "--field", "12", "--no-figures")
    assert fields.exit_code == 0, fields.output
    assert "Critical currents of lot A anchored to 210 ± 5 A measured on one at 4.2 K, 12 T" in words(fields)
    assert "A/mm2 non-copper" in fields.stdout
