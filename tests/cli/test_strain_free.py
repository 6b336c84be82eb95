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
    assert "0.52880" in result.output and "−0.200" in result.output and " 0.072" in result.output
    assert "nothing to check" not in result.output
    two = run(tmp_path / "d.csv", "".join(TABLE.splitlines(keepends=True)[:2] + TABLE.splitlines(keepends=True)[3:]))
    assert "nothing to check" in two.output


def test_the_lines_for_study_toml_are_printed(tmp_path):
    output = run(tmp_path / "d.csv", TABLE).output
    assert "0 degrees:  strain = -0.002, u_strain = " in output
    assert "90 degrees:  strain = 0.00072, u_strain = " in output


def test_one_wrong_direction_enlarges_the_uncertainty_and_is_told(tmp_path):
    more = TABLE + "30,0.528102,0.000005\n60,0.528821,0.000005\n"
    right, wrong = (run(tmp_path / "d.csv", text) for text in (more, more.replace("0.528102", "0.528900")))
    assert "scatter about the line" not in right.output
    assert "scatter about the line" in wrong.output and "look for one that is wrong" in wrong.output


def test_mistakes_are_one_line_each(tmp_path):
    for text, message in (
        (TABLE.replace("90,", "10,").replace("45,", "5,"), "too close together"),
        (TABLE.replace("angle_deg", "angle"), "no column angle_deg"),
        (TABLE.replace("0.529181", "wide"), "line 4"),
        (TABLE.replace("0.529181", "0,529181"), "line 4 has 4 cells"),
        (TABLE.splitlines()[0], "two directions"),
        ("", "no column"),
        (TABLE.replace("90,", "95,"), "between 0 (along the wire) and 90"),
        (TABLE.replace("0.527742", "0.511000"), "which no A15 holds"),
    ):
        result = run(tmp_path / "d.csv", text)
        assert result.exit_code == 2
        assert message in result.output, result.output
        assert len(result.output.strip().splitlines()) == 1
