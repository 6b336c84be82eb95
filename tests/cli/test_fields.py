"""Field, temperature and strain from a terminal, on good and broken input."""

import pytest

from tests.cli.test_commands import STUDY

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
    shown = run("fields", "study", "--field", "10", "--field", "14", "--strain", "-0.002", "--reference", "one")
    assert shown.exit_code == 0, shown.output
    text = " ".join(shown.stdout.split())
    for words in ("intrinsic strain -0.2 %", "150 nm by microscopy", "10 T 14 T", "non-copper", "two and one"):
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


def test_a_study_that_is_not_there_is_one_line(run):
    refused = run("fields", "nowhere")
    assert refused.exit_code == 2
    assert "no such study folder" in refused.stderr
