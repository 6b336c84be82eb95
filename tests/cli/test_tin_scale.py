"""The scale of a laboratory's own, as a user makes it."""

from click.testing import CliRunner

from xrdorder.cli import main
from xrdorder.material import read_tin_scale
from xrdorder.quantities.formatting import concise

KNOWN = """sample,a_nm,u_a_nm,tin_at_percent,u_tin_at_percent
bulk-1,0.52821,0.00002,20.1,0.3
bulk-2,0.52845,0.00002,22.0,0.3
bulk-3,0.52866,0.00002,23.6,0.3
bulk-4,0.52881,0.00002,24.7,0.3
"""


def run(*words):
    return CliRunner().invoke(main, ["tin-scale", *map(str, words)])


def test_a_scale_is_fitted_shown_and_written(tmp_path):
    (tmp_path / "known.csv").write_text(KNOWN)
    result = run(tmp_path / "known.csv", "--out", tmp_path / "scale.toml", "--name", "bulk", "--source", "weighed in")
    assert result.exit_code == 0, result.output
    scale = read_tin_scale(tmp_path / "scale.toml")
    assert (scale.name, scale.source, scale.samples[0]) == ("bulk", "weighed in", "bulk-1")
    assert concise(scale.a_at_24_nm, scale.covariance[0][0] ** 0.5) in result.output
    for words in ("bulk-4", "published", "Reduced chi squared", "20.1 to 24.7", "scale.toml"):
        assert words in result.output


def test_a_sample_off_the_line_is_named(tmp_path):
    lines = "".join(f"more-{k},{0.52805 + 0.0000136 * k:.6f},0.00001,{18 + 0.1 * k:.1f},0.1\n" for k in range(60))
    (tmp_path / "known.csv").write_text(KNOWN.splitlines()[0] + "\n" + lines + "odd,0.52930,0.00001,24.0,0.1\n")
    result = run(tmp_path / "known.csv")
    assert result.exit_code == 0
    assert "more than three standard uncertainties: odd" in result.output


def test_mistakes_are_one_line_each(tmp_path):
    (tmp_path / "known.csv").write_text(KNOWN.replace("22.0", "0.22"))
    (tmp_path / "notes.toml").write_text("x = 1\n")
    (tmp_path / "good.csv").write_text(KNOWN)
    for words, message in (
        ([tmp_path / "known.csv"], "sample 'bulk-2': tin content is 0.22 at.%"),
        ([tmp_path / "absent.csv"], "absent.csv"),
        ([tmp_path / "good.csv", "--out", tmp_path / "notes.toml"], "is there already; name another file"),
        ([tmp_path / "good.csv", "--out", tmp_path / "none" / "a.toml"], "there is no folder"),
        ([tmp_path / "good.csv", "--name", "godeke-2006-measured"], "is that of a published relation"),
        ([tmp_path / "good.csv", "--u-common-at-percent", "30"], "common to all samples is 30 at.%"),
        ([tmp_path / "good.csv", "--name", " "], "without a name"),
    ):
        result = run(*words)
        assert result.exit_code == 2, words
        assert message in result.output, result.output
        assert len(result.output.strip().splitlines()) == 1, result.output
        assert "Traceback" not in result.output
    assert (tmp_path / "notes.toml").read_text() == "x = 1\n"


def test_a_scale_is_called_like_its_file_and_never_written_over(tmp_path):
    (tmp_path / "bulk.csv").write_text(KNOWN)
    assert "\nbulk " in run(tmp_path / "bulk.csv").output
    out = tmp_path / "heron-2026.toml"
    assert run(tmp_path / "bulk.csv", "--out", out).exit_code == 0
    assert read_tin_scale(out).name == "heron-2026"
    before = out.read_bytes()
    again = run(tmp_path / "bulk.csv", "--out", out, "--name", "other")
    assert again.exit_code == 2 and "is there already; name another file" in again.output
    assert out.read_bytes() == before


def test_a_published_name_is_not_taken(tmp_path):
    (tmp_path / "good.csv").write_text(KNOWN)
    result = run(tmp_path / "good.csv", "--name", "published", "--out", tmp_path / "scale.toml")
    assert result.exit_code == 2 and "stands for the published line" in result.output
    assert not (tmp_path / "scale.toml").exists()
