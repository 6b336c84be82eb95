"""Several directions to one lattice, as a user asks for it."""

from click.testing import CliRunner

from xrdorder.cli import main

# 0.5288 nm, -0.2 % along the axis, Poisson's ratio 0.36; the middle one at 45 degrees.
TABLE = "angle_deg,a_nm,u_a_nm\n0,0.527742,0.000005\n45,0.528462,0.000005\n90,0.529181,0.000005\n"


def run(path, text, *words):
    path.write_text(text, encoding="utf-8")
    return CliRunner().invoke(main, ["strain-free", str(path), *words])


def test_lattice_and_strain_of_each_direction(tmp_path):
    result = run(tmp_path / "d.csv", TABLE)
    assert result.exit_code == 0, result.output
    assert "0.52880" in result.output and "-0.200" in result.output and " 0.072" in result.output
    assert "nothing to check" not in result.output
    two = run(tmp_path / "d.csv", "".join(TABLE.splitlines(keepends=True)[:2] + TABLE.splitlines(keepends=True)[3:]))
    assert "nothing to check" in two.output


def test_mistakes_are_one_line_each(tmp_path):
    for text, message in (
        (TABLE.replace("90,", "10,").replace("45,", "5,"), "too close together"),
        (TABLE.replace("angle_deg", "angle"), "no column angle_deg"),
        (TABLE.replace("0.529181", "wide"), "line 4"),
        (TABLE.replace("0.529181", "0,529181"), "line 4 has 4 cells"),
        (TABLE.splitlines()[0], "two directions"),
        ("", "no column"),
    ):
        result = run(tmp_path / "d.csv", text)
        assert result.exit_code == 2
        assert message in result.output, result.output
        assert len(result.output.strip().splitlines()) == 1
